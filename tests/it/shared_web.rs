//! The server for several people: who must sign in, what each role may do, encryption, and how sessions and tokens end.

use biot::library::{Access, Change, Library, Role};
use biot::tasks::accounts;
use rustls::pki_types::ServerName;
use rustls::{ClientConfig, ClientConnection, RootCertStore, StreamOwned};
use std::fmt::Write as _;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::Arc;
use std::time::Duration;
use tempfile::TempDir;

const PASSWORD: &str = "a dozen letters";

/// A library with one entry and an account for each role, named like the role.
fn library_with_accounts(folder: &Path) -> PathBuf {
    let path = folder.join("library.biot");
    let mut library = Library::create(&path, &Change::now("A. First", "test")).unwrap();
    for role in Role::ALL {
        accounts::add(&mut library, role.as_str(), role, PASSWORD, &Change::now("root", "")).unwrap();
    }
    drop(library);
    let added = biot(
        &path,
        &[
            "add",
            "(R)-invented acid",
            "--new-compound",
            "--text",
            "[α]D20 −61.2 (c 1.0, EtOH)",
            "--by",
            "A. First",
            "--citation",
            "Invented J. 1 (2020) 12",
        ],
    );
    assert!(added.status.success(), "{}", String::from_utf8_lossy(&added.stderr));
    path
}

fn biot(library: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_biot"))
        .args(arguments)
        .env("BIOT_LIBRARY", library)
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

/// A server that is ended with the test.
struct Server {
    child: Child,
    scheme: String,
    address: SocketAddr,
    library: PathBuf,
    /// The certificate that a client trusts.
    trusted: Option<rustls::pki_types::CertificateDer<'static>>,
    _folder: TempDir,
}

/// What came back.
#[derive(Debug)]
struct Answer {
    status: u16,
    head: String,
    body: String,
}

impl Answer {
    fn header(&self, name: &str) -> Option<&str> {
        self.head.lines().find_map(|line| {
            let (key, value) = line.split_once(": ")?;
            key.eq_ignore_ascii_case(name).then_some(value)
        })
    }
}

/// A browser that is signed in.
struct Browser {
    cookie: String,
    token: String,
}

impl Server {
    fn start(options: &[&str]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let library = library_with_accounts(folder.path());
        Self::start_on(folder, library, options, None)
    }

    /// With a certificate made for this test.
    fn encrypted() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let library = library_with_accounts(folder.path());
        let made = rcgen::generate_simple_self_signed(vec!["lab.example".to_owned()]).unwrap();
        let (certificate, key) = (folder.path().join("lab.pem"), folder.path().join("lab.key"));
        std::fs::write(&certificate, made.cert.pem()).unwrap();
        std::fs::write(&key, made.signing_key.serialize_pem()).unwrap();
        let options = [
            "--certificate",
            certificate.to_str().unwrap(),
            "--key",
            key.to_str().unwrap(),
            "--name",
            "lab.example",
        ];
        let trusted = made.cert.der().clone();
        Self::start_on(folder, library, &options, Some(trusted))
    }

    fn start_on(
        folder: TempDir,
        library: PathBuf,
        options: &[&str],
        trusted: Option<rustls::pki_types::CertificateDer<'static>>,
    ) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_biot"))
            .args(["serve", "--listen", "127.0.0.1:0", "--rate", "0", "--by", "nobody"])
            .args(options)
            .env("BIOT_LIBRARY", &library)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap())
            .read_line(&mut line)
            .unwrap();
        let (scheme, address) = line
            .trim()
            .strip_prefix("listening on ")
            .and_then(|address| address.split_once("://"))
            .expect(&line);
        Self {
            scheme: scheme.to_owned(),
            address: address.parse().unwrap(),
            child,
            library,
            trusted,
            _folder: folder,
        }
    }

    fn raw(&self, bytes: &[u8]) -> Answer {
        let tcp = TcpStream::connect(self.address).unwrap();
        tcp.set_read_timeout(Some(Duration::from_mins(1))).unwrap();
        let mut answer = Vec::new();
        if let Some(trusted) = &self.trusted {
            let mut roots = RootCertStore::empty();
            roots.add(trusted.clone()).unwrap();
            let config = ClientConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
                .with_safe_default_protocol_versions()
                .unwrap()
                .with_root_certificates(roots)
                .with_no_client_auth();
            let name = ServerName::try_from("lab.example").unwrap();
            let mut stream = StreamOwned::new(ClientConnection::new(Arc::new(config), name).unwrap(), tcp);
            stream.write_all(bytes).unwrap();
            let _ = stream.read_to_end(&mut answer);
        } else {
            let mut tcp = tcp;
            let _ = tcp.write_all(bytes);
            let _ = tcp.read_to_end(&mut answer);
        }
        let answer = String::from_utf8_lossy(&answer).into_owned();
        let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
        Answer {
            status: head
                .split(' ')
                .nth(1)
                .and_then(|status| status.parse().ok())
                .unwrap_or(0),
            head: head.to_owned(),
            body: body.to_owned(),
        }
    }

    fn ask(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
        let mut request = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        if !headers.iter().any(|(name, _)| *name == "Host") {
            let _ = write!(request, "Host: {}\r\n", self.address);
        }
        for (name, value) in headers {
            let _ = write!(request, "{name}: {value}\r\n");
        }
        let _ = write!(request, "Content-Length: {}\r\n\r\n{body}", body.len());
        self.raw(request.as_bytes())
    }

    fn get(&self, path: &str, cookie: &str) -> Answer {
        self.ask("GET", path, &[("Cookie", cookie)], "")
    }

    fn form(&self, path: &str, cookie: &str, fields: &[(&str, &str)]) -> Answer {
        self.form_from(path, cookie, fields, &[])
    }

    fn form_from(&self, path: &str, cookie: &str, fields: &[(&str, &str)], headers: &[(&str, &str)]) -> Answer {
        let mut body = String::new();
        for (name, value) in fields {
            let _ = write!(body, "{name}=");
            for byte in value.bytes() {
                let _ = write!(body, "%{byte:02X}");
            }
            body.push('&');
        }
        let mut all = vec![
            ("Cookie", cookie),
            ("Content-Type", "application/x-www-form-urlencoded"),
        ];
        all.extend_from_slice(headers);
        self.ask("POST", path, &all, &body)
    }

    fn sign_in(&self, name: &str, password: &str) -> Answer {
        self.form(
            "/sign-in",
            "",
            &[("name", name), ("password", password), ("next", "/review")],
        )
    }

    fn browser(&self, name: &str) -> Browser {
        let answer = self.sign_in(name, PASSWORD);
        assert_eq!(answer.status, 303, "{}", answer.body);
        assert_eq!(answer.header("location"), Some("/review"));
        let cookie = answer.header("set-cookie").unwrap();
        assert!(
            cookie.contains("; HttpOnly") && cookie.contains("; SameSite=Strict"),
            "{cookie}"
        );
        let cookie = cookie.split(';').next().unwrap().to_owned();
        let page = self.get("/account", &cookie);
        assert_eq!(page.status, 200, "{}", page.body);
        let token = page.body.split("name=\"token\" value=\"").nth(1).unwrap();
        Browser {
            token: token.split('"').next().unwrap().to_owned(),
            cookie,
        }
    }

    fn cli(&self, arguments: &[&str]) -> Output {
        let output = biot(&self.library, arguments);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        output
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn it_refuses_to_start_beyond_loopback_without_accounts_encryption_and_a_name() {
    let folder = tempfile::tempdir().unwrap();
    let without = folder.path().join("without.biot");
    drop(Library::create(&without, &Change::now("a", "")).unwrap());
    let with = library_with_accounts(folder.path());
    let made = rcgen::generate_simple_self_signed(vec!["lab.example".to_owned()]).unwrap();
    let other = rcgen::generate_simple_self_signed(vec!["lab.example".to_owned()]).unwrap();
    let file = |name: &str, text: String| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let certificate = file("lab.pem", made.cert.pem());
    let key = file("lab.key", made.signing_key.serialize_pem());
    let other_key = file("other.key", other.signing_key.serialize_pem());
    let empty = file("empty.pem", String::new());
    let encrypted = ["--certificate", &certificate, "--key", &key];
    let cases: [(&Path, &str, &[&str], &str); 10] = [
        (&with, "0.0.0.0:0", &[], "beyond-loopback"),
        (&with, "0.0.0.0:0", &["--accounts"], "beyond-loopback"),
        (&without, "127.0.0.1:0", &["--accounts"], "no-accounts"),
        (&without, "0.0.0.0:0", &encrypted, "no-accounts"),
        (
            &without,
            "127.0.0.1:0",
            &["--behind-proxy", "--name", "lab.example"],
            "no-accounts",
        ),
        (&with, "127.0.0.1:0", &["--behind-proxy"], "no-name"),
        (&with, "0.0.0.0:0", &encrypted, "no-name"),
        (&with, "127.0.0.1:0", &["--certificate", &certificate], "usage"),
        (
            &with,
            "127.0.0.1:0",
            &["--certificate", &certificate, "--key", &other_key],
            "certificate",
        ),
        (
            &with,
            "127.0.0.1:0",
            &["--certificate", &empty, "--key", &key],
            "certificate",
        ),
    ];
    for (library, listen, options, code) in cases {
        let mut arguments = vec!["serve", "--json", "--listen", listen];
        arguments.extend_from_slice(options);
        let output = biot(library, &arguments);
        let out = String::from_utf8_lossy(&output.stdout);
        assert_eq!(output.status.code(), Some(2), "{options:?}: {out}");
        assert!(out.contains(&format!("\"code\": \"{code}\"")), "{options:?}: {out}");
    }
}

#[cfg(unix)]
#[test]
fn it_encrypts_with_a_certificate_and_refuses_plain_requests_there() {
    let mut server = Server::encrypted();
    assert_eq!(server.scheme, "https");
    let health = server.get("/healthz", "");
    assert_eq!((health.status, health.body.as_str()), (200, "ok\n"));
    let signed_in = server.sign_in("reader", PASSWORD);
    let cookie = signed_in.header("set-cookie").unwrap();
    // The prefix and its conditions: RFC 6265bis, section 4.1.3.2.
    assert!(
        cookie.starts_with("__Host-biot=") && cookie.contains("; Secure") && cookie.contains("Path=/;"),
        "{cookie}"
    );
    let named = server.ask(
        "GET",
        "/",
        &[("Host", "lab.example"), ("Cookie", cookie.split(';').next().unwrap())],
        "",
    );
    assert_eq!(named.status, 200, "{}", named.body);
    assert_eq!(server.ask("GET", "/", &[("Host", "other.example")], "").status, 421);
    let origin = |origin: &str| {
        server
            .form_from(
                "/sign-in",
                "",
                &[("name", "x"), ("password", "y")],
                &[("Origin", origin)],
            )
            .status
    };
    let own = format!("https://{}", server.address);
    assert_eq!(
        (origin(&own), origin("https://lab.example")),
        (403, 403),
        "the password is wrong"
    );
    let answer = server.form_from(
        "/sign-in",
        "",
        &[("name", "reader"), ("password", PASSWORD)],
        &[("Origin", &own)],
    );
    assert_eq!(answer.status, 303);
    let plain = format!("http://{}", server.address);
    for forged in [plain.as_str(), "https://other.example", "null"] {
        let answer = server.form_from(
            "/sign-in",
            "",
            &[("name", "reader"), ("password", PASSWORD)],
            &[("Origin", forged)],
        );
        assert!(
            answer.status == 403 && answer.header("set-cookie").is_none(),
            "{forged}"
        );
    }
    // Without encryption the same port says nothing that a browser would read.
    let mut stream = TcpStream::connect(server.address).unwrap();
    stream.set_read_timeout(Some(Duration::from_mins(1))).unwrap();
    stream
        .write_all(b"GET /healthz HTTP/1.1\r\nHost: lab.example\r\n\r\n")
        .unwrap();
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    assert!(!answer.starts_with(b"HTTP"), "{}", String::from_utf8_lossy(&answer));
    let ended = Command::new("kill")
        .args(["-TERM", &server.child.id().to_string()])
        .status()
        .unwrap();
    assert!(ended.success());
    assert_eq!(server.child.wait().unwrap().code(), Some(0));
}

#[test]
fn each_role_may_do_what_the_table_says_and_nothing_else() {
    let server = Server::start(&["--accounts"]);
    let json = ("Content-Type", "application/json");
    // Method, path, who may: r reader, c contributor, l librarian, k keeper of instruments, a administrator.
    let routes = [
        ("GET", "/", "rclka"),
        ("GET", "/compounds/1", "rclka"),
        ("GET", "/check?compound=1&value=-61", "rclka"),
        ("GET", "/read", "rclka"),
        ("GET", "/report/check/report.html?compound=1&value=-61", "rclka"),
        ("GET", "/report/check/report.tex?compound=1&value=-61", "rclka"),
        ("GET", "/report/kept/report.html?name=none", "rclka"),
        ("GET", "/report/measurement/1/report.html", "rclka"),
        ("GET", "/review", "rclka"),
        ("GET", "/audit", "rclka"),
        ("GET", "/entries/1", "rclka"),
        ("GET", "/account", "rclka"),
        ("GET", "/accounts", "a"),
        ("GET", "/api/search?q=acid", "rclka"),
        ("POST", "/api/read", "rclka"),
        ("POST", "/read", "rclka"),
        ("POST", "/entries", "clka"),
        ("POST", "/review/1", "clka"),
        ("POST", "/entries/1", "la"),
        ("GET", "/instruments", "rclka"),
        ("GET", "/register/cell", "rclka"),
        // A check before one's own measurement is any user's business, what the register holds is the keeper's.
        ("POST", "/instruments/1/checks", "clka"),
        ("POST", "/instruments/1/strike", "ka"),
        ("POST", "/register/cell", "ka"),
        ("POST", "/equipment/1", "ka"),
        ("POST", "/equipment/1/loan", "ka"),
        ("POST", "/equipment/1/return", "ka"),
        ("POST", "/equipment/1/retire", "ka"),
        ("POST", "/accounts/role", "a"),
        ("POST", "/accounts/unlock", "a"),
    ];
    for (role, letter) in Role::ALL.into_iter().zip("rclka".chars()) {
        let browser = server.browser(role.as_str());
        for (method, path, who) in routes {
            let answer = if path.starts_with("/api/") {
                server.ask(method, path, &[json, ("Cookie", &browser.cookie)], r#"{"text": ""}"#)
            } else if method == "GET" {
                server.get(path, &browser.cookie)
            } else {
                server.form(path, &browser.cookie, &[("token", &browser.token), ("name", "nobody")])
            };
            let is_refused = answer.status == 403;
            assert_eq!(
                !is_refused,
                who.contains(letter),
                "{role} {method} {path}: {} {}",
                answer.status,
                answer.body
            );
            assert!(answer.status < 500, "{role} {method} {path}: {}", answer.body);
            // Without a session nothing of it is seen.
            if letter == 'r' {
                let stranger = if path.starts_with("/api/") {
                    server.ask(method, path, &[json], r#"{"text": ""}"#)
                } else if method == "GET" {
                    server.get(path, "")
                } else {
                    server.form(path, "", &[("token", &browser.token)])
                };
                let is_page = method == "GET" && !path.starts_with("/api/");
                assert_eq!(stranger.status, if is_page { 303 } else { 401 }, "{method} {path}");
                assert!(!stranger.body.contains("invented acid"), "{method} {path}");
                if is_page {
                    assert!(
                        stranger.header("location").unwrap().starts_with("/sign-in?next=/"),
                        "{path}"
                    );
                }
            }
        }
    }
}

#[test]
fn what_is_stored_carries_the_account_whatever_the_form_says() {
    let server = Server::start(&["--accounts"]);
    let browser = server.browser("contributor");
    let fields = [
        ("token", browser.token.as_str()),
        ("printed", "[α]D25 −41.8 (c 1.04, CHCl3)"),
        ("compound", "(R)-invented acid"),
        ("citation", "Invented J. 2"),
        ("by", "Somebody Else"),
        ("kind", "specific"),
        ("sign", "stated"),
        ("value", "−41.8"),
        ("line", "D"),
        ("temperature", "25"),
        ("solvent", "CHCl3"),
        ("concentration", "1.04 g/100mL"),
    ];
    let stored = server.form("/entries", &browser.cookie, &fields);
    assert_eq!(stored.status, 200, "{}", stored.body);
    let history = Library::open(&server.library, Access::Read)
        .unwrap()
        .newest_history(5)
        .unwrap();
    let added = history.iter().find(|line| line.entity == "entry").unwrap();
    assert_eq!(added.who, "contributor");
    // Without the token of the session's forms nothing is stored, and another session's token is none.
    let other = server.browser("librarian");
    for token in ["", "00", other.token.as_str()] {
        let mut forged = fields;
        forged[0].1 = token;
        assert_eq!(server.form("/entries", &browser.cookie, &forged).status, 403, "{token}");
    }
    // Their own second keying is refused, and a contributor does not confirm.
    let key = |browser: &Browser, entry: &str| {
        let text = "[α]D25 −41.8 (c 1.04, CHCl3)";
        let fields = [
            ("token", browser.token.as_str()),
            ("text", text),
            ("confirm", "on"),
            ("by", "X"),
        ];
        server.form(&format!("/review/{entry}"), &browser.cookie, &fields)
    };
    assert_eq!(key(&browser, "2").status, 400);
    let keeper = server.browser("instrument-keeper");
    let agreed = key(&keeper, "2");
    assert!(agreed.body.contains("still a draft"), "{}", agreed.body);
    let confirmed = key(&other, "2");
    assert!(confirmed.body.contains("is confirmed"), "{}", confirmed.body);
}

#[test]
fn a_failed_sign_in_tells_nothing_and_locks_after_a_while() {
    let server = Server::start(&["--accounts"]);
    let wrong = server.sign_in("reader", "not the password");
    let unknown = server.sign_in("nobody at all", "not the password");
    assert_eq!((wrong.status, unknown.status), (403, 403));
    let without_name = |answer: &Answer, name: &str| answer.body.replace(name, "NAME");
    assert_eq!(without_name(&wrong, "reader"), without_name(&unknown, "nobody at all"));
    assert!(wrong.header("set-cookie").is_none() && unknown.header("set-cookie").is_none());
    // The account waits after failures in a row; the right password is then refused with the same words.
    let mut library = Library::open(&server.library, Access::Write).unwrap();
    let found = library.credentials("reader").unwrap().unwrap();
    let now = Change::now("", "").at.unix_timestamp();
    for _ in 0..accounts::FAILURES_LET_PASS {
        accounts::count_failure(&mut library, &found, now).unwrap();
    }
    let locked = server.sign_in("reader", PASSWORD);
    assert_eq!(locked.status, 403);
    assert_eq!(without_name(&locked, "reader"), without_name(&unknown, "nobody at all"));
    let administrator = server.browser("administrator");
    let page = server.get("/accounts", &administrator.cookie);
    assert!(page.body.contains("Unlock reader"), "{}", page.body);
    let fields = [("token", administrator.token.as_str()), ("name", "reader")];
    assert_eq!(
        server.form("/accounts/unlock", &administrator.cookie, &fields).status,
        303
    );
    let reader = server.browser("reader");
    // One's role changes under one's feet.
    let fields = [
        ("token", administrator.token.as_str()),
        ("name", "reader"),
        ("role", "administrator"),
    ];
    assert_eq!(server.get("/accounts", &reader.cookie).status, 403);
    assert_eq!(
        server.form("/accounts/role", &administrator.cookie, &fields).status,
        303
    );
    assert_eq!(server.get("/accounts", &reader.cookie).status, 200);
}

#[test]
fn sign_ins_from_one_machine_are_slowed() {
    let server = Server::start(&["--behind-proxy", "--name", "lab.example"]);
    let from = |client: &str| {
        let headers = [
            ("Host", "lab.example"),
            ("X-Forwarded-For", client),
            ("Origin", "https://lab.example"),
        ];
        server
            .form_from("/sign-in", "", &[("name", "nobody"), ("password", "x")], &headers)
            .status
    };
    // What a client claims before the proxy's own word does not count.
    let statuses: Vec<u16> = (0..14).map(|n| from(&format!("198.51.100.{n}, 192.0.2.1"))).collect();
    assert!(statuses[..10].iter().all(|status| *status == 403), "{statuses:?}");
    assert!(statuses.contains(&429), "{statuses:?}");
    assert_eq!(from("192.0.2.2"), 403, "another machine goes on");
}

#[test]
fn sessions_end_by_signing_out_and_by_a_new_password() {
    let server = Server::start(&["--accounts"]);
    let (first, second) = (server.browser("reader"), server.browser("reader"));
    assert_eq!(
        server
            .form("/sign-out", &first.cookie, &[("token", &second.token)])
            .status,
        403,
        "not its own form"
    );
    let out = server.form("/sign-out", &first.cookie, &[("token", &first.token)]);
    assert_eq!(out.status, 303);
    assert!(out.header("set-cookie").unwrap().contains("Max-Age=0"));
    assert_eq!(server.get("/", &first.cookie).status, 303);
    assert_eq!(server.get("/", &second.cookie).status, 200);
    // On the command line.
    let file = server.library.with_file_name("new.txt");
    std::fs::write(&file, "another dozen letters\n").unwrap();
    server.cli(&["account", "reset", "reader", "--password-file", file.to_str().unwrap()]);
    assert_eq!(server.get("/", &second.cookie).status, 303);
    assert_eq!(server.sign_in("reader", PASSWORD).status, 403);
    // On the page, by whoever knows the old one.
    let browser = server.browser("librarian");
    let change = |old: &str, new: &str, again: &str| {
        let fields = [
            ("token", browser.token.as_str()),
            ("password", old),
            ("new_password", new),
            ("again", again),
        ];
        server.form("/account/password", &browser.cookie, &fields).status
    };
    assert_eq!(change("wrong", "one more password", "one more password"), 400);
    assert_eq!(change(PASSWORD, "one more password", "one more"), 400);
    assert_eq!(change(PASSWORD, "short", "short"), 400);
    assert_eq!(server.get("/", &browser.cookie).status, 200);
    assert_eq!(change(PASSWORD, "one more password", "one more password"), 303);
    assert_eq!(server.get("/", &browser.cookie).status, 303);
    assert_eq!(server.sign_in("librarian", "one more password").status, 303);
}

#[test]
fn programs_ask_with_a_token_that_can_be_revoked() {
    let server = Server::start(&["--accounts"]);
    let made = server.cli(&["account", "token", "add", "reader", "--label", "bench", "--json"]);
    let made: serde_json::Value = serde_json::from_slice(&made.stdout).unwrap();
    let bearer = format!("Bearer {}", made["token"].as_str().unwrap());
    let ask = |method: &str, path: &str, bearer: &str| {
        let headers = [("Authorization", bearer), ("Content-Type", "application/json")];
        server.ask(method, path, &headers, r#"{"compound": "1", "value": -61}"#)
    };
    let checked = ask("POST", "/api/check", &bearer);
    assert_eq!(checked.status, 200, "{}", checked.body);
    assert!(checked.header("access-control-allow-origin").is_none());
    assert_eq!(
        ask("OPTIONS", "/api/check", &bearer).status,
        405,
        "no browser of another site is told that it may"
    );
    assert_eq!(ask("GET", "/review", &bearer).status, 303, "pages are for people");
    let stranger = ask("POST", "/api/check", "Bearer biot_00");
    assert_eq!(
        (stranger.status, stranger.header("www-authenticate")),
        (401, Some("Bearer"))
    );
    server.cli(&["account", "token", "revoke", &made["id"].to_string()]);
    assert_eq!(ask("POST", "/api/check", &bearer).status, 401);
}

#[test]
fn a_read_only_server_takes_sign_ins_and_stores_nothing() {
    let server = Server::start(&["--accounts", "--read-only"]);
    let browser = server.browser("administrator");
    let page = server.get("/entries/1", &browser.cookie);
    assert!(
        page.body.contains("read-only") && !page.body.contains("<button>Store"),
        "{}",
        page.body
    );
    let fields = [
        ("token", browser.token.as_str()),
        ("revision", "0"),
        ("why", "x"),
        ("value", "-1"),
    ];
    assert_eq!(server.form("/entries/1", &browser.cookie, &fields).status, 403);
    assert!(server.get("/entries/1", &browser.cookie).body.contains("61.2"));
}
