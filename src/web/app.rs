//! The state of the server: connections to the library, the browsers that may write, and how often clients ask.
//!
//! The store blocks, so each question runs on a thread of its own kind. Readers are kept in a pool and never wait for the
//! writer; one writer at a time changes the library.

use super::server::Options;
use crate::library::{Access, Change, Library, LibraryError};
use crate::report::failure::{Failure, Fault};
use std::collections::HashMap;
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::Semaphore;
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

/// The state of the server.
pub(super) struct App {
    path: PathBuf,
    who: String,
    read_only: bool,
    rate: u32,
    /// The address without scheme, as it stands in `Host`.
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
            hosts: vec![address.to_string(), format!("localhost:{}", address.port())],
            start_token: secret(),
            readers: Mutex::default(),
            writer: Mutex::default(),
            questions: Semaphore::new(MOST_AT_ONCE),
            requests: Arc::new(Semaphore::new(MOST_REQUESTS)),
            uploads: Semaphore::new(MOST_UPLOADS),
            browsers: Mutex::default(),
            clients: Mutex::default(),
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
        };
        Self::new(&options, address)
    }

    /// The address that allows a browser to write.
    pub(super) fn start_address(&self) -> Option<String> {
        (!self.read_only).then(|| format!("http://{}/start?token={}", self.hosts[0], self.start_token))
    }

    /// Whether this server goes by a name in `Host`.
    pub(super) fn is_own_host(&self, host: &str) -> bool {
        self.hosts.iter().any(|own| own.eq_ignore_ascii_case(host))
    }

    /// Whether an `Origin` is this server.
    pub(super) fn is_own_origin(&self, origin: &str) -> bool {
        origin
            .strip_prefix("http://")
            .is_some_and(|host| self.is_own_host(host))
    }

    /// Whether nothing may be written.
    pub(super) const fn is_read_only(&self) -> bool {
        self.read_only
    }

    /// Takes a request off what a client may still make; false when it has made too many.
    pub(super) fn admits(&self, client: IpAddr) -> bool {
        if self.rate == 0 {
            return true;
        }
        let now = Instant::now();
        let per_second = f64::from(self.rate);
        let mut clients = held(&self.clients);
        if clients.len() >= MOST_CLIENTS {
            clients.retain(|_, client| now.duration_since(client.seen) < Duration::from_mins(1));
        }
        let client = clients.entry(client).or_insert(Client {
            left: 2.0 * per_second,
            seen: now,
        });
        client.left = (client.left + now.duration_since(client.seen).as_secs_f64() * per_second).min(2.0 * per_second);
        client.seen = now;
        let is_admitted = client.left >= 1.0;
        if is_admitted {
            client.left -= 1.0;
        }
        is_admitted
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

    /// A change made by a person; the name given, or that of whoever runs the server.
    pub(super) fn change(&self, by: &str, why: &str) -> Change {
        let by = by.trim();
        Change::now(if by.is_empty() { &self.who } else { by }, why.trim())
    }

    /// Who writes when nobody else is named.
    pub(super) fn who(&self) -> &str {
        &self.who
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
            let library = match kept {
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
        let _turn = self.questions.acquire().await.map_err(|_| broken())?;
        let app = Arc::clone(self);
        spawn_blocking(move || {
            let mut writer = held(&app.writer);
            let library = match &mut *writer {
                Some(library) => library,
                empty => empty.insert(Library::open(&app.path, Access::Write)?),
            };
            change(library)
        })
        .await
        .map_err(|_| broken())?
    }
}

/// What a lock protects stays sound when a thread that held it ends early: each change of it is one step.
fn held<T>(lock: &Mutex<T>) -> MutexGuard<'_, T> {
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The failure of a question whose thread ended early.
fn broken() -> Failure {
    Failure::new(Fault::Library, "broken", "the question could not be answered")
        .hint("try again; if it happens again, it is an error of the program")
}

/// A secret nobody can guess: 256 bits of the thread's generator, which is a cipher seeded by the system.
fn secret() -> String {
    use std::fmt::Write;
    rand::random::<[u8; 32]>().iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Whether two secrets are the same, in a time that does not tell where they differ.
pub(super) fn same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |differ, (a, b)| differ | (a ^ b)) == 0
}
