//! What a spreadsheet may unpack to, gone over before any reader of spreadsheets sees it.
//!
//! An XLSX file is a zip archive, and a small one may unpack to more than a machine holds. [`admit`] unpacks every part to
//! nowhere, whatever the archive's directory claims, and counts as it goes: bytes, their ratio to the packed ones, rows, and
//! how deep elements lie in each other. Command line and pages use the same function with different [`SpreadsheetBounds`].

use super::rows::ReadError;
use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

/// The bounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SpreadsheetBounds {
    /// Most bytes of all parts together, unpacked.
    pub unpacked: u64,
    /// Most times that a part may be larger unpacked than packed; parts of less than 1 MiB are let be.
    pub ratio: u64,
    /// Most parts.
    pub parts: usize,
    /// Most rows of all sheets together.
    pub rows: u64,
    /// Most elements that lie in each other.
    pub depth: usize,
}

impl SpreadsheetBounds {
    /// For a file that its owner names on the command line. 1,048,576 rows is what one sheet can hold.
    pub const OWN_FILE: Self = Self {
        unpacked: 512 << 20,
        ratio: 500,
        parts: 10_000,
        rows: 4 << 20,
        depth: 256,
    };
    /// For a file that comes over the network.
    pub const UPLOAD: Self = Self {
        unpacked: 64 << 20,
        ratio: 200,
        parts: 1_000,
        rows: 200_000,
        depth: 64,
    };
}

impl Default for SpreadsheetBounds {
    fn default() -> Self {
        Self::OWN_FILE
    }
}

/// Parts that unpack to less than this are not judged by their ratio.
const SMALL_PART: u64 = 1 << 20;

/// Bytes unpacked at a time.
const BLOCK: usize = 1 << 16;

/// Unpacks every part to nowhere and refuses the file when it breaks a bound; the size of the file as it is.
///
/// # Errors
/// `TooLarge` or `Bound` when it breaks one, `Spreadsheet` when it is no sound archive, `Io` when it cannot be read.
pub fn admit(path: &Path, bounds: &SpreadsheetBounds) -> Result<u64, ReadError> {
    let file = File::open(path).map_err(|error| ReadError::io(path, error))?;
    let size = file.metadata().map_err(|error| ReadError::io(path, error))?.len();
    let damaged = |detail: String| ReadError::Spreadsheet {
        path: path.to_owned(),
        detail,
    };
    let breaks = |what: &'static str, limit: u64| ReadError::Bound {
        path: path.to_owned(),
        what,
        limit,
    };
    let too_large = || ReadError::TooLarge {
        path: path.to_owned(),
        what: "the unpacked spreadsheet",
        limit_mib: bounds.unpacked >> 20,
    };
    let mut archive = zip::ZipArchive::new(BufReader::new(file)).map_err(|error| damaged(error.to_string()))?;
    if archive.len() > bounds.parts {
        return Err(breaks("parts", bounds.parts as u64));
    }
    let mut block = vec![0; BLOCK];
    let mut unpacked = 0;
    let mut rows = 0;
    for at in 0..archive.len() {
        let mut part = archive.by_index(at).map_err(|error| damaged(error.to_string()))?;
        if part.size() > bounds.unpacked - unpacked {
            return Err(too_large());
        }
        let packed = part.compressed_size().clamp(1, size.max(1));
        let mut n_part = 0;
        let mut markup = Markup::default();
        loop {
            let n = part.read(&mut block).map_err(|error| damaged(error.to_string()))?;
            if n == 0 {
                break;
            }
            n_part += n as u64;
            if n_part > bounds.unpacked - unpacked {
                return Err(too_large());
            }
            if n_part > SMALL_PART && n_part / packed > bounds.ratio {
                return Err(breaks("times the packed size in one part", bounds.ratio));
            }
            markup.feed(&block[..n]).map_err(|detail| damaged(detail.to_owned()))?;
            if markup.deepest > bounds.depth {
                return Err(breaks("elements in each other", bounds.depth as u64));
            }
            if rows + markup.rows > bounds.rows {
                return Err(breaks("rows", bounds.rows));
            }
        }
        unpacked += n_part;
        rows += markup.rows;
    }
    Ok(size)
}

/// Where in a text of markup the next byte stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Place {
    /// Nothing but spaces and a byte order mark came so far.
    #[default]
    Start,
    /// Not markup at all: a picture, say.
    Foreign,
    Text,
    /// After `<`, while the first bytes tell what it is.
    Opening,
    /// In a start tag; the quote that is open, and whether the byte before was a slash.
    Tag {
        quote: u8,
        slash: bool,
    },
    /// In an end tag.
    End,
    /// In `<!-- … -->`, `<![CDATA[ … ]]>` or `<? … ?>`: which bytes end it.
    Until(&'static [u8]),
}

/// Counts rows and depth in markup, in one pass and constant memory. It need not read markup that is wrong: the reader
/// behind it will refuse that.
#[derive(Debug, Default)]
struct Markup {
    place: Place,
    depth: usize,
    deepest: usize,
    rows: u64,
    /// The first bytes after `<`, or the last bytes of what `Until` waits for.
    word: Vec<u8>,
}

/// Most bytes of a tag that are looked at to know what it is.
const WORD: usize = 64;

impl Markup {
    fn feed(&mut self, bytes: &[u8]) -> Result<(), &'static str> {
        for &byte in bytes {
            self.place = self.next(byte)?;
        }
        Ok(())
    }

    fn next(&mut self, byte: u8) -> Result<Place, &'static str> {
        Ok(match self.place {
            Place::Foreign => Place::Foreign,
            Place::Start => match byte {
                b'<' => self.open(),
                b' ' | b'\t' | b'\r' | b'\n' | 0xEF | 0xBB | 0xBF => Place::Start,
                _ => Place::Foreign,
            },
            // Other encodings would hide from this count what a reader finds; every spreadsheet program writes UTF-8.
            _ if byte == 0 => return Err("a part is not written in UTF-8"),
            Place::Text if byte == b'<' => self.open(),
            Place::Text => Place::Text,
            Place::Opening => self.opening(byte)?,
            Place::Tag { quote: 0, slash } => match byte {
                b'"' | b'\'' => Place::Tag {
                    quote: byte,
                    slash: false,
                },
                b'>' => self.start_tag(slash),
                _ => Place::Tag {
                    quote: 0,
                    slash: byte == b'/',
                },
            },
            Place::Tag { quote, .. } => Place::Tag {
                quote: if byte == quote { 0 } else { quote },
                slash: false,
            },
            Place::End if byte == b'>' => {
                self.depth = self.depth.saturating_sub(1);
                Place::Text
            }
            Place::End => Place::End,
            Place::Until(end) => {
                if self.word.len() == end.len() {
                    self.word.remove(0);
                }
                self.word.push(byte);
                if self.word == end { Place::Text } else { self.place }
            }
        })
    }

    fn open(&mut self) -> Place {
        self.word.clear();
        Place::Opening
    }

    /// A byte soon after `<`: decides between tags, comments and the rest.
    fn opening(&mut self, byte: u8) -> Result<Place, &'static str> {
        let is_space = byte.is_ascii_whitespace();
        match (self.word.as_slice(), byte) {
            ([], b'/') => return Ok(Place::End),
            ([], b'?') => return Ok(self.until(b"?>")),
            ([b'!', b'-'], b'-') => return Ok(self.until(b"-->")),
            ([b'!', b'[', b'C', b'D', b'A', b'T', b'A'], b'[') => return Ok(self.until(b"]]>")),
            // The packaging standard forbids these (ECMA-376 part 2), and they let a text refer to itself.
            ([b'!', b'D'], _) => return Err("a part holds a document type declaration"),
            ([b'!', ..], b'>') => return Ok(Place::Text),
            ([b'!', ..], _) => {}
            (_, b'>') => {
                self.name();
                return Ok(self.start_tag(false));
            }
            _ if is_space || byte == b'/' => {
                self.name();
                return Ok(Place::Tag {
                    quote: 0,
                    slash: byte == b'/',
                });
            }
            _ => {}
        }
        if self.word.len() == WORD {
            return Ok(Place::Tag { quote: 0, slash: false });
        }
        self.word.push(byte);
        Ok(Place::Opening)
    }

    fn until(&mut self, end: &'static [u8]) -> Place {
        self.word.clear();
        Place::Until(end)
    }

    /// Counts a row by the name of its element, whatever prefix that has.
    fn name(&mut self) {
        let local = self.word.rsplit(|&byte| byte == b':').next().unwrap_or_default();
        self.rows += u64::from(local == b"row");
    }

    fn start_tag(&mut self, is_empty: bool) -> Place {
        self.deepest = self.deepest.max(self.depth + 1);
        self.depth += usize::from(!is_empty);
        Place::Text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counted(text: &str) -> Result<(u64, usize, usize), &'static str> {
        let mut whole = Markup::default();
        whole.feed(text.as_bytes())?;
        // Cut anywhere, the count is the same.
        let mut pieces = Markup::default();
        for byte in text.as_bytes().chunks(1) {
            pieces.feed(byte)?;
        }
        assert_eq!(
            (whole.rows, whole.depth, whole.deepest),
            (pieces.rows, pieces.depth, pieces.deepest)
        );
        Ok((whole.rows, whole.depth, whole.deepest))
    }

    #[test]
    fn rows_and_depth_are_counted_in_any_spelling() {
        for (text, rows, deepest) in [
            ("<a><row/><row r=\"1\"/><row>x</row></a>", 3, 2),
            ("\u{FEFF}<?xml version=\"1.0\"?><x:row></x:row>", 1, 1),
            ("<a><!-- <row> --><![CDATA[<row>]]></a>", 0, 1),
            ("<a b='>' c=\"/>\"><b><c/></b></a>", 0, 3),
            ("<rows><arrow/><row\n/></rows>", 1, 2),
            ("<a><!----></a>", 0, 1),
            ("PNG<row><row>", 0, 0),
            ("", 0, 0),
        ] {
            let (n, open, deep) = counted(text).unwrap();
            assert_eq!((n, open, deep), (rows, 0, deepest), "{text}");
        }
    }

    #[test]
    fn what_could_hide_from_the_count_is_refused() {
        assert!(counted("<!DOCTYPE a [<!ENTITY b \"x\">]><a/>").is_err());
        assert!(counted("<\0a\0>\0").is_err());
    }
}
