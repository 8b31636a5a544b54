//! The options of every command that changes the library: who, and why.

use crate::library::Change;
use clap::Args;

/// Who changes the library, and why. Both stand in its history.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "For the history")]
pub struct ChangeOptions {
    /// Who makes the change; the default is $BIOT_USER, or the system's user
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// Why
    #[arg(long, value_name = "TEXT")]
    pub why: Option<String>,
}

impl ChangeOptions {
    /// The change as the library records it.
    pub fn change(&self) -> Change {
        Change::now(who(self.by.as_deref()), self.why.as_deref().unwrap_or_default())
    }
}

/// The person named, that of the environment, or the system's user.
pub fn who(named: Option<&str>) -> String {
    let user = || {
        ["BIOT_USER", "USER", "LOGNAME", "USERNAME"]
            .iter()
            .find_map(|name| std::env::var(name).ok())
    };
    named
        .map(str::to_owned)
        .or_else(user)
        .unwrap_or_else(|| "unknown".to_owned())
}
