//! Bytes of a text file to UTF-8, whatever encoding they are in, as a stream.
//!
//! A byte order mark decides; then UTF-8 when every byte fits it; else the encoding is guessed over the whole file, and
//! the caller says so to the user. Bytes that fit no character become U+FFFD, which callers refuse.

use super::rows::ReadError;
use chardetng::{EncodingDetector, Iso2022JpDetection, Utf8Detection};
use encoding_rs::{Decoder, Encoding, UTF_8};
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// An encoding that was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FoundEncoding {
    /// The encoding.
    pub encoding: &'static Encoding,
    /// Whether it was guessed.
    pub guessed: bool,
}

/// Bytes read at a time.
const BLOCK: usize = 1 << 16;

/// Finds the encoding of a file. Reads all of it.
///
/// # Errors
/// When the file cannot be read, the label is not known, or it looks like UTF-16 without a mark.
pub fn find_encoding(path: &Path, label: Option<&str>) -> Result<FoundEncoding, ReadError> {
    if let Some(label) = label {
        let encoding = Encoding::for_label(label.trim().as_bytes()).ok_or_else(|| ReadError::Encoding {
            path: path.to_owned(),
            detail: format!("\"{label}\" is no encoding known here"),
        })?;
        return Ok(FoundEncoding {
            encoding,
            guessed: false,
        });
    }
    let mut file = File::open(path).map_err(|error| ReadError::io(path, error))?;
    let mut block = vec![0; BLOCK];
    let mut utf8 = Utf8Check::default();
    let (mut n_bytes, mut n_zeros) = (0, 0);
    loop {
        let n = read_full(&mut file, &mut block).map_err(|error| ReadError::io(path, error))?;
        let bytes = &block[..n];
        if n_bytes == 0
            && let Some((encoding, _)) = Encoding::for_bom(bytes)
        {
            return Ok(FoundEncoding {
                encoding,
                guessed: false,
            });
        }
        n_bytes += n;
        n_zeros += bytes.iter().map(|&byte| usize::from(byte == 0)).sum::<usize>();
        utf8.feed(bytes, n < BLOCK);
        if n < BLOCK {
            break;
        }
    }
    if n_zeros * 4 > n_bytes {
        return Err(ReadError::Encoding {
            path: path.to_owned(),
            detail: "many bytes are zero, as in UTF-16 without a byte order mark".to_owned(),
        });
    }
    if utf8.fits() {
        return Ok(FoundEncoding {
            encoding: UTF_8,
            guessed: false,
        });
    }
    guess(path)
}

/// Guesses the encoding of a file from all of its bytes, which takes much longer than to see that it is UTF-8.
fn guess(path: &Path) -> Result<FoundEncoding, ReadError> {
    let mut file = File::open(path).map_err(|error| ReadError::io(path, error))?;
    let mut block = vec![0; BLOCK];
    let mut detector = EncodingDetector::new(Iso2022JpDetection::Deny);
    loop {
        let n = read_full(&mut file, &mut block).map_err(|error| ReadError::io(path, error))?;
        detector.feed(&block[..n], n < BLOCK);
        if n < BLOCK {
            return Ok(FoundEncoding {
                encoding: detector.guess(None, Utf8Detection::Deny),
                guessed: true,
            });
        }
    }
}

/// Whether a stream of blocks is UTF-8, perhaps with some damage.
#[derive(Default)]
struct Utf8Check {
    /// Characters beyond ASCII.
    n_wide: usize,
    /// Places that fit no character.
    n_broken: usize,
    /// The bytes of a character cut by the end of a block.
    rest: Vec<u8>,
}

impl Utf8Check {
    fn feed(&mut self, bytes: &[u8], is_last: bool) {
        let joined = [&self.rest, bytes].concat();
        self.rest.clear();
        let mut at = 0;
        for chunk in joined.utf8_chunks() {
            let valid = chunk.valid().as_bytes();
            self.n_wide += valid.iter().filter(|&&byte| byte >= 0xC0).count();
            at += valid.len() + chunk.invalid().len();
            if chunk.invalid().is_empty() {
                continue;
            }
            let is_cut =
                at == joined.len() && std::str::from_utf8(chunk.invalid()).is_err_and(|e| e.error_len().is_none());
            if is_cut && !is_last {
                self.rest = chunk.invalid().to_vec();
            } else {
                self.n_broken += 1;
            }
        }
    }

    /// Text in another encoding is hardly ever UTF-8 by chance: a file with more good characters than broken places is
    /// damaged UTF-8.
    fn fits(&self) -> bool {
        self.n_broken == 0 || self.n_wide > self.n_broken
    }
}

fn read_full(input: &mut impl Read, block: &mut [u8]) -> io::Result<usize> {
    let mut n = 0;
    while n < block.len() {
        match input.read(&mut block[n..]) {
            Ok(0) => break,
            Ok(more) => n += more,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(n)
}

/// A stream of UTF-8 made from a stream in another encoding. A byte order mark is dropped.
pub struct Decoding<R> {
    input: R,
    decoder: Decoder,
    raw: Vec<u8>,
    /// Decoded text that is not yet handed out, and how much of it is.
    text: String,
    at: usize,
    ended: bool,
}

impl<R: Read> Decoding<R> {
    /// Begins decoding.
    pub fn new(input: R, encoding: &'static Encoding) -> Self {
        Self {
            input,
            decoder: encoding.new_decoder_with_bom_removal(),
            raw: vec![0; BLOCK],
            text: String::new(),
            at: 0,
            ended: false,
        }
    }
}

impl<R: Read> Read for Decoding<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        while self.at == self.text.len() && !self.ended {
            self.text.clear();
            self.at = 0;
            let n = self.input.read(&mut self.raw)?;
            self.ended = n == 0;
            let room = self.decoder.max_utf8_buffer_length(n).unwrap_or(4 * BLOCK);
            self.text.reserve(room);
            let _ = self
                .decoder
                .decode_to_string(&self.raw[..n], &mut self.text, self.ended);
        }
        let waiting = &self.text.as_bytes()[self.at..];
        let n = waiting.len().min(out.len());
        out[..n].copy_from_slice(&waiting[..n]);
        self.at += n;
        Ok(n)
    }
}

/// Reads a text file whole.
///
/// # Errors
/// When it cannot be read or is larger than [`super::rows::MOST_WHOLE`].
pub fn read_whole(path: &Path, label: Option<&str>) -> Result<(String, FoundEncoding), ReadError> {
    use super::rows::MOST_WHOLE;
    let found = find_encoding(path, label)?;
    let file = File::open(path).map_err(|error| ReadError::io(path, error))?;
    let size = file.metadata().map_err(|error| ReadError::io(path, error))?.len();
    if size > MOST_WHOLE {
        return Err(ReadError::TooLarge {
            path: path.to_owned(),
            what: "a text that is read as a whole",
            limit_mib: MOST_WHOLE >> 20,
        });
    }
    let mut text = String::new();
    Decoding::new(file, found.encoding)
        .read_to_string(&mut text)
        .map_err(|error| ReadError::io(path, error))?;
    Ok((text, found))
}
