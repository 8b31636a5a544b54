//! Accounts for a shared library: who may do what, how passwords are kept, and how long anything lasts.
//!
//! The table [`MAY`] is the only place that says what a role may do. Passwords are hashed with Argon2id; the hash is slow
//! and takes memory on purpose, so callers bound how many run at a time.

use crate::library::{AccessToken, Account, Change, Credentials, Holder, Library, LibraryError, Role};
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use sha2::{Digest, Sha256};
use unicode_normalization::UnicodeNormalization;

/// A kind of thing that is done through a server.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Act {
    /// Looking up, reading a text, checking: nothing is stored.
    Read,
    /// Storing drafts, measurements, second keyings, and checks of an instrument before one's own measurement.
    Contribute,
    /// Mending, confirming, withdrawing and merging what the library holds; importing; accepting findings.
    Curate,
    /// Registering, changing, lending and withdrawing instruments, cells, presets and standards; striking checks out.
    KeepInstruments,
    /// The accounts of others.
    Administer,
}

/// What each role may do.
pub const MAY: [(Role, &[Act]); 5] = [
    (Role::Reader, &[Act::Read]),
    (Role::Contributor, &[Act::Read, Act::Contribute]),
    (Role::Librarian, &[Act::Read, Act::Contribute, Act::Curate]),
    (
        Role::InstrumentKeeper,
        &[Act::Read, Act::Contribute, Act::KeepInstruments],
    ),
    (
        Role::Administrator,
        &[
            Act::Read,
            Act::Contribute,
            Act::Curate,
            Act::KeepInstruments,
            Act::Administer,
        ],
    ),
];

/// Whether a role may do something.
pub fn may(role: Role, act: Act) -> bool {
    MAY.iter().any(|(of, acts)| *of == role && acts.contains(&act))
}

/// Fewest characters of a password.
pub const LEAST_PASSWORD: usize = 12;
/// Most bytes of a password: a long one costs no more to hash, but must not fill memory.
pub const MOST_PASSWORD: usize = 1024;
/// How long a session lasts without a request, in seconds.
pub const SESSION_IDLE: i64 = 2 * 3600;
/// How long a session lasts in all, in seconds.
pub const SESSION_WHOLE: i64 = 12 * 3600;
/// Failed sign-ins in a row after which an account waits.
pub const FAILURES_LET_PASS: u32 = 5;
/// How long it waits then, in seconds; each further failure doubles it.
pub const FIRST_WAIT: i64 = 30;
/// The longest wait, in seconds: a stranger who keeps failing must not keep the owner out for good.
pub const LONGEST_WAIT: i64 = 3600;

/// Why something about an account was not done.
#[derive(Debug, thiserror::Error)]
pub enum AccountError {
    /// The store says so.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// The password is too short.
    #[error("the password has {0} characters; take at least {LEAST_PASSWORD}")]
    Short(usize),
    /// The password is too long.
    #[error("the password is longer than {MOST_PASSWORD} bytes; take a shorter one")]
    Long,
    /// The password holds the name.
    #[error("the password is the name of the account; choose another")]
    IsName,
    /// A token needs a label.
    #[error("a token is known by its label; say what it is for")]
    NoLabel,
    /// A password cannot be hashed.
    #[error("the password cannot be hashed: {0}")]
    Hash(String),
}

/// Makes an account.
///
/// # Errors
/// When the name is taken, or the password will not do.
pub fn add(
    library: &mut Library,
    name: &str,
    role: Role,
    password: &str,
    change: &Change,
) -> Result<Account, AccountError> {
    let hash = hash_new(name, password)?;
    Ok(library.add_account(name, role, &hash, change)?)
}

/// Gives an account another password, which ends its sessions and unlocks it.
///
/// # Errors
/// When there is no such account, or the password will not do.
pub fn reset(library: &mut Library, name: &str, password: &str, change: &Change) -> Result<Account, AccountError> {
    library.account_named(name)?;
    let hash = hash_new(name, password)?;
    Ok(library.set_password(name, &hash, change)?)
}

/// Makes a token for a program: the token, shown this once, and what is kept of it.
///
/// # Errors
/// When there is no such account, or no label.
pub fn add_token(
    library: &mut Library,
    name: &str,
    label: &str,
    days: u32,
    change: &Change,
) -> Result<(String, AccessToken), AccountError> {
    let label = label.trim();
    if label.is_empty() {
        return Err(AccountError::NoLabel);
    }
    let token = format!("{TOKEN_START}{}", secret());
    let expires = change.at.unix_timestamp() + i64::from(days) * 24 * 3600;
    let kept = library.add_access_token(name, label, &token, expires, change)?;
    Ok((token, kept))
}

/// What the password of a name that has no account is held against: as slow as a real one, and no password's hash.
const NOBODY: &str =
    "$argon2id$v=19$m=65536,t=3,p=4$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA";

/// How a token starts, so that one that leaked is recognised.
pub const TOKEN_START: &str = "biot_";

/// Whether a password is that of the credentials. Takes as long when there are none, so that names cannot be told apart.
pub fn is_password(credentials: Option<&Credentials>, password: &str) -> bool {
    let kept = credentials.map_or(NOBODY, |credentials| &credentials.password);
    let is_same =
        PasswordHash::new(kept).is_ok_and(|kept| argon2().verify_password(normal(password).as_bytes(), &kept).is_ok());
    is_same && credentials.is_some()
}

/// Whether an account takes no sign-in now.
pub fn is_locked(credentials: &Credentials, now: i64) -> bool {
    credentials.locked_until.is_some_and(|until| now < until)
}

/// How long an account waits after so many failures in a row, in seconds.
pub fn wait_after(failures: u32) -> i64 {
    match failures.checked_sub(FAILURES_LET_PASS) {
        None => 0,
        Some(more) => FIRST_WAIT.saturating_mul(1 << more.min(16)).min(LONGEST_WAIT),
    }
}

/// Begins a session for credentials whose password was right: the secret that the browser keeps; none when they changed
/// meanwhile.
///
/// # Errors
/// What the store says.
pub fn begin_session(
    library: &mut Library,
    credentials: &Credentials,
    now: i64,
) -> Result<Option<String>, LibraryError> {
    let secret = secret();
    let has_begun = library.begin_session(credentials, &secret, now, now - SESSION_IDLE)?;
    Ok(has_begun.then_some(secret))
}

/// Counts a sign-in that failed.
///
/// # Errors
/// What the store says.
pub fn count_failure(library: &mut Library, credentials: &Credentials, now: i64) -> Result<(), LibraryError> {
    library.count_failed_sign_in(credentials.account, now, wait_after)
}

/// Whose session a secret is, while it lasts.
///
/// # Errors
/// What the store says.
pub fn session(library: &Library, secret: &str, now: i64) -> Result<Option<Holder>, LibraryError> {
    let lasts = |holder: &Holder| now - holder.until < SESSION_IDLE && now - holder.began < SESSION_WHOLE;
    Ok(library.session(secret)?.filter(lasts))
}

/// Whose token this is, while it lasts.
///
/// # Errors
/// What the store says.
pub fn token_holder(library: &Library, token: &str, now: i64) -> Result<Option<Holder>, LibraryError> {
    Ok(library.token_holder(token)?.filter(|holder| now < holder.until))
}

/// A secret nobody can guess: 256 bits of the thread's generator, which is a cipher seeded by the system.
pub fn secret() -> String {
    hexadecimal(&rand::random::<[u8; 32]>())
}

/// The token that the forms of a session carry: it follows from the session's secret and does not betray it.
pub fn form_token(secret: &str) -> String {
    hexadecimal(&Sha256::digest(format!("form token of {secret}").as_bytes()))
}

fn hexadecimal(bytes: &[u8]) -> String {
    use std::fmt::Write;
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Hashes a password that somebody chose.
fn hash_new(name: &str, password: &str) -> Result<String, AccountError> {
    let n_chars = password.chars().count();
    if n_chars < LEAST_PASSWORD {
        return Err(AccountError::Short(n_chars));
    }
    if password.len() > MOST_PASSWORD {
        return Err(AccountError::Long);
    }
    if normal(password).to_lowercase() == normal(name.trim()).to_lowercase() {
        return Err(AccountError::IsName);
    }
    hash(password)
}

fn hash(password: &str) -> Result<String, AccountError> {
    let hash: PasswordHash = argon2()
        .hash_password(normal(password).as_bytes())
        .map_err(|error| AccountError::Hash(error.to_string()))?;
    Ok(hash.to_string())
}

/// The same password typed on another keyboard gives the same bytes.
fn normal(password: &str) -> String {
    password.nfkc().collect()
}

/// Argon2id with the second recommended option of RFC 9106 (September 2021), section 4: 3 passes over 64 MiB in 4 lanes,
/// a salt of 128 bits, a tag of 256 bits.
fn argon2() -> Argon2<'static> {
    let params = Params::new(64 << 10, 3, 4, Some(32)).expect("the parameters of the RFC lie within its own bounds");
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_role_stands_in_the_table_once_and_may_read() {
        for role in Role::ALL {
            assert_eq!(MAY.iter().filter(|(of, _)| *of == role).count(), 1, "{role}");
            assert!(may(role, Act::Read), "{role}");
            assert_eq!(may(role, Act::Administer), role == Role::Administrator, "{role}");
        }
    }

    #[test]
    fn waits_double_and_end() {
        let waits: Vec<i64> = (0..14).map(wait_after).collect();
        assert_eq!(waits, [0, 0, 0, 0, 0, 30, 60, 120, 240, 480, 960, 1920, 3600, 3600]);
        assert_eq!(wait_after(u32::MAX), LONGEST_WAIT);
    }

    #[test]
    fn a_password_is_kept_as_the_rfc_recommends() {
        let kept = hash("correct horse battery").unwrap();
        // RFC 9106, section 4, second option; the string as the PHC format writes it.
        assert!(kept.starts_with("$argon2id$v=19$m=65536,t=3,p=4$"), "{kept}");
        let parts: Vec<&str> = kept.split('$').collect();
        // 16 and 32 bytes in base64 without padding.
        assert_eq!((parts[4].len(), parts[5].len()), (22, 43));
        let credentials = |password: String| Credentials {
            account: 1,
            password,
            failed: 0,
            locked_until: None,
        };
        assert!(is_password(Some(&credentials(kept.clone())), "correct horse battery"));
        assert!(!is_password(Some(&credentials(kept)), "correct horse batterz"));
        assert!(!is_password(Some(&credentials(String::new())), ""));
        assert!(!is_password(None, "correct horse battery"));
        // It is hashed in earnest: with the same parameters, and not refused at sight.
        let nobody = PasswordHash::new(NOBODY).unwrap();
        assert_eq!(nobody.params, PasswordHash::new(&hash("x").unwrap()).unwrap().params);
        assert_eq!(
            argon2().verify_password(b"x", &nobody),
            Err(argon2::password_hash::Error::PasswordInvalid)
        );
    }
}
