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
                out.push_str("\n\\begin{enumerate}\n");
                for source in items {
                    let doi = source.doi.as_ref().map(|doi| format!(" DOI {doi}")).unwrap_or_default();
                    let _ = writeln!(out, "\\item {}{}", escape(&source.citation), escape(&doi));
                }
                out.push_str("\\end{enumerate}\n");
            }
            _ => {}
        }
    }
    out
}

/// Columns whose longest cell is at most so many characters are set in one line.
const ONE_LINE: usize = 26;

fn grid(out: &mut String, table: &Grid) {
    let longest = |at: usize| table.rows.iter().map(|row| row[at].chars().count()).max().unwrap_or(0);
    let columns: Vec<&str> = (table.columns.iter().enumerate())
        .map(|(at, column)| match column.number {
            true => "r",
            false if longest(at) > ONE_LINE => ">{\\raggedright\\arraybackslash}p{0.28\\linewidth}",
            false => "l",
        })
        .collect();
    let heads: Vec<String> = table.columns.iter().map(|column| escape(&column.text)).collect();
    let heads = heads.join(" & ");
    let _ = writeln!(
        out,
        "\n{{\\small\n\\begin{{longtable}}{{@{{}}{}@{{}}}}\n\\caption{{{}}}\\\\\n\\toprule\n{heads} \\\\\n\\midrule\n\\endfirsthead\n\
         \\toprule\n{heads} \\\\\n\\midrule\n\\endhead\n\\bottomrule\n\\endfoot",
        columns.concat(),
        escape(&table.caption)
    );
    for row in &table.rows {
        let cells: Vec<String> = row.iter().map(|cell| escape(cell)).collect();
        // A bracket at the start of a row would be taken for an option of the line break before it.
        let _ = writeln!(out, "{{}}{} \\\\", cells.join(" & "));
    }
    out.push_str("\\end{longtable}\n}\n");
}

/// Text as it may stand in a comment: one line.
fn comment(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Text for LaTeX. Signs that LaTeX takes for itself are written as commands, and so are the signs of the trade that no
/// text font is sure to have; letters of Latin alphabets stay, any other sign is named by its code.
fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in comment(text).chars() {
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
    if let Some(at) = "⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺".chars().position(|known| known == c) {
        let plain = ["0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "$-$", "$+$"][at];
        return format!("\\textsuperscript{{{plain}}}");
    }
    if let Some(at) = "₀₁₂₃₄₅₆₇₈₉".chars().position(|known| known == c) {
        return format!("\\textsubscript{{{at}}}");
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
    use super::escape;

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
        assert_eq!(escape("dm⁻¹"), "dm\\textsuperscript{$-$}\\textsuperscript{1}");
        assert_eq!(escape("é 水"), "é \\texttt{U+6C34}");
    }
}
