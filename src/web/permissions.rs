//! What each route does, so that the guard can hold it against the role of who asks. This is the one place where routes and
//! roles meet; what a role may do stands in [`crate::tasks::accounts::MAY`].

use crate::library::Role;
use crate::tasks::accounts::{Act, may};
use axum::http::Method;

/// What requests with a body do, by the route as it is declared. One that does not stand here is refused to every account.
const POSTS: [(&str, Needs); 21] = [
    ("/sign-in", Needs::Nothing),
    ("/sign-out", Needs::Account),
    ("/account/password", Needs::Account),
    ("/accounts/role", Needs::Act(Act::Administer)),
    ("/accounts/unlock", Needs::Act(Act::Administer)),
    ("/read", Needs::Act(Act::Read)),
    ("/limits", Needs::Act(Act::Read)),
    ("/batch", Needs::Act(Act::Read)),
    // Keeping what was reduced asks for more, as every write does.
    ("/reduce", Needs::Act(Act::Read)),
    // A check before one's own measurement is any user's business; what the register holds is the keeper's.
    ("/instruments/{id}/checks", Needs::Act(Act::Contribute)),
    ("/instruments/{id}/strike", Needs::Act(Act::KeepInstruments)),
    ("/register/{kind}", Needs::Act(Act::KeepInstruments)),
    ("/equipment/{id}", Needs::Act(Act::KeepInstruments)),
    ("/equipment/{id}/loan", Needs::Act(Act::KeepInstruments)),
    ("/equipment/{id}/return", Needs::Act(Act::KeepInstruments)),
    ("/equipment/{id}/retire", Needs::Act(Act::KeepInstruments)),
    ("/entries", Needs::Act(Act::Contribute)),
    ("/entries/{id}", Needs::Act(Act::Curate)),
    ("/review/{id}", Needs::Act(Act::Contribute)),
    ("/api/check", Needs::Act(Act::Read)),
    ("/api/read", Needs::Act(Act::Read)),
];

/// What looking at a page needs, where that is not [`Act::Read`].
const GETS: [(&str, Needs); 5] = [
    ("/sign-in", Needs::Nothing),
    ("/style.css", Needs::Nothing),
    ("/healthz", Needs::Nothing),
    ("/account", Needs::Account),
    ("/accounts", Needs::Act(Act::Administer)),
];

/// What a request needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Needs {
    /// Not even an account.
    Nothing,
    /// Any account.
    Account,
    /// An account whose role may do this.
    Act(Act),
    /// The route stands in no table: nobody may.
    Unknown,
}

impl Needs {
    /// What a request needs; `route` is the route as it is declared, none where there is none of that address.
    pub(super) fn of(method: &Method, route: Option<&str>) -> Self {
        let Some(route) = route else {
            return Self::Account;
        };
        let of = |table: &[(&str, Self)]| table.iter().find(|(path, _)| *path == route).map(|(_, needs)| *needs);
        if method == Method::POST {
            of(&POSTS).unwrap_or(Self::Unknown)
        } else {
            of(&GETS).unwrap_or(Self::Act(Act::Read))
        }
    }

    /// Whether somebody with a role may send it; none is somebody without an account.
    pub(super) fn lets(self, role: Option<Role>) -> bool {
        match (self, role) {
            (Self::Nothing, _) | (Self::Account, Some(_)) => true,
            (Self::Act(act), Some(role)) => may(role, act),
            (Self::Unknown, _) | (_, None) => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    /// The routes that the sources declare with a handler of bodies.
    fn declared() -> Vec<String> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/web");
        let mut posts = Vec::new();
        for file in std::fs::read_dir(folder).unwrap() {
            let file = file.unwrap().path();
            if file.extension().is_none_or(|ending| ending != "rs") || file.ends_with("permissions.rs") {
                continue;
            }
            let text = std::fs::read_to_string(&file).unwrap();
            for declared in text.split(".route(").skip(1) {
                let path = declared.split('"').nth(1).unwrap().to_owned();
                // Up to the end of the call.
                let mut open = 1;
                let end = declared.find(|c| {
                    open += i32::from(c == '(') - i32::from(c == ')');
                    open == 0
                });
                if declared[..end.unwrap()].contains("post(") {
                    posts.push(path);
                }
            }
        }
        posts
    }

    #[test]
    fn every_route_that_takes_a_body_stands_in_the_table() {
        let declared = declared();
        assert!(declared.len() > 5, "{declared:?}");
        for path in &declared {
            assert!(
                POSTS.iter().any(|(known, _)| known == path),
                "{path} is not in the table"
            );
        }
    }

    #[test]
    fn who_has_no_account_may_only_sign_in() {
        for (path, needs) in POSTS.iter().chain(&GETS) {
            let is_open = ["/sign-in", "/style.css", "/healthz"].contains(path);
            assert_eq!(needs.lets(None), is_open, "{path}");
        }
        assert!(!Needs::of(&Method::GET, Some("/")).lets(None));
        assert!(!Needs::of(&Method::GET, None).lets(None));
        for role in Role::ALL {
            assert!(!Needs::of(&Method::POST, Some("/nowhere")).lets(Some(role)), "{role}");
        }
    }
}
