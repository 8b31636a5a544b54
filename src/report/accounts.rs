//! Accounts and tokens as text and JSON. No secret stands here but a token that was just made.

use super::Page;
use super::table::{Column, Table};
use crate::library::{AccessToken, Account, Role};
use crate::tasks::accounts::{self, Act};
use serde::Serialize;
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

/// An account.
#[derive(Clone, Debug, Serialize)]
pub struct AccountJson {
    /// Number in this library.
    pub id: i64,
    /// Its name, as the history names it.
    pub name: String,
    /// What it is for.
    pub role: Role,
    /// When it was made, RFC 3339 in UTC.
    pub made_at: String,
    /// Sign-ins that failed in a row.
    pub failed: u32,
    /// Until when it takes no sign-in.
    pub locked_until: Option<String>,
    /// Sessions that were begun and not ended.
    pub sessions: u32,
    /// Tokens that are not revoked.
    pub tokens: u32,
}

impl From<&Account> for AccountJson {
    fn from(account: &Account) -> Self {
        Self {
            id: account.id,
            name: account.name.clone(),
            role: account.role,
            made_at: moment(account.made),
            failed: account.failed,
            locked_until: account.locked_until.map(moment),
            sessions: account.n_sessions,
            tokens: account.n_tokens,
        }
    }
}

/// The answer of `biot account list`.
#[derive(Clone, Debug, Serialize)]
pub struct AccountsJson {
    /// The accounts in use.
    pub accounts: Vec<AccountJson>,
}

impl From<&[Account]> for AccountsJson {
    fn from(accounts: &[Account]) -> Self {
        Self {
            accounts: accounts.iter().map(AccountJson::from).collect(),
        }
    }
}

/// A token; with its secret once, when it was just made.
#[derive(Clone, Debug, Serialize)]
pub struct TokenJson {
    /// Number in this library.
    pub id: i64,
    /// The account it speaks for.
    pub account: String,
    /// What it is for.
    pub label: String,
    /// When it was made, RFC 3339 in UTC.
    pub made_at: String,
    /// Until when it lasts.
    pub expires_at: String,
    /// When it was revoked.
    pub revoked_at: Option<String>,
    /// The token itself, shown once.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub token: Option<String>,
}

impl TokenJson {
    /// What is kept of a token, and the token itself where it was just made.
    pub fn new(kept: &AccessToken, token: Option<String>) -> Self {
        Self {
            id: kept.id,
            account: kept.account.clone(),
            label: kept.label.clone(),
            made_at: moment(kept.made),
            expires_at: moment(kept.expires),
            revoked_at: kept.revoked.map(moment),
            token,
        }
    }
}

/// The answer of `biot account token list`.
#[derive(Clone, Debug, Serialize)]
pub struct TokensJson {
    /// The tokens that are not revoked.
    pub tokens: Vec<TokenJson>,
}

impl From<&[AccessToken]> for TokensJson {
    fn from(tokens: &[AccessToken]) -> Self {
        Self {
            tokens: tokens.iter().map(|token| TokenJson::new(token, None)).collect(),
        }
    }
}

/// Writes the accounts as a table; `now` in seconds since 1970.
pub fn list(accounts: &[Account], now: i64, page: &mut Page) {
    if accounts.is_empty() {
        page.paragraph("This library has no accounts; biot account add makes the first.");
        return;
    }
    let mut table = Table::new(&[
        Column::Text("name"),
        Column::Word("role"),
        Column::Word("since"),
        Column::Number("tokens"),
        Column::Text("sign-in"),
    ]);
    for account in accounts {
        table.row([
            account.name.clone(),
            account.role.to_string(),
            day(account.made),
            account.n_tokens.to_string(),
            match account.locked_until {
                Some(until) if now < until => format!("locked until {}", moment(until)),
                _ if account.failed > 0 => format!("{} failed in a row", account.failed),
                _ => String::new(),
            },
        ]);
    }
    page.table(&table);
}

/// Writes the tokens as a table.
pub fn tokens(tokens: &[AccessToken], page: &mut Page) {
    if tokens.is_empty() {
        page.paragraph("There are no tokens; biot account token add makes one.");
        return;
    }
    let mut table = Table::new(&[
        Column::Number("token"),
        Column::Text("account"),
        Column::Text("for"),
        Column::Word("since"),
        Column::Word("until"),
    ]);
    for token in tokens {
        table.row([
            token.id.to_string(),
            token.account.clone(),
            token.label.clone(),
            day(token.made),
            day(token.expires),
        ]);
    }
    page.table(&table);
}

/// What a role may do, in words.
pub fn duties(role: Role) -> String {
    let words: Vec<&str> = [
        (Act::Read, "look up and check"),
        (Act::Contribute, "store drafts, measurements and checks of instruments"),
        (Act::Curate, "mend, confirm and import"),
        (Act::KeepInstruments, "keep instruments"),
        (Act::Administer, "see to accounts"),
    ]
    .into_iter()
    .filter(|(act, _)| accounts::may(role, *act))
    .map(|(_, words)| words)
    .collect();
    words.join("; ")
}

/// A moment, RFC 3339 in UTC.
pub fn moment(seconds: i64) -> String {
    OffsetDateTime::from_unix_timestamp(seconds)
        .ok()
        .and_then(|at| at.format(&Rfc3339).ok())
        .unwrap_or_default()
}

fn day(seconds: i64) -> String {
    moment(seconds).get(..10).unwrap_or_default().to_owned()
}
