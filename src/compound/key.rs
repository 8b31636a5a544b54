//! What makes two entries entries of one compound.

use std::fmt;
use std::str::FromStr;

use super::inchi_text::InchiKey;

/// A label of our own for what standard InChI cannot tell apart: an axis of chirality (`Ra`), a polymer, a mixture.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Descriptor(String);

/// The key of a compound: its InChIKey, a descriptor of our own, or both.
///
/// The text form is `KEY`, `KEY#descriptor` or `#descriptor`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CompoundKey {
    /// At least one of the two is there.
    inchikey: Option<InchiKey>,
    descriptor: Option<Descriptor>,
}

/// Why a text is no compound key or descriptor.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum KeyError {
    /// There is neither an InChIKey nor a descriptor.
    #[error("a compound key needs an InChIKey, a descriptor or both")]
    Empty,
    /// The part before `#` is no InChIKey.
    #[error("`{text}` is not a standard InChIKey")]
    InchiKey {
        /// The part.
        text: String,
    },
    /// A descriptor is empty, longer than 80 characters, or has a `#` or a control character.
    #[error("`{text}` is not a descriptor: it must have 1 to 80 characters and no `#`")]
    Descriptor {
        /// The text.
        text: String,
    },
}

impl Descriptor {
    /// The label, with single spaces.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl CompoundKey {
    /// A key of the parts that are known.
    ///
    /// # Errors
    /// [`KeyError::Empty`] when neither is.
    pub fn new(inchikey: Option<InchiKey>, descriptor: Option<Descriptor>) -> Result<CompoundKey, KeyError> {
        if inchikey.is_none() && descriptor.is_none() {
            return Err(KeyError::Empty);
        }
        Ok(CompoundKey { inchikey, descriptor })
    }

    /// The InChIKey.
    pub fn inchikey(&self) -> Option<&InchiKey> {
        self.inchikey.as_ref()
    }

    /// The descriptor.
    pub fn descriptor(&self) -> Option<&Descriptor> {
        self.descriptor.as_ref()
    }
}

impl FromStr for Descriptor {
    type Err = KeyError;

    fn from_str(text: &str) -> Result<Self, KeyError> {
        let label = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let length = label.chars().count();
        if length == 0 || length > 80 || label.contains(|c: char| c == '#' || c.is_control()) {
            return Err(KeyError::Descriptor {
                text: text.chars().take(80).collect(),
            });
        }
        Ok(Descriptor(label))
    }
}

impl FromStr for CompoundKey {
    type Err = KeyError;

    fn from_str(text: &str) -> Result<Self, KeyError> {
        let (key, descriptor) = match text.split_once('#') {
            Some((key, descriptor)) => (key, Some(descriptor.parse()?)),
            None => (text, None),
        };
        let key = key.trim();
        let inchikey = match key {
            "" => None,
            key => Some(key.parse().map_err(|_| KeyError::InchiKey {
                text: key.chars().take(80).collect(),
            })?),
        };
        CompoundKey::new(inchikey, descriptor)
    }
}

impl fmt::Display for Descriptor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Display for CompoundKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(key) = &self.inchikey {
            key.fmt(f)?;
        }
        match &self.descriptor {
            Some(descriptor) => write!(f, "#{descriptor}"),
            None => Ok(()),
        }
    }
}
