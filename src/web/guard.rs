//! What may come in, and what every answer carries.
//!
//! `Host` must name this server, or a page elsewhere could reach it under a name of its own; what changes something or
//! asks with a body must come from this server's own pages or from no page at all. A write needs the cookie of a browser
//! that was started with the server's token, and the token of that browser's forms.

use super::app::{App, same};
use super::permissions::Needs;
use super::sign_in::to;
use super::upload::MOST_UPLOAD;
use super::views::{problem, status};
use crate::library::Holder;
use crate::report::failure::Failure;
use crate::tasks::accounts::{Act, form_token, may};
use axum::body::Body;
use axum::extract::{ConnectInfo, MatchedPath, Request, State};
use axum::http::header::{self, HeaderName};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::Response;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

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
    /// The token that forms which store must carry; none when this visitor may not store anything.
    pub(super) form_token: Option<String>,
    /// The token that forms about the visitor's own session must carry.
    pub(super) own_token: Option<String>,
    /// Who is signed in, or for whom a program asks.
    pub(super) account: Option<Holder>,
}

impl Visitor {
    /// Refuses a write without the token of the browser's own forms.
    ///
    /// # Errors
    /// When the browser may not write, or the form is not one of its own.
    pub(super) fn may_write(&self, token: &str) -> Result<(), Failure> {
        match &self.form_token {
            Some(own) => is_own(own, token),
            None if self.account.is_some() => Err(not_your_role()),
            None => Err(Failure::usage("not-started", "this browser may read but not write")
                .hint("open the address that the server printed when it started")),
        }
    }

    /// Refuses a form about the visitor's session that is not one of its own.
    ///
    /// # Errors
    /// When it is not.
    pub(super) fn is_own_form(&self, token: &str) -> Result<(), Failure> {
        is_own(self.own_token.as_deref().unwrap_or_default(), token)
    }

    /// Who is signed in.
    ///
    /// # Errors
    /// When nobody is.
    pub(super) fn account(&self) -> Result<&Holder, Failure> {
        self.account.as_ref().ok_or_else(not_signed_in)
    }

    /// Whether this visitor may do something; without accounts, whoever may write may do everything.
    pub(super) fn may(&self, act: Act) -> bool {
        match &self.account {
            Some(holder) => may(holder.role, act),
            None => act == Act::Read || self.form_token.is_some(),
        }
    }

    /// Of whom a session is, with its secret where it is a browser's.
    fn of_account(holder: Holder, secret: Option<&str>, is_read_only: bool) -> Self {
        let own_token = secret.map(form_token);
        let may_store = may(holder.role, Act::Contribute) && !is_read_only;
        Self {
            form_token: own_token.clone().filter(|_| may_store),
            own_token,
            account: Some(holder),
        }
    }
}

fn is_own(own: &str, token: &str) -> Result<(), Failure> {
    if !own.is_empty() && same(own, token) {
        Ok(())
    } else {
        Err(Failure::usage("form-token", "this form was not made by this page")
            .hint("open the page again and fill in the form anew"))
    }
}

fn not_your_role() -> Failure {
    Failure::usage("role", "your account may not do this").hint("ask whoever keeps the library for another role")
}

fn not_signed_in() -> Failure {
    Failure::usage("not-signed-in", "this needs an account")
        .hint("sign in at /sign-in; a program sends a token as Authorization: Bearer TOKEN")
}

/// Checks a request, passes it on, and dresses the answer.
pub(super) async fn guard(
    State(app): State<Arc<App>>,
    ConnectInfo(client): ConnectInfo<SocketAddr>,
    request: Request,
    next: Next,
) -> Response {
    let wants_json = request.uri().path().starts_with("/api/");
    let client = client_of(&app, client, request.headers());
    let mut answer = if let Err((status, failure)) = admitted(&app, client, &request).map_err(|refused| *refused) {
        problem(status, &failure, wants_json)
    } else {
        let (mut parts, body) = request.into_parts();
        match known(&app, &parts, wants_json).await {
            Ok(visitor) => {
                parts.extensions.insert(visitor);
                pass_on(&app, Request::from_parts(parts, body), next, wants_json).await
            }
            Err(refusal) => *refusal,
        }
    };
    dress(answer.headers_mut());
    answer
}

/// The machine that asks. Behind a proxy it is the last one that the proxy names: what stands before it is only claimed.
pub(super) fn client_of(app: &App, connected: SocketAddr, headers: &HeaderMap) -> IpAddr {
    let named = || {
        let named = headers.get_all("x-forwarded-for").iter().next_back()?.to_str().ok()?;
        named.rsplit(',').next()?.trim().parse().ok()
    };
    let named = if app.behind_proxy { named() } else { None };
    named.unwrap_or(connected.ip())
}

/// Who asks, when they may ask this.
async fn known(app: &Arc<App>, request: &Parts, wants_json: bool) -> Result<Visitor, Box<Response>> {
    let headers = &request.headers;
    if !app.has_accounts() {
        let form_token = app.cookie_of(headers).and_then(|kept| app.form_token(kept));
        return Ok(Visitor {
            form_token,
            ..Visitor::default()
        });
    }
    let bearer = headers
        .get(header::AUTHORIZATION)
        .and_then(|value| value.to_str().ok()?.strip_prefix("Bearer "));
    let visitor = match (bearer, app.cookie_of(headers)) {
        // Tokens are for programs, which have no use for pages.
        (Some(token), _) if wants_json => app
            .token_holder(token)
            .await
            .map(|holder| holder.map(|holder| Visitor::of_account(holder, None, app.is_read_only()))),
        (_, Some(secret)) => app
            .session(secret)
            .await
            .map(|holder| holder.map(|holder| Visitor::of_account(holder, Some(secret), app.is_read_only()))),
        _ => Ok(None),
    };
    let visitor = visitor.map_err(|failure| Box::new(problem(status(&failure), &failure, wants_json)))?;
    let route = request.extensions.get::<MatchedPath>().map(MatchedPath::as_str);
    let needs = Needs::of(&request.method, route);
    let role = visitor
        .as_ref()
        .and_then(|visitor| visitor.account.as_ref())
        .map(|holder| holder.role);
    match visitor {
        _ if needs.lets(role) => Ok(visitor.unwrap_or_default()),
        Some(_) => Err(Box::new(problem(StatusCode::FORBIDDEN, &not_your_role(), wants_json))),
        None if wants_json || request.method == Method::POST => {
            let mut refusal = problem(StatusCode::UNAUTHORIZED, &not_signed_in(), wants_json);
            refusal
                .headers_mut()
                .insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
            Err(Box::new(refusal))
        }
        None => {
            let wanted = request.uri.path_and_query().map_or("/", |wanted| wanted.as_str());
            Err(Box::new(to(&format!("/sign-in?next={}", escaped(wanted)))))
        }
    }
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

fn admitted(app: &App, client: IpAddr, request: &Request<Body>) -> Result<(), Box<(StatusCode, Failure)>> {
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
    if !app.admits(client) {
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

/// A text as it may stand in the query of an address.
fn escaped(text: &str) -> String {
    use std::fmt::Write;
    text.bytes().fold(String::new(), |mut escaped, byte| {
        if byte.is_ascii_alphanumeric() || byte == b'/' {
            escaped.push(char::from(byte));
        } else {
            // Writing to a string cannot fail.
            let _ = write!(escaped, "%{byte:02X}");
        }
        escaped
    })
}

/// The header that takes a browser's cookie away.
pub(super) fn ended_cookie(app: &App) -> String {
    format!("{}; Max-Age=0", app.cookie(""))
}
