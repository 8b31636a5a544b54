//! `biot account`: who may use a library that is served to others, and with which role.

use super::change::ChangeOptions;
use super::failure::file_failure;
use super::{Failure, Outcome, Session, args};
use crate::library::{Access, Account, Role};
use crate::report::accounts::{self as words, AccountJson, AccountsJson, TokenJson, TokensJson};
use crate::tasks::accounts::{self, MOST_PASSWORD};
use clap::{Args, Subcommand};
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use time::OffsetDateTime;

/// Arguments of `biot account`.
#[derive(Debug, Args)]
#[command(after_help = "Examples (the names are invented):\n  \
    biot account add \"A. First\" --role administrator       asks for a password, unseen\n  \
    biot account add \"B. Second\" --role contributor --password-file new.txt\n  \
    biot account role \"B. Second\" librarian\n  \
    biot account reset \"B. Second\"                         a new password; open sessions end\n  \
    biot account token add \"B. Second\" --label \"balance computer\" --days 90\n  \
    biot account list\n\n\
    Roles:\n  \
    reader             looks things up and checks measurements\n  \
    contributor        also stores drafts, measurements and second keyings\n  \
    librarian          also mends, confirms, withdraws and imports\n  \
    instrument-keeper  a contributor who keeps instruments, cells and standards\n  \
    administrator      all of that, and accounts\n\n\
    Accounts hold for biot serve. They do not guard the file: whoever can read it, or run biot on it, holds everything.")]
pub struct AccountArguments {
    /// What to do
    #[command(subcommand)]
    pub action: Action,
}

/// What to do with accounts.
#[derive(Debug, Subcommand)]
pub enum Action {
    /// Make an account
    Add {
        /// Name, as the history will show it
        #[arg(value_name = "NAME")]
        name: String,
        /// What it is for
        #[arg(long, value_parser = args::words(Role::WORDS, Role::from_word), value_name = "ROLE")]
        role: Role,
        /// Where the password comes from
        #[command(flatten)]
        password: PasswordOptions,
        /// Who and why
        #[command(flatten)]
        change: ChangeOptions,
    },
    /// List the accounts
    List,
    /// Give an account another role; it holds at once
    Role {
        /// Name
        #[arg(value_name = "NAME")]
        name: String,
        /// The role
        #[arg(value_parser = args::words(Role::WORDS, Role::from_word), value_name = "ROLE")]
        role: Role,
        /// Who and why
        #[command(flatten)]
        change: ChangeOptions,
    },
    /// Give an account a new password; its sessions end
    Reset {
        /// Name
        #[arg(value_name = "NAME")]
        name: String,
        /// Where the password comes from
        #[command(flatten)]
        password: PasswordOptions,
        /// Who and why
        #[command(flatten)]
        change: ChangeOptions,
    },
    /// Take sign-ins again after too many failed
    Unlock {
        /// Name
        #[arg(value_name = "NAME")]
        name: String,
        /// Who and why
        #[command(flatten)]
        change: ChangeOptions,
    },
    /// Take an account out of use; its sessions and tokens end, its work stays in the history
    Remove {
        /// Name
        #[arg(value_name = "NAME")]
        name: String,
        /// Who and why
        #[command(flatten)]
        change: ChangeOptions,
    },
    /// Tokens by which programs ask in the name of an account
    #[command(subcommand)]
    Token(TokenAction),
}

/// What to do with tokens.
#[derive(Debug, Subcommand)]
pub enum TokenAction {
    /// Make a token; it is shown once
    Add {
        /// The account
        #[arg(value_name = "NAME")]
        name: String,
        /// What it is for
        #[arg(long, value_name = "TEXT")]
        label: String,
        /// How long it lasts
        #[arg(long, default_value_t = 365, value_parser = clap::value_parser!(u32).range(1..=3650), value_name = "DAYS")]
        days: u32,
        /// Who and why
        #[command(flatten)]
        change: ChangeOptions,
    },
    /// List the tokens that are not revoked
    List {
        /// Only those of this account
        #[arg(value_name = "NAME")]
        name: Option<String>,
    },
    /// Revoke a token, by its number
    Revoke {
        /// Its number, as the list shows it
        #[arg(value_name = "NUMBER")]
        id: i64,
        /// Who and why
        #[command(flatten)]
        change: ChangeOptions,
    },
}

/// Where a password comes from. Never from the command line itself, which other users of the machine can see.
#[derive(Clone, Debug, Args)]
pub struct PasswordOptions {
    /// File whose first line is the password, or - for standard input; without it the terminal asks
    #[arg(long, value_name = "FILE")]
    pub password_file: Option<PathBuf>,
}

/// Works on the accounts.
pub fn run(arguments: &AccountArguments, session: &mut Session) -> Result<Outcome, Failure> {
    match &arguments.action {
        Action::Add {
            name,
            role,
            password,
            change,
        } => {
            let mut library = session.library(Access::Write)?;
            let password = password.read(session, name)?;
            let account = accounts::add(&mut library, name, *role, &password, &change.change())?;
            told(&account, session, |account| {
                format!(
                    "Made account \"{}\", {}: {}.",
                    account.name,
                    account.role,
                    words::duties(account.role)
                )
            })?;
        }
        Action::List => {
            let listed = session.library(Access::Read)?.accounts()?;
            let now = OffsetDateTime::now_utc().unix_timestamp();
            session.answer(&AccountsJson::from(listed.as_slice()), |page| {
                words::list(&listed, now, page);
            })?;
        }
        Action::Role { name, role, change } => {
            let account = session
                .library(Access::Write)?
                .set_role(name, *role, &change.change())?;
            told(&account, session, |account| {
                format!(
                    "\"{}\" is {} now: {}.",
                    account.name,
                    account.role,
                    words::duties(account.role)
                )
            })?;
        }
        Action::Reset { name, password, change } => {
            let mut library = session.library(Access::Write)?;
            library.account_named(name)?;
            let password = password.read(session, name)?;
            let account = accounts::reset(&mut library, name, &password, &change.change())?;
            told(&account, session, |account| {
                format!("\"{}\" has a new password; its sessions are ended.", account.name)
            })?;
        }
        Action::Unlock { name, change } => {
            let account = session.library(Access::Write)?.unlock_account(name, &change.change())?;
            told(&account, session, |account| {
                format!("\"{}\" can sign in again.", account.name)
            })?;
        }
        Action::Remove { name, change } => {
            let account = session.library(Access::Write)?.remove_account(name, &change.change())?;
            told(&account, session, |account| {
                format!(
                    "\"{}\" is removed; sessions are ended and tokens revoked. The history keeps what it did.",
                    account.name
                )
            })?;
        }
        Action::Token(action) => token(action, session)?,
    }
    Ok(Outcome::Answered)
}

fn token(action: &TokenAction, session: &mut Session) -> Result<(), Failure> {
    match action {
        TokenAction::Add {
            name,
            label,
            days,
            change,
        } => {
            let mut library = session.library(Access::Write)?;
            let (token, kept) = accounts::add_token(&mut library, name, label, *days, &change.change())?;
            session.answer(&TokenJson::new(&kept, Some(token.clone())), |page| {
                page.paragraph(&token);
            })?;
            session.notice(&format!(
                "This is token {} of \"{}\". It is shown this once; it lasts until {}. A program sends it as Authorization: \
                 Bearer TOKEN.",
                kept.id,
                kept.account,
                words::moment(kept.expires)
            ));
            Ok(())
        }
        TokenAction::List { name } => {
            let library = session.library(Access::Read)?;
            if let Some(name) = name {
                library.account_named(name)?;
            }
            let listed = library.access_tokens(name.as_deref())?;
            session.answer(&TokensJson::from(listed.as_slice()), |page| {
                words::tokens(&listed, page);
            })
        }
        TokenAction::Revoke { id, change } => {
            let revoked = session
                .library(Access::Write)?
                .revoke_access_token(*id, &change.change())?;
            session.answer(&TokenJson::new(&revoked, None), |page| {
                page.paragraph(&format!(
                    "Token {} of \"{}\" ({}) is revoked.",
                    revoked.id, revoked.account, revoked.label
                ));
            })
        }
    }
}

fn told(account: &Account, session: &mut Session, sentence: impl Fn(&Account) -> String) -> Result<(), Failure> {
    session.answer(&AccountJson::from(account), |page| page.paragraph(&sentence(account)))
}

impl PasswordOptions {
    /// The password: the first line of the file, or what is typed twice and not shown.
    fn read(&self, session: &Session, name: &str) -> Result<String, Failure> {
        match &self.password_file {
            Some(path) if path == Path::new("-") => first_line(&mut io::stdin().lock(), path),
            Some(path) => {
                let mut file = File::open(path).map_err(|error| file_failure("read", path, &error))?;
                first_line(&mut file, path)
            }
            None if session.can_ask() => {
                let ask = |prompt: String| {
                    rpassword::prompt_password(prompt)
                        .map_err(|error| Failure::usage("password", format!("the terminal gives no password: {error}")))
                };
                let first = ask(format!("Password for \"{name}\": "))?;
                if ask("Once more: ".to_owned())? == first {
                    Ok(first)
                } else {
                    Err(Failure::usage("password", "the two passwords differ").hint("type the same one twice"))
                }
            }
            None => Err(Failure::usage("password", "there is no terminal to type a password on")
                .hint("give a file with --password-file FILE, or - for standard input")),
        }
    }
}

fn first_line(from: &mut impl Read, path: &Path) -> Result<String, Failure> {
    let mut text = String::new();
    from.take(MOST_PASSWORD as u64 + 3)
        .read_to_string(&mut text)
        .map_err(|error| file_failure("read", path, &error))?;
    Ok(text.lines().next().unwrap_or_default().to_owned())
}
