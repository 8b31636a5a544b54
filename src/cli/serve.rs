//! `biot serve`: the pages and the JSON interface, on this machine.

use super::change::who;
use super::{Failure, Outcome, Session};
use crate::library::Access;
use crate::web::{self, Options, ServeError, Transport};
use clap::Args;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::PathBuf;

/// Arguments of `biot serve`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot serve                          pages at http://127.0.0.1:8756\n  \
    biot serve --port 0                 a free port; the first line printed says which\n  \
    biot serve --listen \"[::1]:9000\"\n  \
    biot serve --read-only              nothing can be stored\n  \
    biot serve --listen 192.0.2.7:8443 --certificate lab.pem --key lab.key --name lab.example\n  \
    biot serve --behind-proxy --name lab.example\n\n\
    The first line on standard output is the address. On this machine alone, a second address, on standard error, allows \
    the browser that opens it to store; every other browser may only read. Beyond this machine everybody signs in (biot \
    account --help), and either a certificate or a proxy in front must encrypt. Whoever can read the library file, or run \
    biot on it, holds everything in it. Ctrl-C ends the server.")]
pub struct ServeArguments {
    /// Port on this machine; 0 takes a free one
    #[arg(long, default_value_t = 8756, value_name = "NUMBER")]
    pub port: u16,
    /// Address and port instead, such as 127.0.0.1:0
    #[arg(long, conflicts_with = "port", value_name = "ADDRESS")]
    pub listen: Option<SocketAddr>,
    /// Certificate and those that vouch for it, PEM; pages are then encrypted
    #[arg(long, requires = "key", value_name = "FILE")]
    pub certificate: Option<PathBuf>,
    /// Private key of the certificate, PEM
    #[arg(long, requires = "certificate", value_name = "FILE")]
    pub key: Option<PathBuf>,
    /// A proxy in front encrypts and names who asks in X-Forwarded-For; nobody else must reach this port
    #[arg(long, conflicts_with = "certificate")]
    pub behind_proxy: bool,
    /// Name by which browsers reach the server, with its port where that is not the usual one; may be given several times
    #[arg(long, value_parser = host, value_name = "HOST")]
    pub name: Vec<String>,
    /// Demand accounts on this machine too
    #[arg(long)]
    pub accounts: bool,
    /// Refuse every write
    #[arg(long)]
    pub read_only: bool,
    /// Requests per second that one client may make on average; 0 for any number
    #[arg(long, default_value_t = 100, value_name = "NUMBER")]
    pub rate: u32,
    /// Who writes, for the history, where a form names nobody; the default is $BIOT_USER, or the system's user
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
}

/// A host as it stands in an address, with or without a port.
fn host(text: &str) -> Result<String, String> {
    let is_host = !text.is_empty()
        && text
            .bytes()
            .all(|b| b.is_ascii_alphanumeric() || matches!(b, b'.' | b'-' | b':' | b'[' | b']'));
    if is_host {
        Ok(text.to_ascii_lowercase())
    } else {
        Err("a host is written as in an address, such as lab.example or lab.example:8443".to_owned())
    }
}

/// Serves until it is told to end.
pub fn run(arguments: &ServeArguments, session: &mut Session) -> Result<Outcome, Failure> {
    // Opened once before anything is served, so that a first use makes the library and a fault shows at once.
    let path = session.library(Access::Read)?.path().to_owned();
    let options = Options {
        listen: (arguments.listen).unwrap_or(SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), arguments.port)),
        library: path,
        who: who(arguments.by.as_deref()),
        read_only: arguments.read_only,
        rate: arguments.rate,
        transport: match (&arguments.certificate, &arguments.key) {
            (Some(certificate), Some(key)) => Transport::Encrypted {
                certificate: certificate.clone(),
                key: key.clone(),
            },
            _ if arguments.behind_proxy => Transport::BehindProxy,
            _ => Transport::Plain,
        },
        names: arguments.name.clone(),
        accounts: arguments.accounts,
    };
    let mut told = Ok(());
    let served = web::serve(&options, |started| {
        told = session.raw(format!("listening on {}\n", started.address).as_bytes());
        if let Some(address) = &started.writing {
            session.notice(&format!("To store from a browser, open {address}"));
        }
    });
    told?;
    served.map_err(|error| {
        let code = match error {
            ServeError::Library(error) => return error.into(),
            ServeError::NoAccounts => "no-accounts",
            ServeError::NoName(_) => "no-name",
            ServeError::Certificate { .. } => "certificate",
            ServeError::BeyondLoopback(_) => "beyond-loopback",
            ServeError::Bind { .. } => "address",
            ServeError::Io(_) => "server",
        };
        Failure::usage(code, "").told(&error.to_string())
    })?;
    Ok(Outcome::Answered)
}
