//! Binding, running and ending the server.

use super::app::App;
use super::{api, batch, check, curation, guard, instruments, limits, measurements, pages, plan, reduce, use_log};
use axum::Router;
use axum::middleware;
use axum::routing::{get, post};
use hyper_util::rt::TokioTimer;
use std::net::{SocketAddr, TcpListener};
use std::path::PathBuf;
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
    /// An address that other machines reach.
    #[error(
        "{0} can be reached from other machines, and this server has no accounts and no encryption; listen on 127.0.0.1"
    )]
    BeyondLoopback(SocketAddr),
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
/// When the address is not on loopback or cannot be bound.
pub fn serve(options: &Options, started: impl FnOnce(&Started)) -> Result<(), ServeError> {
    if !options.listen.ip().is_loopback() {
        return Err(ServeError::BeyondLoopback(options.listen));
    }
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
        started(&Started {
            address: format!("http://{address}"),
            writing: app.start_address(),
        });
        let handle = axum_server::Handle::new();
        let mut server = axum_server::from_tcp(listener)?.handle(handle.clone());
        server
            .http_builder()
            .http1()
            .timer(TokioTimer::new())
            .header_read_timeout(HEAD_TIME)
            .max_buf_size(MOST_HEAD);
        let service = router(app).into_make_service_with_connect_info::<SocketAddr>();
        tokio::spawn(async move {
            ends.wait().await;
            handle.graceful_shutdown(Some(LAST_REQUESTS));
        });
        server.http1_only().serve(service).await
    })?;
    Ok(())
}

/// The pages and the JSON interface, with what guards them.
fn router(app: Arc<App>) -> Router {
    Router::new()
        .route("/", get(pages::search))
        .route("/start", get(pages::start))
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
        .merge(use_log::routes())
        .fallback(pages::not_found)
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
