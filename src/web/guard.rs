//! What may come in, and what every answer carries.
//!
//! `Host` must name this server, or a page elsewhere could reach it under a name of its own; what changes something or
//! asks with a body must come from this server's own pages or from no page at all. A write needs the cookie of a browser
//! that was started with the server's token, and the token of that browser's forms.

use super::app::{App, same};
use super::upload::MOST_UPLOAD;
use super::views::problem;
use crate::report::failure::Failure;
use axum::body::Body;
use axum::extract::{ConnectInfo, Request, State};
use axum::http::header::{self, HeaderName};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::Response;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

/// The cookie of a browser that may write.
const COOKIE: &str = "biot";
/// How long a request may take in all.
const WHOLE_TIME: Duration = Duration::from_mins(1);
/// Most bytes of a body.
pub(super) const MOST_BODY: usize = 2 << 20;

/// Headers of every answer.
const ALWAYS: [(HeaderName, &str); 8] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'none'; style-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::X_FRAME_OPTIONS, "DENY"),
    // Not `no-referrer`: forms would then come with the origin "null".
    (header::REFERRER_POLICY, "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    (
        HeaderName::from_static("permissions-policy"),
        "camera=(), geolocation=(), microphone=()",
    ),
    (header::CACHE_CONTROL, "no-store"),
];

/// Who asks.
#[derive(Clone, Debug, Default)]
pub(super) struct Visitor {
    /// The token that forms of this browser must carry; none when it may not write.
    pub(super) form_token: Option<String>,
}

impl Visitor {
    /// Refuses a write without the token of the browser's own forms.
    ///
    /// # Errors
    /// When the browser may not write, or the form is not one of its own.
    pub(super) fn may_write(&self, token: &str) -> Result<(), Failure> {
        match &self.form_token {
            Some(own) if same(own, token) => Ok(()),
            Some(_) => Err(Failure::usage("form-token", "this form was not made by this page")
                .hint("open the page again and fill in the form anew")),
            None => Err(Failure::usage("not-started", "this browser may read but not write")
                .hint("open the address that the server printed when it started")),
        }
    }
}

/// Checks a request, passes it on, and dresses the answer.
pub(super) async fn guard(
    State(app): State<Arc<App>>,
    ConnectInfo(client): ConnectInfo<SocketAddr>,
    mut request: Request,
    next: Next,
) -> Response {
    let wants_json = request.uri().path().starts_with("/api/");
    let mut answer = match admitted(&app, client, &request).map_err(|refused| *refused) {
        Ok(()) => {
            let form_token = cookie(request.headers(), COOKIE).and_then(|kept| app.form_token(kept));
            request.extensions_mut().insert(Visitor { form_token });
            pass_on(&app, request, next, wants_json).await
        }
        Err((status, failure)) => problem(status, &failure, wants_json),
    };
    dress(answer.headers_mut());
    answer
}

/// Runs a request that may come in, when not too many are under way.
async fn pass_on(app: &App, request: Request, next: Next, wants_json: bool) -> Response {
    let Ok(_under_way) = Arc::clone(&app.requests).try_acquire_owned() else {
        let failure = Failure::usage("busy", "too many requests are under way").hint("try again shortly");
        return problem(StatusCode::SERVICE_UNAVAILABLE, &failure, wants_json);
    };
    let answer = tokio::time::timeout(WHOLE_TIME, next.run(request)).await;
    answer.unwrap_or_else(|_| {
        let failure = Failure::usage("too-slow", "the request took too long").hint("try again");
        problem(StatusCode::REQUEST_TIMEOUT, &failure, wants_json)
    })
}

fn admitted(app: &App, client: SocketAddr, request: &Request<Body>) -> Result<(), Box<(StatusCode, Failure)>> {
    let headers = request.headers();
    let text = |name: HeaderName| headers.get(name).map(|value| value.to_str().unwrap_or_default());
    match text(header::HOST) {
        Some(host) if app.is_own_host(host) && headers.get_all(header::HOST).iter().count() == 1 => {}
        _ => {
            return Err(Box::new((
                StatusCode::MISDIRECTED_REQUEST,
                Failure::usage("host", "this server does not go by that name")
                    .hint("use the address it printed when it started"),
            )));
        }
    }
    if !matches!(*request.method(), Method::GET | Method::HEAD | Method::POST) {
        return Err(Box::new((
            StatusCode::METHOD_NOT_ALLOWED,
            Failure::usage("method", "only GET, HEAD and POST are understood"),
        )));
    }
    if request.method() == Method::POST {
        let from_elsewhere = match text(header::ORIGIN) {
            Some(origin) => !app.is_own_origin(origin),
            None => text(HeaderName::from_static("sec-fetch-site"))
                .is_some_and(|site| site != "same-origin" && site != "none"),
        };
        if from_elsewhere {
            return Err(Box::new((
                StatusCode::FORBIDDEN,
                Failure::usage("origin", "this request comes from another site's page"),
            )));
        }
        let length = text(header::CONTENT_LENGTH).and_then(|length| length.parse::<u64>().ok());
        // Whoever reads the body bounds it again, because not every request says its length.
        let has_files = text(header::CONTENT_TYPE).is_some_and(|kind| kind.starts_with("multipart/form-data"));
        let most = if has_files { MOST_UPLOAD } else { MOST_BODY };
        if length.is_some_and(|length| length > most as u64) {
            return Err(Box::new((
                StatusCode::PAYLOAD_TOO_LARGE,
                Failure::usage("too-large", format!("a request may hold {} MiB", most >> 20)),
            )));
        }
    }
    if !app.admits(client.ip()) {
        return Err(Box::new((
            StatusCode::TOO_MANY_REQUESTS,
            Failure::usage("rate", "too many requests in a short time").hint("wait a second"),
        )));
    }
    Ok(())
}

fn dress(headers: &mut HeaderMap) {
    for (name, value) in ALWAYS {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    }
}

/// The header that gives a browser its cookie.
pub(super) fn set_cookie(kept: &str) -> String {
    format!("{COOKIE}={kept}; Path=/; HttpOnly; SameSite=Strict")
}

/// A cookie by its name.
fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(';'))
        .find_map(|pair| pair.trim().strip_prefix(name)?.strip_prefix('='))
}
