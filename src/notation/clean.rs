//! Brings printed text to one plain form and keeps the way back to the bytes it came from.
//!
//! Markup (HTML, LaTeX, Markdown, the `^` and `~` of CIF), entities, compatibility characters and the many printed
//! dashes, degree signs and alphas become plain characters; what stood raised or lowered is kept as a mark beside the
//! character. Nothing here knows what a rotation is. Start at [`Clean::new`].

use unicode_normalization::UnicodeNormalization;

/// How a character stood on the line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Script {
    /// On the line.
    #[default]
    Normal,
    /// Raised.
    Super,
    /// Lowered.
    Sub,
}

/// Plain text with, for every byte, the place it came from.
#[derive(Debug, Default)]
pub(super) struct Clean {
    /// The plain text.
    pub text: String,
    /// For every byte of `text`: start and end of the original characters, counted from the start of the source.
    origin: Vec<(u32, u32)>,
    /// For every byte of `text`: how it stood.
    script: Vec<Script>,
}

impl Clean {
    /// Cleans a text of at most 4 GiB; longer texts are cut there.
    pub(super) fn new(source: &str) -> Self {
        let mut cleaner = Cleaner {
            source,
            at: 0,
            out: Self::default(),
            scripts: Vec::new(),
            math_until: 0,
            text_group_until: 0,
            braces: Vec::new(),
        };
        cleaner.out.text.reserve(source.len());
        cleaner.out.origin.reserve(source.len());
        cleaner.out.script.reserve(source.len());
        while cleaner.at < source.len() && cleaner.at < u32::MAX as usize - 8 {
            cleaner.step();
        }
        cleaner.out
    }

    /// The original bytes behind `start..end` of the plain text.
    pub(super) fn original(&self, start: usize, end: usize) -> (usize, usize) {
        let first = self.origin.get(start).map_or(0, |&(from, _)| from as usize);
        let last = end
            .checked_sub(1)
            .and_then(|last| self.origin.get(last))
            .map_or(first, |&(_, to)| to as usize);
        (first, last.max(first))
    }

    /// How the byte at `at` stood.
    pub(super) fn script(&self, at: usize) -> Script {
        self.script.get(at).copied().unwrap_or_default()
    }

    fn push(&mut self, c: char, script: Script, from: usize, to: usize) {
        // Runs of white space become one blank, or one or two line ends.
        if c == ' ' || c == '\n' {
            let tail = self.text.as_bytes();
            match (tail.last(), c) {
                (None | Some(b' ' | b'\n'), ' ') => return,
                (Some(b' '), '\n') => {
                    self.text.pop();
                    self.origin.pop();
                    self.script.pop();
                }
                (Some(b'\n'), '\n') if tail.len() > 1 && tail[tail.len() - 2] == b'\n' => return,
                _ => {}
            }
        }
        self.text.push(c);
        for _ in 0..c.len_utf8() {
            self.origin.push((from as u32, to as u32));
            self.script.push(script);
        }
    }
}

/// Longest tag, entity or group that is looked for; keeps every look ahead bounded.
const LOOK_AHEAD: usize = 300;

struct Cleaner<'a> {
    source: &'a str,
    at: usize,
    out: Clean,
    /// Scripts that are open, each with the byte where it closes (`usize::MAX` when a tag closes it).
    scripts: Vec<(Script, usize)>,
    /// End of the formula between dollar signs that is being read.
    math_until: usize,
    /// End of the text group within a formula, where blanks count.
    text_group_until: usize,
    /// Closing braces of scripts that were opened, to be dropped.
    braces: Vec<usize>,
}

impl<'a> Cleaner<'a> {
    fn rest(&self) -> &'a str {
        &self.source[self.at..]
    }

    fn script(&self) -> Script {
        self.scripts.last().map_or(Script::Normal, |&(script, _)| script)
    }

    fn in_math(&self) -> bool {
        self.at < self.math_until
    }

    fn emit(&mut self, c: char, length: usize) {
        let script = self.script();
        self.out.push(c, script, self.at, self.at + length);
        self.at += length;
    }

    fn skip(&mut self, length: usize) {
        self.at += length;
    }

    /// Reads one character or one piece of markup. Always moves on.
    fn step(&mut self) {
        while let Some(&(_, end)) = self.scripts.last() {
            if self.at < end {
                break;
            }
            self.scripts.pop();
        }
        let Some(c) = self.rest().chars().next() else {
            self.at = self.source.len();
            return;
        };
        match c {
            // `{[}$\alpha${]}`: brackets that a converter to LaTeX wrapped.
            '{' if self.rest().starts_with("{[}") => self.emit('[', 3),
            '{' if self.rest().starts_with("{]}") => self.emit(']', 3),
            '<' => self.tag(),
            '&' => self.entity(),
            '$' => self.dollar(),
            '\\' => self.command(),
            '^' | '_' | '~' => self.shift(c),
            '}' if self.braces.last() == Some(&self.at) => {
                self.braces.pop();
                self.skip(1);
            }
            '{' | '}' if self.in_math() || self.scripts.last().is_some_and(|&(_, end)| end != usize::MAX) => {
                self.skip(1);
            }
            '*' => self.star(),
            '.' if self.dotted() => {}
            c if c.is_whitespace() => self.blank(c),
            c if c.is_ascii() => self.emit(if c.is_control() { ' ' } else { c }, 1),
            c => self.wide(c),
        }
    }

    fn blank(&mut self, c: char) {
        let length = c.len_utf8();
        if self.in_math() && self.at >= self.text_group_until {
            self.skip(length);
        } else {
            let plain = if matches!(c, '\n' | '\r' | '\u{2028}' | '\u{2029}') {
                '\n'
            } else {
                ' '
            };
            // A carriage return before a line feed is part of it.
            if c == '\r' && self.rest().as_bytes().get(1) == Some(&b'\n') {
                self.skip(1);
            }
            self.emit(
                plain,
                if c == '\r' { 1 } else { length }.min(self.source.len() - self.at),
            );
        }
    }

    /// A star is emphasis unless it stands between digits, where scanned print has it for a decimal point.
    fn star(&mut self) {
        let before = self.out.text.ends_with(|c: char| c.is_ascii_digit());
        let after = self.rest()[1..].starts_with(|c: char| c.is_ascii_digit());
        if before && after {
            self.emit('*', 1);
        } else {
            self.skip(1);
        }
    }

    /// `.alpha.`, `.degree.`, `.sub.3`: the plain text of patent offices. False when nothing of the kind stands here.
    fn dotted(&mut self) -> bool {
        let rest = self.rest();
        let Some(end) = rest[1..].bytes().take(12).position(|b| b == b'.') else {
            return false;
        };
        let name = &rest[1..=end];
        let length = end + 2;
        if let Some(&(_, c)) = DOTTED.iter().find(|(known, _)| *known == name) {
            self.emit(c, length);
            return true;
        }
        let script = match name {
            "sub" => Script::Sub,
            "sup" => Script::Super,
            _ => return false,
        };
        let behind = &rest.as_bytes()[length..];
        let digits = behind.iter().take(6).take_while(|b| b.is_ascii_digit()).count();
        let letters = behind.iter().take(6).take_while(|b| b.is_ascii_alphabetic()).count();
        self.skip(length);
        self.scripts.push((script, self.at + digits.max(letters)));
        true
    }

    fn tag(&mut self) {
        let rest = self.rest().as_bytes();
        // `[alpha]<20>D`: raised numbers in the plain text of another office.
        let digits = rest[1..].iter().take(4).take_while(|b| b.is_ascii_digit()).count();
        if digits > 0 && rest.get(1 + digits) == Some(&b'>') {
            self.skip(1);
            let end = self.at + digits;
            self.scripts.push((Script::Super, end));
            while self.at < end {
                let digit = char::from(rest[1 + digits - (end - self.at)]);
                self.emit(digit, 1);
            }
            self.scripts.pop();
            return self.skip(1);
        }
        let closing = rest.get(1) == Some(&b'/');
        let name_from = if closing { 2 } else { 1 };
        let name_len = rest[name_from..]
            .iter()
            .take(20)
            .take_while(|b| b.is_ascii_alphanumeric() || **b == b':' || **b == b'-')
            .count();
        let end = rest
            .iter()
            .take(LOOK_AHEAD)
            .skip(1)
            .position(|&b| b == b'>' || b == b'<');
        let is_tag = name_len > 0
            && rest[name_from].is_ascii_alphabetic()
            && end.is_some_and(|end| rest[end + 1] == b'>')
            && matches!(
                rest.get(name_from + name_len),
                Some(b'>' | b' ' | b'/' | b'\t' | b'\n' | b'\r')
            );
        let Some(end) = end.filter(|_| is_tag) else {
            return self.emit('<', 1);
        };
        let name = self.rest()[name_from..name_from + name_len].to_ascii_lowercase();
        let length = end + 2;
        match (name.as_str(), closing) {
            ("sub" | "inf" | "subscript", false) => self.scripts.push((Script::Sub, usize::MAX)),
            ("sup" | "superscript", false) => self.scripts.push((Script::Super, usize::MAX)),
            ("sub" | "inf" | "subscript" | "sup" | "superscript", true) => {
                self.scripts.pop();
            }
            ("br" | "p" | "div" | "tr" | "li" | "h1" | "h2" | "h3" | "h4" | "table", _) => {
                return self.emit('\n', length);
            }
            ("td" | "th", false) => return self.emit('|', length),
            _ => {}
        }
        // Raised and lowered text never runs on past the nesting print uses.
        self.scripts.truncate(4);
        self.skip(length);
    }

    fn entity(&mut self) {
        let rest = self.rest();
        let Some(end) = rest.as_bytes().iter().take(12).position(|&b| b == b';') else {
            return self.emit('&', 1);
        };
        let name = rest.get(1..end).unwrap_or("");
        let c = match name.strip_prefix('#') {
            Some(code) => match code.strip_prefix(['x', 'X']) {
                Some(hex) => u32::from_str_radix(hex, 16).ok(),
                None => code.parse().ok(),
            }
            .and_then(char::from_u32),
            None => ENTITIES.iter().find(|(known, _)| *known == name).map(|&(_, c)| c),
        };
        match c {
            Some(c) => self.emit_wide(c, end + 1),
            None => self.emit('&', 1),
        }
    }

    /// A dollar sign opens a formula when another one closes it soon and what lies between looks like a formula.
    fn dollar(&mut self) {
        if self.in_math() {
            return self.skip(1);
        }
        let rest = self.rest().as_bytes();
        let double = rest.get(1) == Some(&b'$');
        let from = if double { 2 } else { 1 };
        let close = rest.iter().take(LOOK_AHEAD).skip(from).position(|&b| b == b'$');
        if let Some(close) = close {
            let inner = &rest[from..from + close];
            let short = inner.len() <= 24 && !inner.is_empty() && !inner.contains(&b' ');
            if short || inner.iter().any(|b| matches!(b, b'\\' | b'_' | b'^' | b'{')) {
                self.math_until = self.at + from + close + 1;
                return self.skip(from);
            }
        }
        self.emit('$', 1);
    }

    fn command(&mut self) {
        let rest = self.rest();
        let name_len = rest[1..].bytes().take(24).take_while(u8::is_ascii_alphabetic).count();
        if name_len == 0 {
            return self.escaped();
        }
        let name = &rest[1..=name_len];
        let length = 1 + name_len;
        if let Some(&(_, c)) = COMMANDS.iter().find(|(known, _)| *known == name) {
            self.emit(c, length);
        } else if name == "a" {
            // The CIF code of alpha.
            self.emit('α', length);
        } else if let "textsubscript" | "textsuperscript" = name {
            let script = if name == "textsubscript" {
                Script::Sub
            } else {
                Script::Super
            };
            self.skip(length);
            self.group(script);
        } else if let "text" | "mbox" | "textrm" | "textit" | "hbox" = name {
            let close = self.close_of_group(length);
            self.skip(length);
            self.text_group_until = self.text_group_until.max(close);
        } else if FORMATTING.contains(&name) || self.in_math() {
            self.skip(length);
        } else if let "n" | "r" | "t" = name {
            self.emit(' ', length);
        } else {
            self.emit(' ', 1);
        }
    }

    /// A backslash before something that is no letter.
    fn escaped(&mut self) {
        let next = self.rest()[1..].chars().next();
        match next {
            Some(',' | ';' | ':' | ' ') => self.emit(' ', 2),
            Some('!' | '/') => self.skip(2),
            Some(delimiter @ ('(' | ')' | '[' | ']')) => {
                // Delimiters of a formula, unless no formula follows (escaped brackets of Markdown).
                let open = matches!(delimiter, '(' | '[');
                let square = matches!(delimiter, '[' | ']');
                let closing: &[u8] = if square { b"\\]" } else { b"\\)" };
                let inner = self.rest().get(2..).unwrap_or("");
                let close = inner
                    .as_bytes()
                    .windows(2)
                    .take(LOOK_AHEAD)
                    .position(|pair| pair == closing);
                let formula = open
                    && close.is_some_and(|close| {
                        let inner = &inner.as_bytes()[..close];
                        inner.iter().any(|b| matches!(b, b'\\' | b'_' | b'^' | b'{'))
                            && (!square || inner.contains(&b'['))
                    });
                if formula {
                    self.math_until = self.at + 2 + close.unwrap_or(0);
                    self.skip(2);
                } else if !open && self.at == self.math_until {
                    self.skip(2);
                } else {
                    self.skip(1);
                    if square {
                        self.emit(delimiter, 1);
                    }
                }
            }
            Some(c) if c.is_ascii_punctuation() => {
                self.skip(1);
                if !matches!(c, '\\' | '{' | '}') {
                    self.emit(c, 1);
                }
            }
            _ => self.emit(' ', 1),
        }
    }

    /// Where the braces that open at `offset` from here close; the place of the brace itself when they do not.
    fn close_of_group(&self, offset: usize) -> usize {
        let from = self.at + offset;
        let mut depth = 0usize;
        for (n, b) in self.source.as_bytes()[from.min(self.source.len())..]
            .iter()
            .take(LOOK_AHEAD)
            .enumerate()
        {
            match b {
                b'{' => depth += 1,
                b'}' if depth <= 1 => return from + n,
                b'}' => depth -= 1,
                b' ' => {}
                _ if depth == 0 => return from,
                _ => {}
            }
        }
        from
    }

    /// Opens a script for the braces that stand here.
    fn group(&mut self, script: Script) {
        let close = self.close_of_group(0);
        if close > self.at {
            self.scripts.push((script, close));
            self.braces.retain(|&brace| brace > self.at);
            self.braces.push(close);
            let brace = self.rest().bytes().position(|b| b == b'{').unwrap_or(0);
            self.skip(brace + 1);
        }
    }

    /// `^`, `_` and `~`: scripts of LaTeX, of CIF and of plain typing.
    fn shift(&mut self, mark: char) {
        let script = if mark == '^' { Script::Super } else { Script::Sub };
        let rest = &self.rest()[1..];
        if mark == '~' {
            return match script_pair(rest, b'~') {
                Some(length) if !self.in_math() => self.scripted(Script::Sub, length),
                _ if self.in_math() => self.skip(1),
                _ => self.emit('~', 1),
            };
        }
        let next = rest.trim_start_matches(' ');
        if next.starts_with('{') && (self.in_math() || rest.starts_with('{')) {
            self.skip(1);
            let before = self.at;
            self.group(script);
            if self.at == before {
                self.skip(rest.len() - next.len() + 1);
            }
            return;
        }
        let rest = if self.in_math() { next } else { rest };
        let blanks = self.rest().len() - 1 - rest.len();
        if mark == '^'
            && let Some(length) = script_pair(rest, b'^')
        {
            return self.scripted(Script::Super, length);
        }
        // `= _22.7`: a blank or an equals sign before it makes it a damaged sign.
        let apart = mark == '_' && !self.in_math() && self.out.text.ends_with([' ', '=']);
        if apart && rest.starts_with(|c: char| c.is_ascii_digit()) {
            return self.emit('_', 1);
        }
        let digits = rest
            .bytes()
            .take(24)
            .take_while(|b| b.is_ascii_digit() || *b == b'.')
            .count();
        let letter = usize::from(rest.starts_with(|c: char| c.is_ascii_alphabetic()));
        let alone = !rest[letter.min(rest.len())..].starts_with(|c: char| c.is_ascii_alphabetic());
        if rest.starts_with("\\circ") || rest.starts_with('\\') && self.in_math() {
            self.skip(1 + blanks);
        } else if digits > 0 && !(mark == '_' && self.out.text.ends_with(|c: char| c.is_ascii_digit())) {
            self.skip(1 + blanks);
            self.scripts.push((script, self.at + digits));
        } else if letter == 1 && (alone || self.in_math()) {
            self.skip(1 + blanks);
            self.scripts.push((script, self.at + 1));
        } else if mark == '_' {
            self.emit(' ', 1);
        } else {
            self.skip(1);
        }
    }

    /// Text of `length` bytes between two marks.
    fn scripted(&mut self, script: Script, length: usize) {
        self.skip(1);
        let end = self.at + length;
        self.scripts.push((script, end));
        while self.at < end {
            match self.rest().chars().next() {
                Some(c) if c.is_ascii() => self.emit(c, 1),
                Some(c) => self.wide(c),
                None => break,
            }
        }
        self.scripts.pop();
        self.skip(1);
    }

    fn wide(&mut self, c: char) {
        match c {
            // An asterisk of mathematical type.
            '\u{2217}' => return self.skip(c.len_utf8()),
            // A font of formulas read with another one's table prints ¼ for the equals sign.
            '¼' if !self.out.text.ends_with(|c: char| c.is_ascii_digit())
                && self.rest()[c.len_utf8()..].starts_with(' ') =>
            {
                return self.emit('=', c.len_utf8());
            }
            _ => {}
        }
        // A Cyrillic a stands for alpha only by itself.
        if c == 'а' {
            let cyrillic = |c: char| matches!(c, '\u{0400}'..='\u{052F}');
            if self.rest()[c.len_utf8()..].starts_with(cyrillic) || self.out.text.ends_with(cyrillic) {
                return self.emit(c, c.len_utf8());
            }
        }
        self.emit_wide(c, c.len_utf8());
    }

    /// Emits a character beyond ASCII that took `length` bytes of the source.
    fn emit_wide(&mut self, c: char, length: usize) {
        let (plain, script) = match c {
            '\u{00AD}' | '\u{200B}'..='\u{200F}' | '\u{2060}'..='\u{2064}' | '\u{FEFF}' | '\u{202A}'..='\u{202E}' => {
                return self.skip(length);
            }
            '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{FE58}' | '\u{FE63}' | '\u{FF0D}' | '\u{F02D}' | '\u{2796}' => {
                ('-', None)
            }
            '\u{FF0B}' | '\u{F02B}' | '\u{FE62}' | '\u{2795}' => ('+', None),
            '\u{F0B1}' => ('±', None),
            '\u{00BA}' | '\u{02DA}' | '\u{25E6}' | '\u{2218}' | '\u{F0B0}' | '\u{0970}' | '\u{1D52}' => ('°', None),
            '\u{0251}' | '\u{237A}' | '\u{221D}' | '\u{F061}' | '\u{03AC}' | '\u{1F00}' | '\u{1F70}' | '\u{0430}' => {
                ('α', None)
            }
            '\u{F05B}' | '\u{3010}' | '\u{3014}' => ('[', None),
            '\u{F05D}' | '\u{3011}' | '\u{3015}' => (']', None),
            '\u{F03D}' => ('=', None),
            '\u{F06C}' => ('λ', None),
            '\u{F020}'..='\u{F0FF}' | '\u{00A0}' => (' ', None),
            '\u{2018}' | '\u{2019}' | '\u{201B}' | '\u{2032}' | '\u{02B9}' | '\u{00B4}' => ('\'', None),
            '\u{201C}' | '\u{201D}' | '\u{2033}' => ('"', None),
            '\u{1D05}' => ('D', Some(Script::Sub)),
            '\u{1D30}' => ('D', Some(Script::Super)),
            '\u{2022}' | '\u{22C5}' | '\u{2219}' | '\u{30FB}' => ('·', None),
            '\u{301C}' | '\u{223C}' | '\u{FF5E}' | '\u{02DC}' => ('~', None),
            '\u{3002}' => ('.', None),
            '\u{3001}' => (',', None),
            '\u{2236}' => (':', None),
            '\u{2103}' => return self.emit_many("°C", length, None),
            '\u{00B9}' | '\u{00B2}' | '\u{00B3}' | '\u{2070}'..='\u{207F}' => {
                return self.emit_folded(c, length, Script::Super);
            }
            '\u{2080}'..='\u{209C}' => return self.emit_folded(c, length, Script::Sub),
            '\u{00B5}' => ('μ', None),
            '\u{00A9}' | '\u{00AE}' | '\u{00B0}' | '\u{00B1}' | '\u{00B7}' => (c, None),
            '\u{FB00}'..='\u{FB06}'
            | '\u{FF01}'..='\u{FF5D}'
            | '\u{1D400}'..='\u{1D7FF}'
            | '\u{2000}'..='\u{200A}'
            | '\u{202F}'
            | '\u{205F}'
            | '\u{3000}'
            | '\u{2100}'..='\u{214F}'
            | '\u{2460}'..='\u{24FF}'
            | '\u{3300}'..='\u{33FF}' => {
                return self.emit_folded(c, length, self.script());
            }
            c => (c, None),
        };
        let script = script.unwrap_or_else(|| self.script());
        self.out.push(plain, script, self.at, self.at + length);
        self.at += length;
    }

    fn emit_many(&mut self, plain: &str, length: usize, script: Option<Script>) {
        let script = script.unwrap_or_else(|| self.script());
        for c in plain.chars() {
            self.out.push(c, script, self.at, self.at + length);
        }
        self.at += length;
    }

    /// The compatibility form of a character.
    fn emit_folded(&mut self, c: char, length: usize, script: Script) {
        for folded in std::iter::once(c).nfkc().take(4) {
            let folded = match folded {
                '\u{2212}' => '-',
                '\u{2218}' => '°',
                '\u{0251}' => 'α',
                c if c.is_whitespace() => ' ',
                c => c,
            };
            self.out.push(folded, script, self.at, self.at + length);
        }
        self.at += length;
    }
}

/// The length of the text up to the second `mark`, when it is short and looks like a script (`25`, `D`, `20 °C`).
fn script_pair(rest: &str, mark: u8) -> Option<usize> {
    let end = rest.bytes().take(12).position(|b| b == mark)?;
    let inner = &rest[..end];
    let fits = end > 0
        && inner
            .chars()
            .all(|c| c.is_alphanumeric() || matches!(c, '.' | '°' | '/' | '+' | '-' | 'º' | ' '))
        && !inner.starts_with(' ')
        && !inner.ends_with(' ');
    fits.then_some(end)
}

/// Entities with a name that occur in printed chemistry (HTML 4 names).
const ENTITIES: [(&str, char); 51] = [
    ("agr", 'α'),
    ("bgr", 'β'),
    ("lpar", '('),
    ("rpar", ')'),
    ("period", '.'),
    ("comma", ','),
    ("sol", '/'),
    ("alpha", 'α'),
    ("beta", 'β'),
    ("gamma", 'γ'),
    ("delta", 'δ'),
    ("Delta", 'Δ'),
    ("epsilon", 'ε'),
    ("lambda", 'λ'),
    ("mu", 'μ'),
    ("nu", 'ν'),
    ("Phi", 'Φ'),
    ("phi", 'φ'),
    ("theta", 'θ'),
    ("deg", '°'),
    ("minus", '\u{2212}'),
    ("plus", '+'),
    ("plusmn", '±'),
    ("pm", '±'),
    ("ndash", '\u{2013}'),
    ("mdash", '\u{2014}'),
    ("hyphen", '-'),
    ("nbsp", ' '),
    ("thinsp", ' '),
    ("ensp", ' '),
    ("emsp", ' '),
    ("shy", '\u{00AD}'),
    ("zwnj", '\u{200C}'),
    ("lt", '<'),
    ("gt", '>'),
    ("le", '≤'),
    ("ge", '≥'),
    ("amp", '&'),
    ("quot", '"'),
    ("apos", '\''),
    ("asymp", '≈'),
    ("sim", '~'),
    ("times", '×'),
    ("middot", '·'),
    ("prime", '\''),
    ("ordm", '°'),
    ("sup2", '\u{00B2}'),
    ("sup3", '\u{00B3}'),
    ("lsqb", '['),
    ("rsqb", ']'),
    ("equals", '='),
];

/// Names between dots that print one character.
const DOTTED: [(&str, char); 16] = [
    ("alpha", 'α'),
    ("beta", 'β'),
    ("gamma", 'γ'),
    ("delta", 'δ'),
    ("lambda", 'λ'),
    ("mu", 'μ'),
    ("phi", 'φ'),
    ("degree", '°'),
    ("+-", '±'),
    ("times", '×'),
    ("about", '~'),
    ("apprxeq", '≈'),
    ("gtoreq", '≥'),
    ("ltoreq", '≤'),
    ("epsilon", 'ε'),
    ("DELTA", 'Δ'),
];

/// LaTeX commands that print one character.
const COMMANDS: [(&str, char); 34] = [
    ("alpha", 'α'),
    ("upalpha", 'α'),
    ("beta", 'β'),
    ("gamma", 'γ'),
    ("delta", 'δ'),
    ("Delta", 'Δ'),
    ("epsilon", 'ε'),
    ("varepsilon", 'ε'),
    ("lambda", 'λ'),
    ("mu", 'μ'),
    ("nu", 'ν'),
    ("Phi", 'Φ'),
    ("phi", 'φ'),
    ("varphi", 'φ'),
    ("theta", 'θ'),
    ("circ", '°'),
    ("degree", '°'),
    ("textdegree", '°'),
    ("degrees", '°'),
    ("celsius", '°'),
    ("pm", '±'),
    ("times", '×'),
    ("cdot", '·'),
    ("approx", '≈'),
    ("sim", '~'),
    ("simeq", '≈'),
    ("ge", '≥'),
    ("geq", '≥'),
    ("le", '≤'),
    ("leq", '≤'),
    ("quad", ' '),
    ("qquad", ' '),
    ("lbrack", '['),
    ("rbrack", ']'),
];

/// LaTeX commands that print nothing themselves.
const FORMATTING: [&str; 26] = [
    "mathrm",
    "mathbf",
    "mathit",
    "mathsf",
    "mathnormal",
    "boldsymbol",
    "rm",
    "it",
    "bf",
    "sf",
    "em",
    "emph",
    "textbf",
    "textsf",
    "tiny",
    "small",
    "scriptsize",
    "normalsize",
    "left",
    "right",
    "big",
    "Big",
    "bigl",
    "bigr",
    "operatorname",
    "ensuremath",
];

#[cfg(test)]
mod tests {
    use super::*;

    fn plain(source: &str) -> String {
        Clean::new(source).text
    }

    #[test]
    fn markup_of_every_kind_becomes_one_text() {
        for (source, text) in [
            (
                "[α]<sub class=\"stack\">D</sub><sup>20</sup>–6.2 (<i>c</i> 2.1, CHCl<sub>3</sub>)",
                "[α]D20-6.2 (c 2.1, CHCl3)",
            ),
            (
                "$[\\alpha]_D^{26} +320$  (c 0.05,  $CH_3OH$ )",
                "[α]D26+320 (c 0.05, CH3OH )",
            ),
            (
                "$\\mathrm { [ a ] _ { D } } ^ { 2 5 } + 1 . 8$ (c 0.20",
                "[a]D25+1.8 (c 0.20",
            ),
            (
                "$[ \\mathbf { a } ] _ { \\mathrm { D } } ^ { 2 0 } \\mathbf { - } 4 2 . 0$",
                "[a]D20-42.0",
            ),
            (
                "'[\\a]^25^~D~ = +108 (c = 3.42, CHCl~3~)'",
                "'[α]25D = +108 (c = 3.42, CHCl3)'",
            ),
            ("[&alpha;]<sub>D</sub> &minus;12&deg;", "[α]D -12°"),
            ("[α]²⁰ᴅ = −12 ± 1°", "[α]20D = -12 ± 1°"),
            ("[\u{f061}]24D +31.7", "[α]24D +31.7"),
            ("-3.4^{\\circ}", "-3.4°"),
            ("C=0.7，水", "C=0.7,水"),
            ("a  b \n\n\n c", "a b\n\nc"),
            ("$5 and 6 $", "$5 and 6 $"),
            ("x < 5 and y", "x < 5 and y"),
        ] {
            assert_eq!(plain(source), text, "{source}");
        }
    }

    #[test]
    fn scripts_are_kept_beside_the_text() {
        use Script::{Normal, Sub, Super};
        let clean = Clean::new("[α]^25^~D~ x");
        let scripts: Vec<_> = (0..clean.text.len()).map(|at| clean.script(at)).collect();
        assert_eq!(
            scripts,
            [Normal, Normal, Normal, Normal, Super, Super, Sub, Normal, Normal]
        );
        assert_eq!(clean.original(4, 6), (5, 7));
    }

    proptest::proptest! {
        #[test]
        fn every_text_is_cleaned_with_places_inside_it(source in "\\PC{0,200}") {
            let clean = Clean::new(&source);
            for at in 0..clean.text.len() {
                let (from, to) = clean.original(at, at + 1);
                proptest::prop_assert!(from < to && to <= source.len());
                proptest::prop_assert!(source.is_char_boundary(from) && source.is_char_boundary(to));
            }
        }

        #[test]
        fn markup_soup_is_cleaned(source in "[\\\\$^_~{}<>/&;#a-dsup0-9 αΑ\\[\\]()*°-]{0,120}") {
            let clean = Clean::new(&source);
            for at in 0..clean.text.len() {
                let (from, to) = clean.original(at, at + 1);
                proptest::prop_assert!(from < to && to <= source.len());
                proptest::prop_assert!(source.is_char_boundary(from) && source.is_char_boundary(to));
            }
        }
    }
}
