//! The tables of a report for supporting information, in LaTeX: to be read in with `\input`, needing only packages of every
//! distribution (booktabs, longtable, array, textcomp) and UTF-8 as the encoding of the file, the default since 2018.

use super::{Block, Document, Grid};
use std::fmt::Write;

pub(super) fn write(document: &Document) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail, here and below.
    let _ = writeln!(
        out,
        "% {}: {}\n% Made on {}",
        comment(&document.kind),
        comment(&document.title),
        comment(&document.made_on)
    );
    for (name, text) in &document.provenance {
        let _ = writeln!(out, "% {}: {}", comment(name), comment(text));
    }
    out.push_str("% In the preamble: \\usepackage{array,booktabs,longtable,textcomp}\n");
    for block in &document.blocks {
        match block {
            Block::Verdict { code, sentence, .. } => {
                let _ = writeln!(out, "% {}: {}", comment(code), comment(sentence));
            }
            Block::Line { text, set, .. } => {
                let line = set.as_ref().map_or_else(|| escape(text), |set| set.latex.clone());
                let _ = writeln!(out, "\n\\noindent {}.", line.trim_end_matches('.'));
            }
            Block::Table {
                table,
                supporting: true,
            } => grid(&mut out, table),
            Block::Sources { items } if !items.is_empty() => {
                out.push_str("\n{\\raggedright\n\\begin{enumerate}\n");
                for source in items {
                    let doi = source.doi.as_ref().map(|doi| format!(" DOI {doi}")).unwrap_or_default();
                    let _ = writeln!(out, "\\item {}{}", escape(&source.citation), escape(&doi));
                }
                out.push_str("\\end{enumerate}\n}\n");
            }
            _ => {}
        }
    }
    out
}

/// Width of the text of a page with ordinary margins, points; columns are fitted to it.
const LINE: f64 = 345.0;
/// Width of an average sign in footnote size, points, and the space between columns.
const SIGN: f64 = 4.5;
const GAP: f64 = 8.0;
/// Columns that want less than this stay in one line, points.
const NARROW: f64 = 62.0;

/// A table: heads with their units in a row below, columns that would run off the page broken into lines.
fn grid(out: &mut String, table: &Grid) {
    let heads: Vec<(&str, &str)> = (table.columns.iter())
        .map(|column| column.text.split_once(" / ").unwrap_or((&column.text, "")))
        .collect();
    let cell = |row: &Vec<String>, at: usize| row.get(at).cloned().unwrap_or_default();
    let wanted: Vec<f64> = (heads.iter().enumerate())
        .map(|(at, (head, unit))| {
            let cells = table.rows.iter().map(|row| signs(&cell(row, at)));
            let most = cells.chain([signs(head), signs(unit)]).max().unwrap_or(0);
            most as f64 * SIGN
        })
        .collect();
    let numbers: Vec<bool> = table.columns.iter().map(|column| column.number).collect();
    let broken = broken(&wanted, &numbers);
    let columns: Vec<String> = (broken.iter().zip(&numbers))
        .map(|(part, is_number)| match part {
            Some(part) => format!(">{{\\raggedright\\arraybackslash}}p{{{part:.2}\\linewidth}}"),
            None if *is_number => "r".to_owned(),
            None => "l".to_owned(),
        })
        .collect();
    let line = |parts: &mut dyn Iterator<Item = &str>| parts.map(escape).collect::<Vec<_>>().join(" & ");
    let mut head = format!("{} \\\\\n", line(&mut heads.iter().map(|(head, _)| *head)));
    if heads.iter().any(|(_, unit)| !unit.is_empty()) {
        let _ = writeln!(head, "{} \\\\", line(&mut heads.iter().map(|(_, unit)| *unit)));
    }
    let _ = writeln!(
        out,
        "\n{{\\footnotesize\\setlength{{\\tabcolsep}}{{4pt}}\n\\begin{{longtable}}{{@{{}}{}@{{}}}}\n\\caption{{{}}}\\\\\n\\toprule\n\
         {head}\\midrule\n\\endfirsthead\n\\toprule\n{head}\\midrule\n\\endhead\n\\bottomrule\n\\endfoot",
        columns.concat(),
        escape(&table.caption)
    );
    for row in &table.rows {
        let cells: Vec<String> = (broken.iter().enumerate())
            .map(|(at, broken)| match broken {
                Some(_) => breakable(&cell(row, at)),
                None => escape(&cell(row, at)),
            })
            .collect();
        // A bracket at the start of a row would be taken for an option of the line break before it.
        let _ = writeln!(out, "{{}}{} \\\\", cells.join(" & "));
    }
    out.push_str("\\end{longtable}\n}\n");
}

/// Signs that take room: raised and lowered ones half of it.
fn signs(text: &str) -> usize {
    let small = text
        .chars()
        .filter(|c| raised(*c).is_some() || lowered(*c).is_some())
        .count();
    text.chars().count() - small / 2
}

/// The parts of the line that columns of words are broken to, where all columns together would run off the page.
fn broken(wanted: &[f64], numbers: &[bool]) -> Vec<Option<f64>> {
    let mut parts = vec![None; wanted.len()];
    let room = LINE - GAP * wanted.len().saturating_sub(1) as f64;
    if wanted.iter().sum::<f64>() <= room {
        return parts;
    }
    let mut wide: Vec<usize> = (0..wanted.len())
        .filter(|&at| !numbers[at] && wanted[at] > NARROW)
        .collect();
    if wide.is_empty() {
        wide = (0..wanted.len()).filter(|&at| !numbers[at]).collect();
    }
    let others: f64 = (0..wanted.len())
        .filter(|at| !wide.contains(at))
        .map(|at| wanted[at])
        .sum();
    let mut left = (room - others).max(room * 0.2);
    // Room is dealt out evenly: what one column does not want goes to the wider ones.
    wide.sort_by(|a, b| wanted[*a].total_cmp(&wanted[*b]));
    let n = wide.len();
    for (done, at) in wide.into_iter().enumerate() {
        let width = wanted[at].min(left / (n - done) as f64);
        left -= width;
        parts[at] = Some(width / LINE);
    }
    parts
}

/// As [`escape`], with places at which a long word may be broken.
fn breakable(text: &str) -> String {
    const LONG: usize = 18;
    let words = comment(text);
    let words = words.split(' ').map(|word| {
        let mut out = String::new();
        let mut part = String::new();
        let mut n = 0;
        for c in word.chars() {
            part.push(c);
            n += 1;
            if matches!(c, '-' | ',' | ')' | ']' | '/') || n >= LONG {
                out.push_str(&escape(&part));
                out.push_str("\\allowbreak{}");
                part.clear();
                n = 0;
            }
        }
        if word.chars().count() <= LONG {
            escape(word)
        } else {
            out + &escape(&part)
        }
    });
    words.collect::<Vec<_>>().join(" ")
}

/// Text as it may stand in a comment: one line.
fn comment(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Text for LaTeX. Signs that LaTeX takes for itself are written as commands, and so are the signs of the trade that no
/// text font is sure to have; letters of Latin alphabets stay, any other sign is named by its code.
fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let text = comment(text);
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        // Raised and lowered signs are set together.
        for (command, plain) in [
            ("textsuperscript", raised as fn(char) -> Option<&'static str>),
            ("textsubscript", lowered),
        ] {
            if let Some(first) = plain(c) {
                let mut run = first.to_owned();
                while let Some(next) = chars.peek().copied().and_then(plain) {
                    run.push_str(next);
                    chars.next();
                }
                let _ = write!(out, "\\{command}{{{run}}}");
            }
        }
        if raised(c).is_some() || lowered(c).is_some() {
            continue;
        }
        match c {
            '\\' => out.push_str("\\textbackslash{}"),
            '{' | '}' | '$' | '&' | '#' | '_' | '%' => {
                out.push('\\');
                out.push(c);
            }
            '~' => out.push_str("\\textasciitilde{}"),
            '^' => out.push_str("\\textasciicircum{}"),
            '<' => out.push_str("\\textless{}"),
            '>' => out.push_str("\\textgreater{}"),
            '|' => out.push_str("\\textbar{}"),
            '"' => out.push_str("\\textquotedbl{}"),
            '\'' => out.push_str("\\textquotesingle{}"),
            '`' => out.push_str("\\textasciigrave{}"),
            // An optional argument begins with a bracket.
            '[' => out.push_str("{[}"),
            ']' => out.push_str("{]}"),
            ' '..='~' => out.push(c),
            _ => out.push_str(&named(c)),
        }
    }
    out
}

/// The plain text of a raised sign.
fn raised(c: char) -> Option<&'static str> {
    const PLAIN: [&str; 12] = ["0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "$-$", "$+$"];
    "⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺".chars().position(|known| known == c).map(|at| PLAIN[at])
}

/// The plain text of a lowered sign.
fn lowered(c: char) -> Option<&'static str> {
    const PLAIN: [&str; 10] = ["0", "1", "2", "3", "4", "5", "6", "7", "8", "9"];
    "₀₁₂₃₄₅₆₇₈₉".chars().position(|known| known == c).map(|at| PLAIN[at])
}

/// A sign outside ASCII.
fn named(c: char) -> String {
    let math = match c {
        '\u{2212}' => "-",
        '±' => "\\pm",
        '×' => "\\times",
        '·' => "\\cdot",
        '≤' => "\\leq",
        '≥' => "\\geq",
        '≈' => "\\approx",
        '→' => "\\rightarrow",
        '∞' => "\\infty",
        '√' => "\\surd",
        '′' => "'",
        '″' => "''",
        _ => "",
    };
    if !math.is_empty() {
        return format!("${math}$");
    }
    if let Some(name) = greek(c) {
        return format!("${name}$");
    }
    match c {
        '°' => "\\textdegree{}".to_owned(),
        'µ' => "\\textmu{}".to_owned(),
        '–' | '\u{2010}' | '\u{2011}' => if c == '–' { "--" } else { "-" }.to_owned(),
        '—' => "---".to_owned(),
        '‘' => "`".to_owned(),
        '’' => "'".to_owned(),
        '“' => "``".to_owned(),
        '”' => "''".to_owned(),
        '†' => "\\textdagger{}".to_owned(),
        '…' => "\\ldots{}".to_owned(),
        '\u{a0}' => "~".to_owned(),
        '½' => "\\textonehalf{}".to_owned(),
        '¼' => "\\textonequarter{}".to_owned(),
        '¾' => "\\textthreequarters{}".to_owned(),
        // Latin-1 letters and those of Latin Extended-A: in every LaTeX since 2018.
        '\u{c0}'..='\u{d6}' | '\u{d8}'..='\u{f6}' | '\u{f8}'..='\u{17e}' => c.to_string(),
        _ => format!("\\texttt{{U+{:04X}}}", u32::from(c)),
    }
}

fn greek(c: char) -> Option<&'static str> {
    const SMALL: [&str; 25] = [
        "\\alpha",
        "\\beta",
        "\\gamma",
        "\\delta",
        "\\varepsilon",
        "\\zeta",
        "\\eta",
        "\\theta",
        "\\iota",
        "\\kappa",
        "\\lambda",
        "\\mu",
        "\\nu",
        "\\xi",
        "o",
        "\\pi",
        "\\rho",
        "\\varsigma",
        "\\sigma",
        "\\tau",
        "\\upsilon",
        "\\varphi",
        "\\chi",
        "\\psi",
        "\\omega",
    ];
    match c {
        'α'..='ω' => SMALL.get(usize::try_from(u32::from(c) - u32::from('α')).ok()?).copied(),
        'Γ' => Some("\\Gamma"),
        'Δ' => Some("\\Delta"),
        'Θ' => Some("\\Theta"),
        'Λ' => Some("\\Lambda"),
        'Ξ' => Some("\\Xi"),
        'Π' => Some("\\Pi"),
        'Σ' => Some("\\Sigma"),
        'Φ' => Some("\\Phi"),
        'Ψ' => Some("\\Psi"),
        'Ω' => Some("\\Omega"),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::{LINE, breakable, broken, escape};

    #[test]
    fn columns_that_run_off_the_page_are_broken() {
        assert_eq!(broken(&[40.0, 80.0, 90.0], &[false, true, false]), [None, None, None]);
        let parts = broken(&[40.0, 80.0, 400.0, 120.0], &[false, true, false, false]);
        assert!(parts[0].is_none() && parts[1].is_none(), "{parts:?}");
        let wide: f64 = parts.iter().flatten().sum();
        assert!(wide * LINE + 40.0 + 80.0 + 24.0 <= LINE + 1e-9, "{parts:?}");
        // Without a column of words there is nothing to break.
        assert_eq!(broken(&[400.0, 400.0], &[true, true]), [None, None]);
    }

    #[test]
    fn a_long_word_may_be_broken() {
        assert_eq!(
            breakable("(1R)-2-xyloid-butanone of an abcdefghijklmnopqrstuvw"),
            "(1R)\\allowbreak{}-\\allowbreak{}2-\\allowbreak{}xyloid-\\allowbreak{}butanone of an abcdefghijklmnopqr\\allowbreak{}stuvw"
        );
    }

    #[test]
    fn words_from_outside_are_no_commands() {
        assert_eq!(
            escape("\\input{x} 5 % & #1_a^b ~ $y$ [z]"),
            "\\textbackslash{}input\\{x\\} 5 \\% \\& \\#1\\_a\\textasciicircum{}b \\textasciitilde{} \\$y\\$ {[}z{]}"
        );
    }

    #[test]
    fn signs_of_the_trade_are_commands_and_unknown_ones_are_named() {
        assert_eq!(escape("[α] −5.0°"), "{[}$\\alpha${]} $-$5.0\\textdegree{}");
        assert_eq!(escape("dm⁻¹"), "dm\\textsuperscript{$-$1}");
        assert_eq!(escape("é 水"), "é \\texttt{U+6C34}");
    }
}
