//! Binding, running and ending the server.

use super::app::App;
use super::connections::Bounded;
use super::{
    api, batch, check, curation, dispersion, equipment, guard, instruments, limits, measurements, pages, plan, reduce,
    report, sign_in, use_log,
};
use crate::library::{Access, Library, LibraryError};
use axum::Router;
use axum::middleware;
use axum::routing::{get, post};
use axum_server::tls_rustls::RustlsConfig;
use hyper_util::rt::{TokioExecutor, TokioTimer};
use hyper_util::server::conn::auto::Builder;
use rustls::ServerConfig;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::timeout::RequestBodyTimeoutLayer;

/// How long a client may take for the head of a request.
const HEAD_TIME: Duration = Duration::from_secs(10);
/// How long a client may pause within a body.
const BODY_TIME: Duration = Duration::from_secs(10);
/// How long requests under way may take to end when the server is told to stop.
const LAST_REQUESTS: Duration = Duration::from_secs(5);
/// Most bytes of a request's head.
const MOST_HEAD: usize = 32 << 10;

/// What to serve, and where.
#[derive(Clone, Debug)]
pub struct Options {
    /// Address and port; port 0 takes a free one.
    pub listen: SocketAddr,
    /// The library file, which is there already.
    pub library: PathBuf,
    /// Who writes, as the history names them.
    pub who: String,
    /// Refuse every write.
    pub read_only: bool,
    /// Requests per second that one client may make on average; 0 for any number.
    pub rate: u32,
    /// Who encrypts what goes over the network.
    pub transport: Transport,
    /// Names by which browsers reach the server, with a port where it is not the usual one.
    pub names: Vec<String>,
    /// Demand accounts on loopback too.
    pub accounts: bool,
}

/// Who encrypts what goes over the network.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Transport {
    /// Nobody; on loopback only.
    #[default]
    Plain,
    /// The server itself.
    Encrypted {
        /// The certificate and those that vouch for it, PEM.
        certificate: PathBuf,
        /// Its private key, PEM.
        key: PathBuf,
    },
    /// A proxy in front, which also says who asks.
    BehindProxy,
}

impl Transport {
    /// How the addresses begin that browsers use.
    pub(super) const fn scheme(&self) -> &'static str {
        match self {
            Self::Plain => "http",
            Self::Encrypted { .. } | Self::BehindProxy => "https",
        }
    }
}

impl Options {
    /// Whether whoever asks must have signed in: everywhere but on loopback, where whoever runs the server sits.
    pub(super) fn needs_accounts(&self) -> bool {
        self.accounts || self.transport != Transport::Plain
    }

    /// What may stand in `Host`: the address, unless it stands for all addresses, and the names.
    pub(super) fn hosts(&self, address: SocketAddr) -> Vec<String> {
        let port = address.port();
        let mut hosts = Vec::new();
        if !address.ip().is_unspecified() {
            hosts.push(address.to_string());
        }
        if address.ip().is_loopback() {
            hosts.push(format!("localhost:{port}"));
        }
        for name in &self.names {
            hosts.push(name.clone());
            hosts.push(format!("{name}:{port}"));
        }
        hosts
    }
}

/// What to tell the user once the server listens.
#[derive(Clone, Debug)]
pub struct Started {
    /// The address of the pages.
    pub address: String,
    /// The address that allows a browser to write; none when nothing may be written.
    pub writing: Option<String>,
}

/// Why the server could not start or go on.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// An address that other machines reach, and nobody encrypts.
    #[error(
        "{0} can be reached from other machines, and nothing encrypts what goes there; give --certificate and --key, \
         say --behind-proxy when a proxy in front encrypts, or listen on 127.0.0.1"
    )]
    BeyondLoopback(SocketAddr),
    /// Accounts are needed and there are none.
    #[error(
        "whoever asks this server must sign in, and the library has no accounts; make the first with biot \
         account add NAME --role administrator"
    )]
    NoAccounts,
    /// The address does not say by which name browsers come.
    #[error(
        "{0} does not say by which name browsers reach this server; give it with --name, such as --name lab.example"
    )]
    NoName(SocketAddr),
    /// The certificate or its key will not do.
    #[error("the certificate cannot be used: {path}: {detail}; both files must be PEM and belong together", path = path.display())]
    Certificate {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        detail: String,
    },
    /// The library cannot be asked for its accounts.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// The address cannot be bound.
    #[error("cannot listen on {address}: {source}; choose another port with --port, or 0 for a free one")]
    Bind {
        /// The address.
        address: SocketAddr,
        /// What the system says.
        source: std::io::Error,
    },
    /// Anything else the system says.
    #[error("the server cannot go on: {0}")]
    Io(#[from] std::io::Error),
}

/// Serves until the process is told to end; `started` is told the address.
///
/// # Errors
/// When the address is beyond loopback and lacks what that needs, the certificate will not do, or the address cannot be
/// bound.
pub fn serve(options: &Options, started: impl FnOnce(&Started)) -> Result<(), ServeError> {
    if !options.listen.ip().is_loopback() && options.transport == Transport::Plain {
        return Err(ServeError::BeyondLoopback(options.listen));
    }
    if options.needs_accounts() && Library::open(&options.library, Access::Read)?.accounts()?.is_empty() {
        return Err(ServeError::NoAccounts);
    }
    let is_named = !options.names.is_empty();
    if !is_named && (options.listen.ip().is_unspecified() || options.transport == Transport::BehindProxy) {
        return Err(ServeError::NoName(options.listen));
    }
    let encryption = match &options.transport {
        Transport::Encrypted { certificate, key } => Some(encryption(certificate, key)?),
        Transport::Plain | Transport::BehindProxy => None,
    };
    let bind = |source| ServeError::Bind {
        address: options.listen,
        source,
    };
    let listener = TcpListener::bind(options.listen).map_err(bind)?;
    listener.set_nonblocking(true)?;
    let address = listener.local_addr()?;
    let app = Arc::new(App::new(options, address));
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    runtime.block_on(async {
        let mut ends = Ends::new()?;
        let scheme = if encryption.is_some() { "https" } else { "http" };
        started(&Started {
            address: format!("{scheme}://{address}"),
            writing: app.start_address(),
        });
        let handle = axum_server::Handle::new();
        let service = router(app).into_make_service_with_connect_info::<SocketAddr>();
        let ending = handle.clone();
        tokio::spawn(async move {
            ends.wait().await;
            ending.graceful_shutdown(Some(LAST_REQUESTS));
        });
        if let Some(encryption) = encryption {
            let mut server = axum_server::from_tcp_rustls(listener, encryption)?
                .map(Bounded::new)
                .handle(handle);
            bound(server.http_builder());
            server.http1_only().serve(service).await
        } else {
            let mut server = axum_server::from_tcp(listener)?.map(Bounded::new).handle(handle);
            bound(server.http_builder());
            server.http1_only().serve(service).await
        }
    })?;
    Ok(())
}

/// Bounds the head of a request in time and size.
fn bound(builder: &mut Builder<TokioExecutor>) {
    builder
        .http1()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_TIME)
        .max_buf_size(MOST_HEAD);
}

/// Reads a certificate and its key. TLS 1.2 and 1.3, as the library has them by default.
fn encryption(certificate: &Path, key: &Path) -> Result<RustlsConfig, ServeError> {
    let unusable = |path: &Path, detail: String| ServeError::Certificate {
        path: path.to_owned(),
        detail,
    };
    let chain = CertificateDer::pem_file_iter(certificate)
        .and_then(Iterator::collect::<Result<Vec<_>, _>>)
        .map_err(|error| unusable(certificate, error.to_string()))?;
    if chain.is_empty() {
        return Err(unusable(certificate, "it holds no certificate".to_owned()));
    }
    let secret = PrivateKeyDer::from_pem_file(key).map_err(|error| unusable(key, error.to_string()))?;
    let mut config = ServerConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .with_safe_default_protocol_versions()
        .and_then(|builder| builder.with_no_client_auth().with_single_cert(chain, secret))
        .map_err(|error| unusable(certificate, error.to_string()))?;
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(RustlsConfig::from_config(Arc::new(config)))
}

/// The pages and the JSON interface, with what guards them.
fn router(app: Arc<App>) -> Router {
    Router::new()
        .route("/", get(pages::search))
        .route("/start", get(pages::start))
        .route("/sign-in", get(sign_in::form_page).post(sign_in::sign_in))
        .route("/sign-out", post(sign_in::sign_out))
        .route("/account", get(sign_in::own))
        .route("/account/password", post(sign_in::own_password))
        .route("/accounts", get(sign_in::all))
        .route("/accounts/role", post(sign_in::set_role))
        .route("/accounts/unlock", post(sign_in::unlock))
        .route("/compounds/{id}", get(pages::compound))
        .route("/check", get(check::page))
        .route("/read", get(pages::read_form).post(pages::read))
        .route("/entries", post(curation::store))
        .route("/entries/{id}", get(curation::entry).post(curation::edit))
        .route("/review", get(curation::review))
        .route("/review/{id}", get(curation::key_form).post(curation::key_again))
        .route("/audit", get(curation::audit))
        .route("/style.css", get(pages::style))
        .route("/api/openapi.json", get(api::openapi))
        .route("/api/check", post(api::check))
        .route("/api/read", post(api::read))
        .route("/api/search", get(api::search))
        .route("/healthz", get(api::health))
        .merge(reduce::routes())
        .merge(measurements::routes())
        .merge(plan::routes())
        .merge(limits::routes())
        .merge(batch::routes())
        .merge(instruments::routes())
        .merge(equipment::routes())
        .merge(dispersion::routes())
        .merge(use_log::routes())
        .merge(report::routes())
        .fallback(pages::not_found)
        .method_not_allowed_fallback(pages::wrong_method)
        .layer(CatchPanicLayer::new())
        .layer(RequestBodyTimeoutLayer::new(BODY_TIME))
        .layer(axum::extract::DefaultBodyLimit::disable())
        .layer(middleware::from_fn_with_state(Arc::clone(&app), guard::guard))
        .with_state(app)
}

/// The signals that end the server.
struct Ends {
    #[cfg(unix)]
    terminate: tokio::signal::unix::Signal,
}

impl Ends {
    fn new() -> std::io::Result<Self> {
        Ok(Self {
            #[cfg(unix)]
            terminate: tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate())?,
        })
    }

    async fn wait(&mut self) {
        let interrupt = async {
            // Without the signal there is only the other one to wait for.
            if tokio::signal::ctrl_c().await.is_err() {
                std::future::pending::<()>().await;
            }
        };
        #[cfg(unix)]
        tokio::select! {
            () = interrupt => {}
            _ = self.terminate.recv() => {}
        }
        #[cfg(not(unix))]
        interrupt.await;
    }
}
