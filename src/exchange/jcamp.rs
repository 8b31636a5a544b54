//! JCAMP-DX: one curve of a file, as (x, y) points.
//!
//! The subset read: labelled data records with comments; `XYDATA=(X++(Y..Y))` in the fixed and packed forms and in the
//! squeezed, difference and duplicate forms; `XYPOINTS=(XY..XY)` and `PEAK TABLE=(XY..XY)`. R. S. McDonald and P. A.
//! Wilks, JCAMP-DX: A Standard Form for Exchange of Infrared Spectra in Computer Readable Form, Appl. Spectrosc. 42 (1988)
//! 151 (version 4.24). Files of several blocks, and NTUPLES, are refused. The checks that the form carries (x at the start
//! of a line, the repeated ordinate after differences, the number of points) are made, and a file that fails one is
//! refused with its line. Start reading at [`parse`].

use crate::quantity::MOST;

/// A curve.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// The title.
    pub title: String,
    /// The data type, as written.
    pub data_type: String,
    /// The unit of x, as written.
    pub x_unit: String,
    /// The unit of y, as written.
    pub y_unit: String,
    /// The points, in the order of the file; ordinates marked as missing are left out.
    pub points: Vec<(f64, f64)>,
    /// Ordinates marked as missing.
    pub n_missing: usize,
}

/// Why a file gives no curve.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum JcampError {
    /// It is not JCAMP-DX.
    #[error("this is no JCAMP-DX file: its first record is not ##TITLE=")]
    NotJcamp,
    /// It holds several blocks.
    #[error("line {line}: the file holds several blocks ({what}); save one curve to a file of its own")]
    Several {
        /// Where.
        line: usize,
        /// What says so.
        what: &'static str,
    },
    /// It has no table of data.
    #[error("the file has no table of data; XYDATA=(X++(Y..Y)) and XYPOINTS=(XY..XY) are read")]
    NoData,
    /// A table of another form.
    #[error("line {line}: the form \"{form}\" of {label} is not read; (X++(Y..Y)) and (XY..XY) are")]
    Form {
        /// Where.
        line: usize,
        /// The record.
        label: String,
        /// The form.
        form: String,
    },
    /// A record that is needed is missing or no number.
    #[error("the record ##{label}= is missing or holds no number, and the table of data needs it")]
    Record {
        /// Its label.
        label: &'static str,
    },
    /// Something in the table is no number.
    #[error("line {line}: \"{text}\" is no number of a table of data")]
    Number {
        /// Where.
        line: usize,
        /// The text.
        text: String,
    },
    /// A check fails.
    #[error("line {line}: {what}; the file is damaged or was edited")]
    Check {
        /// Where.
        line: usize,
        /// What does not agree.
        what: String,
    },
    /// More points than are read.
    #[error("line {line}: more than {MOST_POINTS} points")]
    TooMany {
        /// Where.
        line: usize,
    },
}

/// Most points of a curve.
pub const MOST_POINTS: usize = 1_000_000;

/// Whether a file begins as JCAMP-DX does.
///
/// # Errors
/// When it cannot be read.
pub fn is_jcamp_file(path: &std::path::Path) -> std::io::Result<bool> {
    use std::io::Read;
    let mut head = Vec::new();
    std::fs::File::open(path)?.take(4096).read_to_end(&mut head)?;
    Ok(is_jcamp(&String::from_utf8_lossy(&head)))
}

impl Curve {
    /// The points with their abscissae in nm, and whether these are in vacuum (wavenumbers always are); none where the
    /// abscissa is no wavelength.
    pub fn by_nanometres(&self, is_vacuum: bool) -> Option<(Vec<(f64, f64)>, bool)> {
        let (to_nm, is_vacuum): (fn(f64) -> f64, bool) = match self.x_unit.to_uppercase().as_str() {
            "NANOMETERS" | "NANOMETRES" | "NM" => (|x| x, is_vacuum),
            "MICROMETERS" | "MICROMETRES" => (|x| x * 1e3, is_vacuum),
            "1/CM" => (|x| 1e7 / x, true),
            _ => return None,
        };
        Some((self.points.iter().map(|&(x, y)| (to_nm(x), y)).collect(), is_vacuum))
    }
}

/// Whether a text begins as a JCAMP-DX file does.
pub fn is_jcamp(text: &str) -> bool {
    text.trim_start_matches('\u{FEFF}')
        .lines()
        .map(str::trim)
        .find(|line| !line.is_empty() && !line.starts_with("$$"))
        .and_then(record)
        .is_some_and(|(label, _)| label == "TITLE")
}

/// A labelled data record's label, folded, and what stands behind it.
fn record(line: &str) -> Option<(String, &str)> {
    let (label, value) = line.strip_prefix("##")?.split_once('=')?;
    let label = label
        .chars()
        .filter(|c| !matches!(c, ' ' | '-' | '/' | '_'))
        .flat_map(char::to_uppercase)
        .collect();
    Some((label, value.trim()))
}

/// The text before a comment.
fn without_comment(line: &str) -> &str {
    line.split_once("$$").map_or(line, |(before, _)| before).trim()
}

/// The records that matter.
#[derive(Default)]
struct Header {
    title: Option<String>,
    data_type: String,
    x_unit: String,
    y_unit: String,
    x_factor: Option<f64>,
    y_factor: Option<f64>,
    first_x: Option<f64>,
    last_x: Option<f64>,
    first_y: Option<f64>,
    n_points: Option<f64>,
}

/// Which table a line belongs to.
#[derive(Clone, Copy, PartialEq)]
enum Table {
    Ordinates,
    Pairs,
}

/// Reads the curve of a file.
///
/// # Errors
/// When the file is not JCAMP-DX, holds several blocks or no table, or a number or a check of it is wrong.
pub fn parse(text: &str) -> Result<Curve, JcampError> {
    if !is_jcamp(text) {
        return Err(JcampError::NotJcamp);
    }
    let mut header = Header::default();
    let mut table: Option<(Table, Vec<(usize, &str)>)> = None;
    let mut inside = false;
    for (at, line) in text.trim_start_matches('\u{FEFF}').lines().enumerate() {
        let number = at + 1;
        let line = without_comment(line);
        let Some((label, value)) = record(line) else {
            if inside
                && !line.is_empty()
                && let Some((_, lines)) = &mut table
            {
                lines.push((number, line));
            }
            continue;
        };
        inside = false;
        match label.as_str() {
            "END" => break,
            "TITLE" if header.title.is_some() => {
                return Err(JcampError::Several {
                    line: number,
                    what: "a second ##TITLE=",
                });
            }
            "NTUPLES" | "BLOCKS" if value.parse::<f64>().map_or(true, |n| n > 1.0) => {
                return Err(JcampError::Several {
                    line: number,
                    what: if label == "BLOCKS" { "##BLOCKS=" } else { "##NTUPLES=" },
                });
            }
            "XYDATA" | "XYPOINTS" | "PEAKTABLE" => {
                if table.is_some() {
                    return Err(JcampError::Several {
                        line: number,
                        what: "a second table of data",
                    });
                }
                let form: String = value.split_whitespace().collect();
                let kind = match form.to_uppercase().as_str() {
                    "(X++(Y..Y))" => Table::Ordinates,
                    "(XY..XY)" => Table::Pairs,
                    _ => {
                        return Err(JcampError::Form {
                            line: number,
                            label,
                            form,
                        });
                    }
                };
                table = Some((kind, Vec::new()));
                inside = true;
            }
            _ => header.take(&label, value),
        }
    }
    let (kind, lines) = table.ok_or(JcampError::NoData)?;
    let (points, n_missing) = match kind {
        Table::Ordinates => header.ordinates(&lines)?,
        Table::Pairs => header.pairs(&lines)?,
    };
    if let Some((x, y)) = (points.iter()).find(|(x, y)| !(x.abs() <= MOST && y.abs() <= MOST)) {
        return Err(JcampError::Check {
            line: lines.first().map_or(0, |(line, _)| *line),
            what: format!("the point {x:e}, {y:e} is outside what can be"),
        });
    }
    Ok(Curve {
        title: header.title.unwrap_or_default(),
        data_type: header.data_type,
        x_unit: header.x_unit,
        y_unit: header.y_unit,
        points,
        n_missing,
    })
}

type Points = (Vec<(f64, f64)>, usize);

impl Header {
    fn take(&mut self, label: &str, value: &str) {
        let number = || value.parse::<f64>().ok().filter(|x| x.is_finite());
        match label {
            "TITLE" => self.title = Some(value.to_owned()),
            "DATATYPE" => value.clone_into(&mut self.data_type),
            "XUNITS" => value.clone_into(&mut self.x_unit),
            "YUNITS" => value.clone_into(&mut self.y_unit),
            "XFACTOR" => self.x_factor = number(),
            "YFACTOR" => self.y_factor = number(),
            "FIRSTX" => self.first_x = number(),
            "LASTX" => self.last_x = number(),
            "FIRSTY" => self.first_y = number(),
            "NPOINTS" => self.n_points = number(),
            _ => {}
        }
    }

    /// Reads `(X++(Y..Y))`.
    fn ordinates(&self, lines: &[(usize, &str)]) -> Result<Points, JcampError> {
        let needed = |value: Option<f64>, label| value.ok_or(JcampError::Record { label });
        let first = needed(self.first_x, "FIRSTX")?;
        let last = needed(self.last_x, "LASTX")?;
        let n_points = needed(self.n_points, "NPOINTS")?;
        if !(1.0..=MOST_POINTS as f64).contains(&n_points) || n_points.fract() != 0.0 {
            return Err(JcampError::Record { label: "NPOINTS" });
        }
        let n_points = n_points as usize;
        let step = if n_points > 1 {
            (last - first) / (n_points - 1) as f64
        } else {
            0.0
        };
        let (x_factor, y_factor) = (self.x_factor.unwrap_or(1.0), self.y_factor.unwrap_or(1.0));
        let mut decoder = Decoder::default();
        for &(line, text) in lines {
            let begun = decoder.ordinates.len();
            let x = decoder.line(line, text)? * x_factor;
            let expected = first + begun as f64 * step;
            // The check value after differences belongs to the point before.
            let tolerance = 1.01 * step.abs() + 1e-6 * expected.abs();
            if (x - expected).abs() > tolerance {
                return Err(JcampError::Check {
                    line,
                    what: format!("x is {x}, but {begun} ordinates stand before it, so it must be near {expected}"),
                });
            }
        }
        let line = lines.last().map_or(0, |(line, _)| *line);
        if decoder.ordinates.len() != n_points {
            return Err(JcampError::Check {
                line,
                what: format!(
                    "{} ordinates are there, and ##NPOINTS= says {n_points}",
                    decoder.ordinates.len()
                ),
            });
        }
        if let (Some(stated), Some(Some(found))) = (self.first_y, decoder.ordinates.first()) {
            let found = found * y_factor;
            if (stated - found).abs() > 0.01 * stated.abs().max(found.abs()) + y_factor.abs() {
                return Err(JcampError::Check {
                    line: lines.first().map_or(0, |(line, _)| *line),
                    what: format!("the first ordinate is {found}, and ##FIRSTY= says {stated}"),
                });
            }
        }
        let mut points = Vec::with_capacity(n_points);
        let mut n_missing = 0;
        for (at, y) in decoder.ordinates.into_iter().enumerate() {
            match y.map(|y| y * y_factor).filter(|y| y.is_finite()) {
                Some(y) => points.push((first + at as f64 * step, y)),
                None => n_missing += 1,
            }
        }
        Ok((points, n_missing))
    }

    /// Reads `(XY..XY)`: pairs with a comma or blanks inside and a semicolon or blanks between.
    fn pairs(&self, lines: &[(usize, &str)]) -> Result<Points, JcampError> {
        let (x_factor, y_factor) = (self.x_factor.unwrap_or(1.0), self.y_factor.unwrap_or(1.0));
        let mut points = Vec::new();
        let mut n_missing = 0;
        for &(line, text) in lines {
            let wrong = |text: &str| JcampError::Number {
                line,
                text: shortened(text),
            };
            let words: Vec<&str> = text
                .split(|c: char| c.is_whitespace() || matches!(c, ',' | ';'))
                .filter(|word| !word.is_empty())
                .collect();
            if !words.len().is_multiple_of(2) {
                return Err(JcampError::Check {
                    line,
                    what: "an x stands without its y".to_owned(),
                });
            }
            for pair in words.chunks_exact(2) {
                let number = |text: &str| {
                    text.parse::<f64>()
                        .ok()
                        .filter(|x| x.is_finite())
                        .ok_or_else(|| wrong(text))
                };
                let x = number(pair[0])?;
                if pair[1] == "?" {
                    n_missing += 1;
                    continue;
                }
                if points.len() >= MOST_POINTS {
                    return Err(JcampError::TooMany { line });
                }
                points.push((x * x_factor, number(pair[1])? * y_factor));
            }
        }
        let found = points.len() + n_missing;
        match self.n_points {
            Some(n) if n != found as f64 => Err(JcampError::Check {
                line: lines.last().map_or(0, |(line, _)| *line),
                what: format!("{found} points are there, and ##NPOINTS= says {n}"),
            }),
            _ => Ok((points, n_missing)),
        }
    }
}

fn shortened(text: &str) -> String {
    text.chars().take(20).collect()
}

/// Decodes lines of ordinates.
#[derive(Default)]
struct Decoder {
    /// The ordinates so far; none for one marked as missing.
    ordinates: Vec<Option<f64>>,
    /// Whether the last ordinate was made by a difference, so that the next line repeats it.
    after_difference: bool,
}

/// What a token of a line is.
#[derive(Clone, Copy, PartialEq)]
enum Token {
    Value(f64),
    Difference(f64),
    Times(f64),
    Missing,
}

impl Decoder {
    /// Decodes one line and gives its abscissa.
    fn line(&mut self, line: usize, text: &str) -> Result<f64, JcampError> {
        let mut rest = text;
        let Some(Token::Value(x)) = token(&mut rest, line)? else {
            return Err(JcampError::Number {
                line,
                text: shortened(text),
            });
        };
        let mut previous: Option<Token> = None;
        let mut is_check = self.after_difference;
        while let Some(found) = token(&mut rest, line)? {
            if is_check {
                is_check = false;
                self.after_difference = false;
                self.check(found, line)?;
                previous = Some(found);
                continue;
            }
            match (found, previous) {
                (Token::Times(times), Some(before)) => {
                    if !(1.0..=MOST_POINTS as f64).contains(&times) {
                        return Err(JcampError::TooMany { line });
                    }
                    for _ in 1..times as usize {
                        self.push(before, line)?;
                    }
                }
                (Token::Times(_), None) => {
                    return Err(JcampError::Number {
                        line,
                        text: shortened(text),
                    });
                }
                _ => {
                    self.push(found, line)?;
                    previous = Some(found);
                }
            }
        }
        Ok(x)
    }

    fn push(&mut self, token: Token, line: usize) -> Result<(), JcampError> {
        if self.ordinates.len() >= MOST_POINTS {
            return Err(JcampError::TooMany { line });
        }
        let ordinate = match token {
            Token::Value(y) => Some(y),
            Token::Difference(step) => match self.ordinates.last() {
                Some(Some(before)) => Some(before + step),
                _ => {
                    return Err(JcampError::Check {
                        line,
                        what: "a difference stands without an ordinate before it".to_owned(),
                    });
                }
            },
            Token::Missing | Token::Times(_) => None,
        };
        self.after_difference = matches!(token, Token::Difference(_));
        self.ordinates.push(ordinate);
        Ok(())
    }

    /// The first ordinate of a line after differences repeats the last one.
    fn check(&self, found: Token, line: usize) -> Result<(), JcampError> {
        let before = self.ordinates.last().copied().flatten();
        match (found, before) {
            (Token::Value(y), Some(before)) if (y - before).abs() <= 0.5 + 1e-9 * before.abs() => Ok(()),
            (Token::Value(y), Some(before)) => Err(JcampError::Check {
                line,
                what: format!("the line begins with the ordinate {y}, but the differences before it come to {before}"),
            }),
            _ => Err(JcampError::Check {
                line,
                what: "the line does not repeat the last ordinate of the one before".to_owned(),
            }),
        }
    }
}

/// Takes one token off the text: a number, or a pseudo-digit (squeezed, difference or duplicate) with the digits behind it.
fn token(rest: &mut &str, line: usize) -> Result<Option<Token>, JcampError> {
    *rest = rest.trim_start_matches(|c: char| c.is_whitespace() || matches!(c, ',' | ';'));
    let Some(first) = rest.chars().next() else {
        return Ok(None);
    };
    let wrong = |text: &str| JcampError::Number {
        line,
        text: shortened(text),
    };
    if first == '?' {
        *rest = &rest[1..];
        return Ok(Some(Token::Missing));
    }
    let pseudo = match first {
        '@' => Some(('v', 0, false)),
        'A'..='I' => Some(('v', first as u32 - 'A' as u32 + 1, false)),
        'a'..='i' => Some(('v', first as u32 - 'a' as u32 + 1, true)),
        '%' => Some(('d', 0, false)),
        'J'..='R' => Some(('d', first as u32 - 'J' as u32 + 1, false)),
        'j'..='r' => Some(('d', first as u32 - 'j' as u32 + 1, true)),
        'S'..='Z' => Some(('n', first as u32 - 'S' as u32 + 1, false)),
        's' => Some(('n', 9, false)),
        _ => None,
    };
    let is_digit = |c: char| c.is_ascii_digit() || c == '.';
    let start = usize::from(pseudo.is_some() || matches!(first, '+' | '-'));
    let mut end = start + rest[start..].find(|c| !is_digit(c)).unwrap_or(rest.len() - start);
    if pseudo.is_none() && end == start {
        return Err(wrong(rest));
    }
    // An exponent has a sign; without one, E is the squeezed digit 5 of the next ordinate.
    let tail = &rest.as_bytes()[end..];
    if matches!(tail, [b'E' | b'e', b'+' | b'-', digit, ..] if digit.is_ascii_digit()) {
        let digits = tail[2..].iter().take_while(|byte| byte.is_ascii_digit()).count();
        end += 2 + digits;
    }
    let (text, after) = rest.split_at(end);
    let number = match pseudo {
        Some((_, digit, is_negative)) => format!("{}{digit}{}", if is_negative { "-" } else { "" }, &text[1..]),
        None => text.to_owned(),
    };
    let value: f64 = number.parse().map_err(|_| wrong(text))?;
    if !value.is_finite() {
        return Err(wrong(text));
    }
    *rest = after;
    Ok(Some(match pseudo {
        Some(('d', ..)) => Token::Difference(value),
        Some(('n', ..)) => Token::Times(value),
        _ => Token::Value(value),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn file(table: &str, n: usize, first: f64, last: f64) -> String {
        format!(
            "##TITLE=made up\n##JCAMP-DX=4.24\n##DATA TYPE=OPTICAL ROTATORY DISPERSION\n##XUNITS=NANOMETERS\n\
             ##YUNITS=DEGREES\n##FIRSTX={first}\n##LASTX={last}\n##XFACTOR=1\n##YFACTOR=0.5\n##NPOINTS={n}\n{table}\n##END=\n"
        )
    }

    fn ordinates(table: &str, n: usize) -> Result<Vec<f64>, JcampError> {
        let curve = parse(&file(
            &format!("##XYDATA=(X++(Y..Y))\n{table}"),
            n,
            400.0,
            399.0 + n as f64,
        ))?;
        Ok(curve.points.iter().map(|point| point.1 / 0.5).collect())
    }

    /// The forms of one line of ordinates as the standard shows them (McDonald and Wilks 1988, section 5.8; the digits of
    /// its example are from memory): 1 2 3 3 2 1 0 −1 −2 −3 in the fixed, packed, squeezed, difference and duplicate forms.
    #[test]
    fn every_form_of_the_standard_gives_the_same_ordinates() {
        let expected = [1.0, 2.0, 3.0, 3.0, 2.0, 1.0, 0.0, -1.0, -2.0, -3.0];
        for table in [
            "400 1 2 3 3 2 1 0 -1 -2 -3",
            "400+1+2+3+3+2+1+0-1-2-3",
            "400ABCCBA@abc",
            "400AJJ%jjjjjj",
            "400AJT%jX",
        ] {
            assert_eq!(ordinates(table, 10).unwrap(), expected, "{table}");
        }
    }

    #[test]
    fn differences_are_checked_on_the_next_line() {
        assert_eq!(ordinates("400AJJ\n402CJJ", 5).unwrap(), [1.0, 2.0, 3.0, 4.0, 5.0]);
        let wrong = ordinates("400AJJ\n402DJJ", 5).unwrap_err();
        assert!(matches!(wrong, JcampError::Check { line: 13, .. }), "{wrong}");
        let shifted = ordinates("400 1 2 3\n409 4 5", 5).unwrap_err();
        assert!(shifted.to_string().contains("must be near 403"), "{shifted}");
        let few = ordinates("400 1 2 3", 5).unwrap_err();
        assert!(few.to_string().contains("NPOINTS"), "{few}");
    }

    #[test]
    fn pairs_exponents_comments_and_missing_ordinates_are_read() {
        let text = file(
            "##XYPOINTS= (XY..XY) $$ pairs\n589.3, 66.5; 546.1, 78.2 $$ two\n4.358E+02,? 365 193",
            4,
            589.3,
            365.0,
        );
        let curve = parse(&text).unwrap();
        assert_eq!(curve.points, [(589.3, 33.25), (546.1, 39.1), (365.0, 96.5)]);
        assert_eq!((curve.n_missing, curve.x_unit.as_str()), (1, "NANOMETERS"));
        assert_eq!(ordinates("400 1.5E+01 ? 3", 3).unwrap(), [15.0, 3.0]);
    }

    #[test]
    fn several_blocks_and_other_forms_are_refused() {
        let two = format!(
            "{}{}",
            file("", 1, 1.0, 1.0).replace("##END=\n", ""),
            file("", 1, 1.0, 1.0)
        );
        assert!(matches!(parse(&two), Err(JcampError::Several { .. })));
        assert!(matches!(
            parse("##TITLE=x\n##NTUPLES=y\n"),
            Err(JcampError::Several { .. })
        ));
        assert!(matches!(
            parse(&file("##XYDATA=(X++(R..R))\n1 2", 1, 1.0, 1.0)),
            Err(JcampError::Form { .. })
        ));
        assert_eq!(parse("time,angle\n1,2"), Err(JcampError::NotJcamp));
        assert_eq!(parse("##TITLE=x\n##END="), Err(JcampError::NoData));
    }

    /// A duplicate count made to fill the memory ends the reading.
    #[test]
    fn a_huge_count_of_duplicates_is_refused() {
        assert!(matches!(ordinates("400AZ99999999", 5), Err(JcampError::TooMany { .. })));
        assert!(matches!(
            ordinates("400AJZ999999Z999999", 5),
            Err(JcampError::TooMany { .. })
        ));
    }

    /// The difference and duplicate form of integers, as the standard writes it, a few ordinates a line.
    fn packed(values: &[i32], per_line: usize) -> String {
        let pseudo = |value: i32, zero: char, plus: &str, minus: &str| {
            let digits = value.unsigned_abs().to_string();
            let first = digits.as_bytes()[0] - b'0';
            let lead = match (value, first) {
                (0, _) => zero,
                (v, d) if v > 0 => plus.as_bytes()[usize::from(d) - 1] as char,
                (_, d) => minus.as_bytes()[usize::from(d) - 1] as char,
            };
            format!("{lead}{}", &digits[1..])
        };
        let mut text = String::new();
        let mut at = 0;
        while at < values.len() {
            // Every line after the first begins by repeating the last ordinate.
            let begin = if at == 0 { 0 } else { at - 1 };
            let end = (begin + per_line.max(2)).min(values.len());
            text.push_str(&(400 + begin).to_string());
            text.push_str(&pseudo(values[begin], '@', "ABCDEFGHI", "abcdefghi"));
            for pair in values[begin..end].windows(2) {
                text.push_str(&pseudo(pair[1] - pair[0], '%', "JKLMNOPQR", "jklmnopqr"));
            }
            text.push('\n');
            at = end;
            if values.len() == 1 {
                break;
            }
        }
        text
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "(##[A-Z]{1,9}=.{0,20}\n|.{0,30}\n){0,12}") {
            let _ = parse(&format!("##TITLE=x\n{text}"));
            let _ = parse(&text);
        }

        #[test]
        fn no_table_panics(table in "[0-9A-Za-z@%+\\-., ;?\n]{0,80}", n in 0usize..20) {
            let _ = ordinates(&table, n);
            let _ = parse(&file(&format!("##XYPOINTS=(XY..XY)\n{table}"), n, 1.0, 2.0));
        }

        #[test]
        fn packed_ordinates_come_back(values in proptest::collection::vec(-90_000..90_000i32, 1..60), per_line in 2usize..12) {
            let table = packed(&values, per_line);
            let expected: Vec<f64> = values.iter().map(|&v| f64::from(v)).collect();
            prop_assert_eq!(ordinates(&table, values.len()).unwrap(), expected);
        }
    }
}
