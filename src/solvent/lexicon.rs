//! Printed names of substances: folding of characters, and the longest known name at a place in a text.
//!
//! Names are compared letter by letter in folded form: compatibility characters resolved (subscripts become digits),
//! accents dropped, lower case, and without spaces, hyphens and markup, so that `CHCl₃`, `CHCl~3~`, `$\mathrm{CHCl_3}$`
//! and `CHCl<sub>3</sub>` are one name. A name ends where a word ends.

use std::collections::HashMap;
use std::sync::LazyLock;

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use super::substance::Substance;

/// Spaces, hyphens and markup that may stand in a row inside a name; keeps the work at one place of a text bounded.
const MAX_SKIPPED: usize = 12;

/// Letters after which a space may stand inside a name.
const LEAST_LETTERS: usize = 2;

static NAMES: LazyLock<Names> = LazyLock::new(Names::build);

/// The longest known name that starts at byte `start` of `text`: the substance and the byte where the name ends.
pub(super) fn longest_name(text: &str, start: usize) -> Option<(Substance, usize)> {
    let mut found = None;
    let mut walk = Walk {
        text,
        at: start,
        markup: Markup::default(),
        last: None,
        letters: 0,
    };
    let mut node = Names::ROOT;
    while let Some(c) = walk.next() {
        for folded in fold(c) {
            match NAMES.child(node, folded) {
                Some(child) => node = child,
                None => return found,
            }
        }
        if let Some(substance) = NAMES.substance(node) {
            let end = walk.markup.close(text, walk.at);
            if ends_word(text, end, c) {
                found = Some((substance, end));
            }
        }
    }
    found
}

/// Every known name in squeezed form, with its substance.
pub(super) fn all_names() -> impl Iterator<Item = (&'static str, Substance)> {
    static SQUEEZED: LazyLock<Vec<(String, Substance)>> = LazyLock::new(|| {
        let names = |s: Substance| {
            std::iter::once(s.id())
                .chain(s.synonyms())
                .chain(std::iter::once(s.name()))
        };
        Substance::all()
            .flat_map(|s| names(s).map(move |name| (squeeze(name), s)))
            .collect()
    });
    SQUEEZED.iter().map(|(name, substance)| (name.as_str(), *substance))
}

/// The folded form of one character: compatibility form without accents, lower case, every dash a hyphen.
///
/// A combining mark folds to nothing.
pub(super) fn fold(c: char) -> impl Iterator<Item = char> {
    let ascii = c.is_ascii().then(|| c.to_ascii_lowercase());
    let other = (!c.is_ascii()).then(|| {
        let letters = std::iter::once(c).nfkd().filter(|c| !is_combining_mark(*c));
        letters.flat_map(char::to_lowercase).flat_map(|c| match c {
            'ß' => ['s', 's'].into_iter().take(2),
            '‐' | '‑' | '‒' | '–' | '—' | '―' | '−' | '﹣' => ['-', '-'].into_iter().take(1),
            '\u{2044}' | '\u{2215}' => ['/', '/'].into_iter().take(1),
            '∶' | 'ː' => [':', ':'].into_iter().take(1),
            '·' | '⋅' | '∙' => ['·', '·'].into_iter().take(1),
            c => [c, c].into_iter().take(1),
        })
    });
    ascii.into_iter().chain(other.into_iter().flatten())
}

/// A name without anything but its folded letters and digits, the form in which names are compared.
///
/// A bracket that a digit multiplies stays: `(CH2Cl)2` is not `CH2Cl2`.
pub(super) fn squeeze(name: &str) -> String {
    let folded: Vec<char> = name.chars().flat_map(fold).collect();
    let multiplied = |n: usize| folded[n] == ')' && folded.get(n + 1).is_some_and(char::is_ascii_digit);
    (0..folded.len())
        .filter(|n| folded[*n].is_alphanumeric() || multiplied(*n))
        .map(|n| folded[n])
        .collect()
}

/// Whether `c` belongs to a script that is written without spaces between words.
pub(super) fn is_unspaced_script(c: char) -> bool {
    matches!(c, '\u{3040}'..='\u{30FF}' | '\u{3400}'..='\u{9FFF}' | '\u{F900}'..='\u{FAFF}' | '\u{FF66}'..='\u{FF9D}')
}

/// All known names as a tree of folded letters.
struct Names {
    children: HashMap<(u32, char), u32>,
    substances: Vec<Option<Substance>>,
}

impl Names {
    const ROOT: u32 = 0;

    fn build() -> Names {
        let mut names = Names {
            children: HashMap::new(),
            substances: vec![None],
        };
        for substance in Substance::all() {
            let [id, name] = [substance.id(), substance.name()];
            // Two rows may share a systematic name (grades, old names): the id and the first row win.
            names.add(id, substance, Replace::Yes);
            for other in std::iter::once(name)
                .chain(substance.synonyms())
                .chain(substance.misreadings())
            {
                names.add(other, substance, Replace::No);
            }
        }
        names
    }

    fn add(&mut self, name: &str, substance: Substance, replace: Replace) {
        let mut node = Names::ROOT;
        for c in squeeze(name).chars() {
            let next = self.substances.len() as u32;
            node = *self.children.entry((node, c)).or_insert(next);
            if node == next {
                self.substances.push(None);
            }
        }
        let slot = &mut self.substances[node as usize];
        if slot.is_none() || replace == Replace::Yes {
            *slot = Some(substance);
        }
    }

    fn child(&self, node: u32, c: char) -> Option<u32> {
        self.children.get(&(node, c)).copied()
    }

    fn substance(&self, node: u32) -> Option<Substance> {
        self.substances[node as usize]
    }
}

#[derive(PartialEq, Clone, Copy)]
enum Replace {
    Yes,
    No,
}

/// Steps over the letters and digits of a name in `text`, skipping what may stand between them.
struct Walk<'a> {
    text: &'a str,
    at: usize,
    markup: Markup,
    last: Option<char>,
    /// Letters read so far.
    letters: usize,
}

impl Walk<'_> {
    /// The next letter or digit; `None` where the name cannot go on.
    fn next(&mut self) -> Option<char> {
        for _ in 0..MAX_SKIPPED {
            let rest = self.text.get(self.at..)?;
            let c = rest.chars().next()?;
            if c.is_alphanumeric() || is_combining_mark(c) {
                self.at += c.len_utf8();
                self.last = Some(c);
                self.letters += usize::from(c.is_alphabetic());
                return Some(c);
            }
            let was_open = self.markup.parentheses > 0;
            let behind_gap = self.text[..self.at].ends_with(char::is_whitespace) && self.last.is_some();
            if c == '(' && behind_gap && self.letters < LEAST_LETTERS {
                return None;
            }
            let skipped = self.markup.step(rest).or_else(|| self.separator(rest, c))?;
            self.at += skipped;
            if c == ')' && was_open && is_multiplied(&rest[1..]) {
                return Some(c);
            }
        }
        None
    }

    /// Length of a space or hyphen between the letters of a name.
    fn separator(&self, rest: &str, c: char) -> Option<usize> {
        if c.is_whitespace() && self.last.is_none() && self.markup.is_open() {
            return Some(c.len_utf8());
        }
        let last = self.last?;
        let after = rest[c.len_utf8()..].chars().next();
        let allowed = match c {
            '\'' | '’' => true,
            '.' => last.is_alphabetic(),
            // `1,4-dioxane` and `N, N-dimethyl…`, but not `c = 1, dioxane`.
            ',' => last.is_alphabetic() || !after.is_some_and(char::is_whitespace),
            // A space after one letter or a locant would join what does not belong together: `c = 2 propanol`, `25 °C/D
            // (chloroform)`.
            c if c.is_whitespace() => {
                let locant = matches!(last, 'N' | 'n') && self.text[..self.at].ends_with(',');
                self.letters >= LEAST_LETTERS || self.markup.is_open() || locant
            }
            c => fold(c).eq(['-']),
        };
        allowed.then(|| c.len_utf8())
    }
}

/// Whether a digit, perhaps a marked-up subscript, stands at the start of `rest`.
fn is_multiplied(rest: &str) -> bool {
    let rest = rest.strip_prefix("<sub>").unwrap_or(rest);
    let first = rest.trim_start_matches(['_', '~', '{', ' ']).chars().next();
    first.is_some_and(|c| fold(c).all(|c| c.is_ascii_digit()))
}

/// Brackets and markup opened inside a name.
#[derive(Default, Clone)]
struct Markup {
    braces: usize,
    parentheses: usize,
    tags: usize,
    dollar: bool,
    tilde: bool,
}

impl Markup {
    fn is_open(&self) -> bool {
        self.dollar || self.braces > 0 || self.parentheses > 0 || self.tags > 0
    }

    /// Length of the piece of markup at the start of `rest`, if it may stand here.
    fn step(&mut self, rest: &str) -> Option<usize> {
        const COMMANDS: [&str; 8] = [
            "\\mathrm", "\\mathbf", "\\mathsf", "\\text", "\\rm", "\\ce", "\\,", "\\;",
        ];
        const OPEN_TAGS: [&str; 5] = ["<sub", "<sup", "<i>", "<b>", "<em>"];
        if let Some(command) = COMMANDS.iter().find(|command| rest.starts_with(**command)) {
            return Some(command.len());
        }
        if let Some(length) = closing_tag(rest) {
            self.tags = self.tags.checked_sub(1)?;
            return Some(length);
        }
        if OPEN_TAGS.iter().any(|tag| rest.starts_with(tag)) {
            self.tags += 1;
            return rest.bytes().take(60).position(|b| b == b'>').map(|n| n + 1);
        }
        match rest.as_bytes().first()? {
            b'{' => self.braces += 1,
            b'}' => self.braces = self.braces.checked_sub(1)?,
            b'(' => self.parentheses += 1,
            b')' => self.parentheses = self.parentheses.checked_sub(1)?,
            b'$' => self.dollar = !self.dollar,
            b'~' => self.tilde = !self.tilde,
            b'_' => {}
            _ => return None,
        }
        Some(1)
    }

    /// The byte after the markup that closes, at `at`, what was opened inside the name.
    fn close(&self, text: &str, at: usize) -> usize {
        let mut open = self.clone();
        let mut end = at;
        loop {
            let rest = &text[end..];
            let gap = rest.len() - rest.trim_start_matches(' ').len();
            let rest = &rest[gap..];
            let opens = rest.starts_with(['{', '(', '_', '\\'])
                || rest.starts_with("<sub")
                || rest.starts_with("<sup")
                || (rest.starts_with('$') && !open.dollar)
                || (rest.starts_with('~') && !open.tilde);
            match (opens, gap <= 2, open.step(rest)) {
                (false, true, Some(length)) => end += gap + length,
                _ => return end,
            }
        }
    }
}

fn closing_tag(rest: &str) -> Option<usize> {
    const CLOSE_TAGS: [&str; 5] = ["</sub>", "</sup>", "</i>", "</b>", "</em>"];
    CLOSE_TAGS
        .iter()
        .find(|tag| rest.starts_with(**tag))
        .map(|tag| tag.len())
}

/// Whether the word that has `last` as its last character ends at byte `end`.
fn ends_word(text: &str, end: usize, last: char) -> bool {
    let rest = &text[end..];
    let Some(next) = rest.chars().next() else { return true };
    if is_unspaced_script(last) {
        return true;
    }
    if is_combining_mark(next) || (next.is_alphanumeric() && !is_unspaced_script(next)) {
        return false;
    }
    let more_subscript = match next {
        '_' | '~' => rest[1..].starts_with(|c: char| c == '{' || c.is_ascii_digit()),
        '<' => rest.starts_with("<sub"),
        _ => false,
    };
    !more_subscript && !has_changing_suffix(rest)
}

/// Whether the name goes on as another substance: `-d6` of a labelled one that is not in the table, `-free`.
fn has_changing_suffix(rest: &str) -> bool {
    let mut folded = rest.chars().take(8).flat_map(fold);
    if folded.next() != Some('-') {
        return false;
    }
    let word: String = folded.take_while(|c| c.is_alphanumeric()).collect();
    let labelled = word
        .strip_prefix('d')
        .is_some_and(|n| n.bytes().all(|b| b.is_ascii_digit()));
    labelled || word == "free"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_substances_share_a_printed_name() {
        let mut owners: HashMap<String, Substance> = HashMap::new();
        for substance in Substance::all() {
            for name in std::iter::once(substance.id())
                .chain(substance.synonyms())
                .chain(substance.misreadings())
            {
                let owner = *owners.entry(squeeze(name)).or_insert(substance);
                assert_eq!(owner, substance, "`{name}` is claimed twice");
            }
        }
    }

    #[test]
    fn a_name_ends_where_a_word_ends() {
        let check = |text: &str, expected: Option<(&str, usize)>| {
            let found = longest_name(text, 0).map(|(substance, end)| (substance.id(), end));
            assert_eq!(found, expected, "{text}");
        };
        check("ethereal", None);
        check("H2O2", None);
        check("H_2O_2", None);
        check("H~2~O~2~", None);
        check("ethanol-d6", None);
        check("ethanol-free chloroform", Some(("CHCl3 EtOH-free", 23)));
        check("CHCl~3~)", Some(("CHCl3", 7)));
        check("$\\mathrm { C H C l } _ { 3 }$ )", Some(("CHCl3", 29)));
        check("CHCl<sub>3</sub>, 25", Some(("CHCl3", 16)));
        check("D (chloroform)", None);
        check("D20 +31", None);
        check("CHCl₃-MeOH", Some(("CHCl3", 7)));
        check("2 propanol", None);
        check("2-propanol", Some(("iPrOH", 10)));
        check("1, 4-dioxane", None);
        check("1,4-dioxane)", Some(("dioxane", 11)));
        check("N, N-dimethylformamide", Some(("DMF", 22)));
        check("水溶液", Some(("H2O", 9)));
        check("(CH3)2CO", Some(("acetone", 8)));
        check("(CH_3)_2CO", Some(("acetone", 10)));
        check("(CH2Cl)2", Some(("1,2-dichloroethane", 8)));
        check("(CHCl3)2", None);
        check("Essigsa\u{308}ure", Some(("AcOH", 12)));
    }
}
