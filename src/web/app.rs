//! The state of the server: connections to the library, the browsers that may write, and how often clients ask.
//!
//! The store blocks, so each question runs on a thread of its own kind. Readers are kept in a pool and never wait for the
//! writer; one writer at a time changes the library.

use super::audited::Audited;
use super::guard::Visitor;
use super::server::{Options, Transport};
use crate::library::{Access, Change, Holder, Library, LibraryError};
use crate::report::failure::{Failure, Fault};
use crate::tasks::accounts::{self, secret};
use axum::http::{HeaderMap, header};
use std::collections::HashMap;
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::task::spawn_blocking;

/// Questions to the library that may run at a time; more wait.
const MOST_AT_ONCE: usize = 16;
/// Requests that may be under way at a time; more are turned away.
const MOST_REQUESTS: usize = 256;
/// Forms with files that may be on their way at a time; more are turned away.
const MOST_UPLOADS: usize = 4;
/// How long a browser may write after its last request.
const IDLE: Duration = Duration::from_hours(12);
/// Browsers that may write at a time.
const MOST_BROWSERS: usize = 100;
/// Clients whose rate is remembered.
const MOST_CLIENTS: usize = 10_000;
/// Passwords that are hashed at a time; each takes 64 MiB.
const MOST_HASHINGS: usize = 2;
/// How long a sign-in waits for its turn to be hashed.
const HASHING_PATIENCE: Duration = Duration::from_secs(15);
/// Sign-ins that one client may try at once, and how many more each minute.
const SIGN_INS: (f64, f64) = (10.0, 10.0);
/// How old the note on a session's last use may grow, in seconds.
const SESSION_NOTE: i64 = 60;

/// The state of the server.
pub(super) struct App {
    path: PathBuf,
    who: String,
    read_only: bool,
    rate: u32,
    has_accounts: bool,
    /// Whether a proxy in front says who asks.
    pub(super) behind_proxy: bool,
    scheme: &'static str,
    /// The addresses without scheme, as they stand in `Host`.
    hosts: Vec<String>,
    start_token: String,
    readers: Mutex<Vec<Library>>,
    writer: Mutex<Option<Library>>,
    questions: Semaphore,
    pub(super) requests: Arc<Semaphore>,
    /// Forms with files that may be on their way at a time.
    pub(super) uploads: Semaphore,
    browsers: Mutex<HashMap<String, Browser>>,
    clients: Mutex<HashMap<IpAddr, Client>>,
    sign_ins: Mutex<HashMap<IpAddr, Client>>,
    hashings: Arc<Semaphore>,
    pub(super) audited: Audited,
}

/// A browser that may write.
struct Browser {
    form_token: String,
    seen: Instant,
}

/// How many more requests a client may make at once.
struct Client {
    left: f64,
    seen: Instant,
}

impl App {
    pub(super) fn new(options: &Options, address: SocketAddr) -> Self {
        Self {
            path: options.library.clone(),
            who: options.who.clone(),
            read_only: options.read_only,
            rate: options.rate,
            has_accounts: options.needs_accounts(),
            behind_proxy: options.transport == Transport::BehindProxy,
            scheme: options.transport.scheme(),
            hosts: options.hosts(address),
            start_token: secret(),
            readers: Mutex::default(),
            writer: Mutex::default(),
            questions: Semaphore::new(MOST_AT_ONCE),
            requests: Arc::new(Semaphore::new(MOST_REQUESTS)),
            uploads: Semaphore::new(MOST_UPLOADS),
            browsers: Mutex::default(),
            clients: Mutex::default(),
            sign_ins: Mutex::default(),
            hashings: Arc::new(Semaphore::new(MOST_HASHINGS)),
            audited: Audited::default(),
        }
    }

    /// One without a library, for tests of what comes before it.
    #[cfg(test)]
    pub(super) fn for_test(address: SocketAddr) -> Self {
        let options = Options {
            listen: address,
            library: PathBuf::new(),
            who: String::new(),
            read_only: false,
            rate: 0,
            transport: Transport::Plain,
            names: Vec::new(),
            accounts: false,
        };
        Self::new(&options, address)
    }

    /// The address that allows a browser to write.
    pub(super) fn start_address(&self) -> Option<String> {
        (!self.read_only && !self.has_accounts)
            .then(|| format!("http://{}/start?token={}", self.hosts[0], self.start_token))
    }

    /// Whether whoever asks must have signed in.
    pub(super) const fn has_accounts(&self) -> bool {
        self.has_accounts
    }

    /// The name of the cookie. The prefix makes browsers refuse one that is not of this host or not encrypted (RFC 6265bis,
    /// section 4.1.3.2).
    pub(super) fn cookie_name(&self) -> &'static str {
        if self.scheme == "https" { "__Host-biot" } else { "biot" }
    }

    /// The header that gives a browser its cookie.
    pub(super) fn cookie(&self, kept: &str) -> String {
        let secure = if self.scheme == "https" { "; Secure" } else { "" };
        format!(
            "{}={kept}; Path=/; HttpOnly; SameSite=Strict{secure}",
            self.cookie_name()
        )
    }

    /// The secret in a browser's cookie.
    pub(super) fn cookie_of<'a>(&self, headers: &'a HeaderMap) -> Option<&'a str> {
        headers
            .get_all(header::COOKIE)
            .iter()
            .filter_map(|value| value.to_str().ok())
            .flat_map(|value| value.split(';'))
            .find_map(|pair| pair.trim().strip_prefix(self.cookie_name())?.strip_prefix('='))
    }

    /// Whether this server goes by a name in `Host`.
    pub(super) fn is_own_host(&self, host: &str) -> bool {
        self.hosts.iter().any(|own| own.eq_ignore_ascii_case(host))
    }

    /// Whether an `Origin` is this server.
    pub(super) fn is_own_origin(&self, origin: &str) -> bool {
        origin
            .strip_prefix(self.scheme)
            .and_then(|rest| rest.strip_prefix("://"))
            .is_some_and(|host| self.is_own_host(host))
    }

    /// Whether nothing may be written.
    pub(super) const fn is_read_only(&self) -> bool {
        self.read_only
    }

    /// Takes a request off what a client may still make; false when it has made too many.
    pub(super) fn admits(&self, client: IpAddr) -> bool {
        let per_second = f64::from(self.rate);
        self.rate == 0 || takes(&self.clients, client, 2.0 * per_second, per_second)
    }

    /// Takes a sign-in off what a client may still try; false when it has tried too many.
    pub(super) fn admits_sign_in(&self, client: IpAddr) -> bool {
        let (at_once, per_minute) = SIGN_INS;
        takes(&self.sign_ins, client, at_once, per_minute / 60.0)
    }

    /// Lets a browser write that shows the token of the start; the secret it is to keep.
    pub(super) fn start(&self, token: &str) -> Option<String> {
        if self.read_only || !same(token, &self.start_token) {
            return None;
        }
        let mut browsers = held(&self.browsers);
        browsers.retain(|_, browser| browser.seen.elapsed() < IDLE);
        if browsers.len() >= MOST_BROWSERS {
            return None;
        }
        let kept = secret();
        browsers.insert(
            kept.clone(),
            Browser {
                form_token: secret(),
                seen: Instant::now(),
            },
        );
        Some(kept)
    }

    /// The token that the forms of a browser carry, when it may write.
    pub(super) fn form_token(&self, kept: &str) -> Option<String> {
        let mut browsers = held(&self.browsers);
        let browser = browsers.get_mut(kept)?;
        if browser.seen.elapsed() > IDLE {
            browsers.remove(kept);
            return None;
        }
        browser.seen = Instant::now();
        Some(browser.form_token.clone())
    }

    /// A change made by whoever is signed in, whatever the form says; without accounts by the person named, or by whoever
    /// runs the server.
    pub(super) fn change(&self, visitor: &Visitor, by: &str, why: &str) -> Change {
        let by = by.trim();
        let who = match &visitor.account {
            None if !by.is_empty() => by,
            _ => self.who(visitor),
        };
        Change::now(who, why.trim())
    }

    /// Who writes when nobody else is named.
    pub(super) fn who<'a>(&'a self, visitor: &'a Visitor) -> &'a str {
        visitor.account.as_ref().map_or(&self.who, |holder| &holder.name)
    }

    /// Whose session a cookie stands for, while it lasts. That it is in use is noted now and then.
    ///
    /// # Errors
    /// When the library cannot be read.
    pub(super) async fn session(self: &Arc<Self>, secret: &str) -> Result<Option<Holder>, Failure> {
        let asked = secret.to_owned();
        let now = now();
        let holder = self
            .read(move |library| Ok(accounts::session(library, &asked, now)?))
            .await?;
        if holder.as_ref().is_some_and(|holder| now - holder.until > SESSION_NOTE) {
            let app = Arc::clone(self);
            let secret = secret.to_owned();
            // Nobody waits for it, and when the library is being written it is left to the next request.
            spawn_blocking(move || {
                if let Ok(mut writer) = app.writer.try_lock() {
                    let _ = app.writing(&mut writer, |library| Ok(library.keep_session(&secret, now)?));
                }
            });
        }
        Ok(holder)
    }

    /// Whose token a program shows, while it lasts.
    ///
    /// # Errors
    /// When the library cannot be read.
    pub(super) async fn token_holder(self: &Arc<Self>, token: &str) -> Result<Option<Holder>, Failure> {
        let token = token.to_owned();
        self.read(move |library| Ok(accounts::token_holder(library, &token, now())?))
            .await
    }

    /// Signs somebody in: the secret their browser keeps; none when name or password are wrong or the account is locked.
    ///
    /// # Errors
    /// When too many sign-ins are under way, or the library cannot be read or written.
    pub(super) async fn sign_in(self: &Arc<Self>, name: String, password: String) -> Result<Option<String>, Failure> {
        let turn = self.hashing_turn().await?;
        let credentials = self.read(move |library| Ok(library.credentials(&name)?)).await?;
        let (credentials, is_right) = spawn_blocking(move || {
            let is_right = accounts::is_password(credentials.as_ref(), &password);
            (credentials, is_right)
        })
        .await
        .map_err(|_| broken())?;
        let now = now();
        let Some(credentials) = credentials.filter(|credentials| !accounts::is_locked(credentials, now)) else {
            return Ok(None);
        };
        if is_right {
            return self
                .on_writer(move |library| Ok(accounts::begin_session(library, &credentials, now)?))
                .await;
        }
        // Counted behind the answer, which must not take longer for a name that is known; the next hash waits for it.
        let app = Arc::clone(self);
        tokio::spawn(async move {
            let _ = app
                .on_writer(move |library| Ok(accounts::count_failure(library, &credentials, now)?))
                .await;
            drop(turn);
        });
        Ok(None)
    }

    async fn hashing_turn(&self) -> Result<OwnedSemaphorePermit, Failure> {
        tokio::time::timeout(HASHING_PATIENCE, Arc::clone(&self.hashings).acquire_owned())
            .await
            .ok()
            .and_then(Result::ok)
            .ok_or_else(|| Failure::usage("busy", "too many sign-ins are under way").hint("try again shortly"))
    }

    /// Changes the library in a way that hashes a password.
    ///
    /// # Errors
    /// What `change` says, and when too many are hashed already.
    pub(super) async fn hash_on_writer<T: Send + 'static>(
        self: &Arc<Self>,
        change: impl FnOnce(&mut Library) -> Result<T, Failure> + Send + 'static,
    ) -> Result<T, Failure> {
        let _turn = self.hashing_turn().await?;
        self.on_writer(change).await
    }

    /// Asks the library something on a connection of the pool.
    ///
    /// # Errors
    /// What `ask` says, and when the library cannot be opened.
    pub(super) async fn read<T: Send + 'static>(
        self: &Arc<Self>,
        ask: impl FnOnce(&Library) -> Result<T, Failure> + Send + 'static,
    ) -> Result<T, Failure> {
        let _turn = self.questions.acquire().await.map_err(|_| broken())?;
        let app = Arc::clone(self);
        spawn_blocking(move || {
            let kept = held(&app.readers).pop();
            let library = match kept.filter(|library| !library.is_replaced()) {
                Some(library) => library,
                None => Library::open(&app.path, Access::Read)?,
            };
            let answer = ask(&library);
            held(&app.readers).push(library);
            answer
        })
        .await
        .map_err(|_| broken())?
    }

    /// Changes the library on its one writing connection.
    ///
    /// # Errors
    /// What `change` says, and when nothing may be written.
    pub(super) async fn write<T: Send + 'static>(
        self: &Arc<Self>,
        change: impl FnOnce(&mut Library) -> Result<T, Failure> + Send + 'static,
    ) -> Result<T, Failure> {
        if self.read_only {
            return Err(LibraryError::ReadOnly {
                path: self.path.clone(),
            }
            .into());
        }
        self.on_writer(change).await
    }

    /// Works on the one writing connection, whether or not the library may be written: for accounts and sessions.
    ///
    /// # Errors
    /// What `change` says.
    pub(super) async fn on_writer<T: Send + 'static>(
        self: &Arc<Self>,
        change: impl FnOnce(&mut Library) -> Result<T, Failure> + Send + 'static,
    ) -> Result<T, Failure> {
        let _turn = self.questions.acquire().await.map_err(|_| broken())?;
        let app = Arc::clone(self);
        spawn_blocking(move || app.writing(&mut held(&app.writer), change))
            .await
            .map_err(|_| broken())?
    }

    fn writing<T>(
        &self,
        writer: &mut Option<Library>,
        change: impl FnOnce(&mut Library) -> Result<T, Failure>,
    ) -> Result<T, Failure> {
        if writer.as_ref().is_some_and(Library::is_replaced) {
            *writer = None;
        }
        let library = match writer {
            Some(library) => library,
            empty => empty.insert(Library::open(&self.path, Access::Write)?),
        };
        change(library)
    }
}

/// Takes one off what a client may still do: `most` at once, and so many more each second.
fn takes(clients: &Mutex<HashMap<IpAddr, Client>>, client: IpAddr, most: f64, per_second: f64) -> bool {
    let now = Instant::now();
    let mut clients = held(clients);
    if clients.len() >= MOST_CLIENTS {
        clients.retain(|_, client| now.duration_since(client.seen) < Duration::from_mins(1));
    }
    let client = clients.entry(client).or_insert(Client { left: most, seen: now });
    client.left = (client.left + now.duration_since(client.seen).as_secs_f64() * per_second).min(most);
    client.seen = now;
    let is_admitted = client.left >= 1.0;
    if is_admitted {
        client.left -= 1.0;
    }
    is_admitted
}

/// Seconds since 1970-01-01T00:00:00Z.
fn now() -> i64 {
    time::OffsetDateTime::now_utc().unix_timestamp()
}

/// What a lock protects stays sound when a thread that held it ends early: each change of it is one step.
fn held<T>(lock: &Mutex<T>) -> MutexGuard<'_, T> {
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The failure of a question whose thread ended early.
pub(super) fn broken() -> Failure {
    Failure::new(Fault::Library, "broken", "the question could not be answered")
        .hint("try again; if it happens again, it is an error of the program")
}

/// Whether two secrets are the same, in a time that does not tell where they differ.
pub(super) fn same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |differ, (a, b)| differ | (a ^ b)) == 0
}
