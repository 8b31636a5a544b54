//! Signing in and out, one's own account, and the accounts of others.
//!
//! A sign-in that fails says the same and takes as long, whether the name, the password or the moment was wrong. The form of
//! a sign-in carries no token, because nobody is signed in yet: the guard refuses it from other sites by its origin.

use super::app::App;
use super::fields::form;
use super::guard::{Visitor, client_of, ended_cookie};
use super::views::{AccountPage, AccountRow, AccountsPage, Frame, PageFailure, Problem, SignInPage, html};
use crate::library::{Library, Role};
use crate::report::accounts::{duties, moment};
use crate::report::failure::Failure;
use crate::tasks::accounts;
use axum::Extension;
use axum::body::Body;
use axum::extract::{ConnectInfo, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use std::net::SocketAddr;
use std::sync::Arc;
use time::OffsetDateTime;

/// The fields of the forms here.
#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct Typed {
    token: String,
    name: String,
    password: String,
    new_password: String,
    again: String,
    role: String,
    next: String,
}

/// `GET /sign-in`
pub(super) async fn form_page(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Query(typed): Query<Typed>,
) -> Response {
    if !app.has_accounts() {
        return to("/");
    }
    let page = SignInPage {
        frame: Frame::new(&app, &visitor, "Sign in", ""),
        next: typed.next,
        ..SignInPage::default()
    };
    html(StatusCode::OK, &page)
}

/// `POST /sign-in`
pub(super) async fn sign_in(
    State(app): State<Arc<App>>,
    ConnectInfo(client): ConnectInfo<SocketAddr>,
    headers: HeaderMap,
    Extension(visitor): Extension<Visitor>,
    body: Body,
) -> Result<Response, PageFailure> {
    let typed: Typed = form(body).await?;
    if !app.has_accounts() {
        return Ok(to("/"));
    }
    if !app.admits_sign_in(client_of(&app, client, &headers)) {
        return Err(Failure::usage("rate", "too many sign-ins from this machine")
            .hint("wait a minute")
            .into());
    }
    let name = typed.name.trim().to_owned();
    if let Some(secret) = app.sign_in(name.clone(), typed.password).await? {
        let mut response = to(own_path(&typed.next));
        if let Ok(cookie) = app.cookie(&secret).parse() {
            response.headers_mut().insert(header::SET_COOKIE, cookie);
        }
        return Ok(response);
    }
    let failure = Failure::usage("sign-in", "the name or the password is not right").hint(format!(
        "after {} failures in a row an account takes no sign-in for a while; an administrator can unlock it",
        accounts::FAILURES_LET_PASS
    ));
    let page = SignInPage {
        frame: Frame::new(&app, &visitor, "Sign in", ""),
        name,
        next: typed.next,
        problem: Some(Problem::new(&failure, |_| String::new())),
    };
    Ok(html(StatusCode::FORBIDDEN, &page))
}

/// `POST /sign-out`
pub(super) async fn sign_out(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    headers: HeaderMap,
    body: Body,
) -> Result<Response, PageFailure> {
    let typed: Typed = form(body).await?;
    visitor.is_own_form(&typed.token)?;
    if let Some(secret) = app.cookie_of(&headers) {
        let secret = secret.to_owned();
        app.on_writer(move |library| Ok(library.end_session(&secret)?)).await?;
    }
    let mut response = to("/sign-in");
    if let Ok(cookie) = ended_cookie(&app).parse() {
        response.headers_mut().insert(header::SET_COOKIE, cookie);
    }
    Ok(response)
}

/// `GET /account`
pub(super) async fn own(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
) -> Result<Response, PageFailure> {
    Ok(html(StatusCode::OK, &own_page(&app, &visitor).await?))
}

async fn own_page(app: &Arc<App>, visitor: &Visitor) -> Result<AccountPage, Failure> {
    let holder = visitor.account()?.clone();
    let name = holder.name.clone();
    let tokens = app.read(move |library| Ok(library.access_tokens(Some(&name))?)).await?;
    Ok(AccountPage {
        frame: Frame::new(app, visitor, "Your account", "/account"),
        role: holder.role.as_str(),
        duties: duties(holder.role),
        token: visitor.own_token.clone().unwrap_or_default(),
        tokens: tokens
            .iter()
            .map(|token| format!("{}, until {}", token.label, moment(token.expires)))
            .collect(),
        least: accounts::LEAST_PASSWORD,
        ..AccountPage::default()
    })
}

/// `POST /account/password`: another password for whoever knows the old one. All sessions end.
pub(super) async fn own_password(
    State(app): State<Arc<App>>,
    ConnectInfo(client): ConnectInfo<SocketAddr>,
    headers: HeaderMap,
    Extension(visitor): Extension<Visitor>,
    body: Body,
) -> Result<Response, PageFailure> {
    let typed: Typed = form(body).await?;
    visitor.is_own_form(&typed.token)?;
    let name = visitor.account()?.name.clone();
    let refused = if !app.admits_sign_in(client_of(&app, client, &headers)) {
        Some(Failure::usage("rate", "too many passwords from this machine").hint("wait a minute"))
    } else if typed.new_password != typed.again {
        Some(Failure::usage("password", "the two new passwords differ").hint("type the same one twice"))
    } else if app.sign_in(name.clone(), typed.password).await?.is_none() {
        Some(Failure::usage("sign-in", "the old password is not right"))
    } else {
        let change = app.change(&visitor, "", "a new password of one's own");
        app.hash_on_writer(move |library| Ok(accounts::reset(library, &name, &typed.new_password, &change)?))
            .await
            .err()
    };
    match refused {
        None => Ok(to("/sign-in")),
        Some(failure) => {
            let page = AccountPage {
                problem: Some(Problem::new(&failure, |_| String::new())),
                ..own_page(&app, &visitor).await?
            };
            Ok(html(StatusCode::BAD_REQUEST, &page))
        }
    }
}

/// `GET /accounts`
pub(super) async fn all(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
) -> Result<Response, PageFailure> {
    let accounts = app.read(|library| Ok(library.accounts()?)).await?;
    let now = OffsetDateTime::now_utc().unix_timestamp();
    let page = AccountsPage {
        frame: Frame::new(&app, &visitor, "Accounts", "/account"),
        token: visitor.own_token.clone().unwrap_or_default(),
        roles: Role::WORDS.to_vec(),
        accounts: accounts
            .into_iter()
            .map(|account| AccountRow {
                name: account.name,
                role: account.role.as_str(),
                tokens: account.n_tokens,
                locked: (account.locked_until)
                    .filter(|until| now < *until)
                    .map(moment)
                    .unwrap_or_default(),
            })
            .collect(),
    };
    Ok(html(StatusCode::OK, &page))
}

/// `POST /accounts/role`
pub(super) async fn set_role(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    body: Body,
) -> Result<Response, PageFailure> {
    let typed: Typed = form(body).await?;
    let role = Role::from_word(&typed.role).ok_or_else(|| Failure::usage("unknown-role", "there is no such role"))?;
    change_account(&app, &visitor, &typed, move |library, name, change| {
        library.set_role(name, role, change).map(|_| ())
    })
    .await
}

/// `POST /accounts/unlock`
pub(super) async fn unlock(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    body: Body,
) -> Result<Response, PageFailure> {
    let typed: Typed = form(body).await?;
    change_account(&app, &visitor, &typed, |library, name, change| {
        library.unlock_account(name, change).map(|_| ())
    })
    .await
}

async fn change_account(
    app: &Arc<App>,
    visitor: &Visitor,
    typed: &Typed,
    run: impl FnOnce(&mut Library, &str, &crate::library::Change) -> Result<(), crate::library::LibraryError>
    + Send
    + 'static,
) -> Result<Response, PageFailure> {
    visitor.is_own_form(&typed.token)?;
    let change = app.change(visitor, "", "on the page of accounts");
    let name = typed.name.clone();
    app.on_writer(move |library| Ok(run(library, &name, &change)?)).await?;
    Ok(to("/accounts"))
}

/// Where to go after a sign-in: a path of this server and nothing else.
fn own_path(next: &str) -> &str {
    let is_own = next.starts_with('/')
        && !next.starts_with("//")
        && next.bytes().all(|b| b.is_ascii_graphic() && b != b'\\')
        && !next.starts_with("/sign-");
    if is_own { next } else { "/" }
}

/// Sends a browser to another page of this server.
pub(super) fn to(path: &str) -> Response {
    (StatusCode::SEE_OTHER, [(header::LOCATION, path.to_owned())]).into_response()
}

#[cfg(test)]
mod tests {
    use super::own_path;

    #[test]
    fn a_sign_in_leads_nowhere_else() {
        for (next, path) in [
            ("/review?x=1", "/review?x=1"),
            ("", "/"),
            ("//example.org", "/"),
            ("/\\example.org", "/"),
            ("https://example.org/", "/"),
            ("/a\r\nSet-Cookie: x", "/"),
            ("/sign-out", "/"),
        ] {
            assert_eq!(own_path(next), path, "{next}");
        }
    }
}
