//! The running server on loopback: its pages, its JSON interface, and what it refuses.

#![allow(
    clippy::format_push_string,
    clippy::format_collect,
    reason = "requests are put together as they are read"
)]

use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// A server on a library of its own; it is ended with the test.
pub(super) struct Server {
    pub(super) child: Child,
    pub(super) address: SocketAddr,
    start: String,
    pub(super) folder: TempDir,
}

/// What came back.
#[derive(Debug)]
pub(super) struct Answer {
    pub(super) status: u16,
    pub(super) head: String,
    pub(super) body: String,
}

impl Answer {
    pub(super) fn header(&self, name: &str) -> Option<&str> {
        self.head.lines().find_map(|line| {
            let (key, value) = line.split_once(": ")?;
            key.eq_ignore_ascii_case(name).then_some(value)
        })
    }

    fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {}", self.body))
    }
}

impl Server {
    pub(super) fn start() -> Self {
        Self::start_with(&[])
    }

    pub(super) fn start_with(options: &[&str]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let library = folder.path().join("library.biot");
        // A few entries are enough; the starter library would be loaded for each test.
        let made = biot::library::Library::create(&library, &biot::library::Change::now("A. First", "test")).unwrap();
        drop(made);
        for (name, printed) in [
            ("(R)-invented acid", "[α]D20 −61.2 (c 1.0, EtOH)"),
            ("(S)-invented acid", "[α]D20 +60.9 (c 1.0, EtOH)"),
        ] {
            let added = Command::new(env!("CARGO_BIN_EXE_biot"))
                .args(["add", name, "--new-compound", "--text", printed, "--by", "A. First"])
                .args(["--citation", "Invented J. 1 (2020) 12", "--doi", "10.5555/invented"])
                .env("BIOT_LIBRARY", &library)
                .output()
                .unwrap();
            assert!(added.status.success(), "{}", String::from_utf8_lossy(&added.stderr));
        }
        let mut child = Command::new(env!("CARGO_BIN_EXE_biot"))
            .args(["serve", "--listen", "127.0.0.1:0", "--by", "B. Second"])
            .args(if options.contains(&"--rate") {
                &[][..]
            } else {
                &["--rate", "0"][..]
            })
            .args(options)
            .env("BIOT_LIBRARY", &library)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap())
            .read_line(&mut line)
            .unwrap();
        let address = line
            .trim()
            .strip_prefix("listening on http://")
            .expect(&line)
            .parse()
            .unwrap();
        let mut told = String::new();
        if !options.contains(&"--read-only") {
            let mut errors = BufReader::new(child.stderr.take().unwrap());
            while !told.contains("token=") {
                assert_ne!(errors.read_line(&mut told).unwrap(), 0, "{told}");
            }
        }
        let start = told
            .split("/start?")
            .nth(1)
            .map(|rest| format!("/start?{}", rest.trim()))
            .unwrap_or_default();
        Self {
            child,
            address,
            start,
            folder,
        }
    }

    pub(super) fn raw(&self, bytes: &[u8]) -> Answer {
        let mut stream = TcpStream::connect(self.address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
        // The server may answer and close before it has read everything.
        let _ = stream.write_all(bytes);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        let answer = String::from_utf8_lossy(&answer).into_owned();
        let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
        let status = head
            .split(' ')
            .nth(1)
            .and_then(|status| status.parse().ok())
            .unwrap_or(0);
        Answer {
            status,
            head: head.to_owned(),
            body: body.to_owned(),
        }
    }

    pub(super) fn ask(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
        let mut request = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        if !headers.iter().any(|(name, _)| *name == "Host") {
            request += &format!("Host: {}\r\n", self.address);
        }
        for (name, value) in headers {
            request += &format!("{name}: {value}\r\n");
        }
        if method == "POST" {
            request += &format!("Content-Length: {}\r\n", body.len());
        }
        request += "\r\n";
        request += body;
        self.raw(request.as_bytes())
    }

    pub(super) fn get(&self, path: &str) -> Answer {
        self.ask("GET", path, &[], "")
    }

    fn api(&self, path: &str, body: &str) -> Answer {
        self.ask("POST", path, &[("Content-Type", "application/json")], body)
    }

    /// A browser that may write: its cookie, and the token of its forms.
    pub(super) fn browser(&self) -> (String, String) {
        let started = self.get(&self.start);
        assert_eq!(started.status, 303, "{}", started.head);
        let cookie = started.header("set-cookie").unwrap();
        assert!(
            cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"),
            "{cookie}"
        );
        let cookie = cookie.split(';').next().unwrap().to_owned();
        let page = self.ask("GET", "/entries/1", &[("Cookie", &cookie)], "");
        let token = page.body.split("name=\"token\" value=\"").nth(1).unwrap();
        (cookie, token.split('"').next().unwrap().to_owned())
    }

    /// Stores a value of a new compound, number 3, with a hostile text in the place of its name and source.
    pub(super) fn store_hostile(&self, evil: &str, solvent: &str) {
        let (cookie, token) = self.browser();
        let stored = self.form(
            "/entries",
            &cookie,
            &[
                ("token", &token),
                ("printed", "[α]D20 −5.0 (c 1, EtOH)"),
                ("compound", evil),
                ("new_compound", "on"),
                ("citation", evil),
                ("doi", "10.5555/\"onmouseover=alert(1)"),
                ("by", evil),
                ("kind", "specific"),
                ("sign", "stated"),
                ("value", "−5.0"),
                ("line", "D"),
                ("temperature", "20"),
                ("solvent", solvent),
            ],
        );
        assert_eq!(stored.status, 200, "{}", stored.body);
    }

    pub(super) fn form(&self, path: &str, cookie: &str, fields: &[(&str, &str)]) -> Answer {
        let encoded = |text: &str| -> String { text.bytes().map(|byte| format!("%{byte:02X}")).collect() };
        let body: Vec<String> = fields
            .iter()
            .map(|(name, value)| format!("{name}={}", encoded(value)))
            .collect();
        let origin = format!("http://{}", self.address);
        self.ask(
            "POST",
            path,
            &[
                ("Cookie", cookie),
                ("Origin", &origin),
                ("Content-Type", "application/x-www-form-urlencoded"),
            ],
            &body.join("&"),
        )
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn every_page_answers_with_the_security_headers() {
    let server = Server::start();
    for path in [
        "/",
        "/?q=invented",
        "/compounds/1",
        "/check",
        "/check?compound=1&value=-61",
        "/read",
        "/review",
        "/review/1",
        "/audit",
        "/entries/1",
        "/style.css",
        "/healthz",
        "/api/openapi.json",
        "/api/search?q=invented",
        "/nowhere",
    ] {
        let answer = server.get(path);
        let expected = if path == "/nowhere" { 404 } else { 200 };
        assert_eq!(answer.status, expected, "{path}: {}", answer.body);
        let policy = answer.header("content-security-policy").unwrap();
        assert!(
            policy.contains("default-src 'none'") && !policy.contains("unsafe"),
            "{path}: {policy}"
        );
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"), "{path}");
        assert_eq!(answer.header("x-frame-options"), Some("DENY"), "{path}");
        assert!(answer.header("access-control-allow-origin").is_none(), "{path}");
        // A strict policy is only kept by pages without scripts, inline styles and outside resources.
        for word in ["<script", "style=\"", "onclick", "src=\"http"] {
            assert!(
                !answer.body.contains(word) || path.starts_with("/api/"),
                "{path} holds {word}"
            );
        }
    }
}

#[test]
fn a_check_over_http_is_the_object_of_the_command_line() {
    let server = Server::start();
    let answer = server.api(
        "/api/check",
        r#"{"compound": "(R)-invented acid", "value": -61.0, "solvent": "EtOH", "conc": "1.0", "temp": 20, "line": "D"}"#,
    );
    assert_eq!(answer.status, 200, "{}", answer.body);
    let result = answer.json();
    let schema: Value = serde_json::from_str(include_str!("../../schema/check_result.schema.json")).unwrap();
    for name in schema["required"].as_array().unwrap() {
        assert!(result.get(name.as_str().unwrap()).is_some(), "{name} is missing");
    }
    assert_eq!(result["measured"]["value"], -61.0);
    let page = server.get("/check?compound=1&value=-61.0&solvent=EtOH&conc=1.0&temp=20&line=D");
    let sentence = result["verdict"]["sentence"].as_str().unwrap();
    assert!(page.body.contains(&sentence.replace('\'', "&#39;")), "{sentence}");
    assert!(page.body.contains("https://doi.org/10.5555/invented"));
}

#[test]
fn errors_over_http_have_the_shape_of_the_command_line() {
    let server = Server::start();
    for (body, status, code) in [
        (r#"{"compound": "no such thing", "value": 1}"#, 404, "unknown-compound"),
        (r#"{"compound": "1"}"#, 400, "measured"),
        (r#"{"compound": "1", "angle": 1.2}"#, 400, "cell"),
        (r#"{"compound": "1", "value": 1.2, "blank": "x"}"#, 400, "field"),
        (
            r#"{"compound": "1", "angle": 1.2, "cell": 100, "conc": 1, "density": 1}"#,
            400,
            "density",
        ),
        (r#"{"compound": "1", "value": "much"}"#, 400, "field"),
        (r#"{"compound": "1", "value": 1, "colour": "red"}"#, 400, "json"),
        (r#"{"compound": "1", "value": [1]}"#, 400, "json"),
        ("{", 400, "json"),
    ] {
        let answer = server.api("/api/check", body);
        assert_eq!(answer.status, status, "{body}: {}", answer.body);
        let error = &answer.json()["error"];
        assert_eq!(error["code"], code, "{body}");
        for field in ["message", "where", "hint", "candidates"] {
            assert!(error.get(field).is_some(), "{field} is missing for {body}");
        }
    }
    assert_eq!(server.get("/api/search").status, 400);
    for limit in ["-1", "99999"] {
        assert_eq!(server.get(&format!("/api/search?q=a&limit={limit}")).status, 400);
    }
    assert_eq!(server.get("/api/nowhere").json()["error"]["code"], "not-found");
}

#[test]
fn the_reader_and_the_search_answer_over_http() {
    let server = Server::start();
    let read = server
        .api("/api/read", r#"{"text": "an oil, [α]D25 −41.8 (c 1.04, CHCl3)."}"#)
        .json();
    assert_eq!(read["statements"][0]["value"], -41.8);
    let hits = server.get("/api/search?q=invented%20acid").json();
    assert_eq!(hits["hits"].as_array().unwrap().len(), 2);
    let description = server.get("/api/openapi.json").json();
    for path in ["/api/check", "/api/read", "/api/search", "/healthz"] {
        assert!(description["paths"].get(path).is_some(), "{path}");
    }
    let text = description.to_string();
    let schemas = description["components"]["schemas"].as_object().unwrap();
    for target in text
        .split("\"$ref\":\"")
        .skip(1)
        .map(|rest| rest.split('"').next().unwrap())
    {
        let name = target.strip_prefix("#/components/schemas/").expect(target);
        assert!(schemas.contains_key(name), "{target} points nowhere");
    }
}

#[test]
fn forged_hosts_and_origins_are_refused() {
    let server = Server::start();
    for host in ["example.org", "127.0.0.1", "127.0.0.1:1", "", "localhost.example.org"] {
        let answer = server.ask("GET", "/", &[("Host", host)], "");
        assert_eq!(answer.status, 421, "{host}");
        assert!(answer.header("content-security-policy").is_some());
    }
    let both = format!(
        "GET / HTTP/1.1\r\nHost: {0}\r\nHost: example.org\r\nConnection: close\r\n\r\n",
        server.address
    );
    assert!(matches!(server.raw(both.as_bytes()).status, 400 | 421));
    let json = ("Content-Type", "application/json");
    for origin in [
        "http://example.org",
        "null",
        "https://127.0.0.1",
        "http://127.0.0.1.example.org",
    ] {
        let answer = server.ask("POST", "/api/read", &[json, ("Origin", origin)], r#"{"text": ""}"#);
        assert_eq!(answer.status, 403, "{origin}");
    }
    let answer = server.ask(
        "POST",
        "/api/read",
        &[json, ("Sec-Fetch-Site", "cross-site")],
        r#"{"text": ""}"#,
    );
    assert_eq!(answer.status, 403);
    // A form of another site cannot say that it is JSON.
    let answer = server.ask(
        "POST",
        "/api/read",
        &[("Content-Type", "text/plain")],
        r#"{"text": ""}"#,
    );
    assert_eq!(answer.status, 400);
    assert_eq!(answer.json()["error"]["code"], "content-type");
    let own = format!("http://{}", server.address);
    assert_eq!(
        server
            .ask("POST", "/api/read", &[json, ("Origin", &own)], r#"{"text": ""}"#)
            .status,
        200
    );
}

#[test]
fn nothing_is_written_without_the_token_of_the_start_and_of_the_form() {
    let server = Server::start();
    let (cookie, token) = server.browser();
    let fields = |token| [("token", token), ("revision", "0"), ("value", "-60"), ("why", "test")];
    assert_eq!(server.form("/entries/1", "", &fields(&token)).status, 403);
    assert_eq!(server.form("/entries/1", &cookie, &fields("")).status, 403);
    assert_eq!(
        server
            .form("/entries/1", &cookie, &fields(&"0".repeat(token.len())))
            .status,
        403
    );
    assert_eq!(server.get("/start?token=").status, 403);
    assert_eq!(server.get("/start?token=00").status, 403);
    assert!(server.get("/entries/1").body.contains("61.2"), "nothing was changed");
}

#[test]
fn a_read_only_server_writes_nothing() {
    let server = Server::start_with(&["--read-only"]);
    assert_eq!(server.get("/start?token=").status, 403);
    let answer = server.form(
        "/entries/1",
        "biot=x",
        &[("token", "x"), ("revision", "1"), ("why", "test")],
    );
    assert_eq!(answer.status, 403);
    assert!(server.get("/entries/1").body.contains("read-only"));
}

#[test]
fn what_was_read_is_stored_with_the_name_of_who_keyed_it() {
    let server = Server::start();
    let (cookie, token) = server.browser();
    let printed = "[α]D25 −41.8 (c 1.04, CHCl3)";
    let answer = server.form(
        "/entries",
        &cookie,
        &[
            ("token", &token),
            ("printed", printed),
            ("compound", "(R)-invented acid"),
            ("citation", "Invented J. 2"),
            ("by", "C. Third"),
            ("kind", "specific"),
            ("sign", "stated"),
            ("value", "−41.9"),
            ("line", "D"),
            ("temperature", "25"),
            ("solvent", "CHCl3"),
            ("concentration", "1.04 g/100mL"),
        ],
    );
    assert_eq!(answer.status, 200, "{}", answer.body);
    let entry = server.get("/entries/3").body;
    assert!(
        entry.contains("C. Third") && entry.contains("−41.9") && entry.contains("CHCl3"),
        "{entry}"
    );
}

#[test]
fn two_librarians_editing_one_entry_get_a_conflict_and_lose_nothing() {
    let server = Server::start();
    let (cookie, token) = server.browser();
    let page = server.ask("GET", "/entries/1", &[("Cookie", &cookie)], "").body;
    let revision = page
        .split("name=\"revision\" value=\"")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap()
        .to_owned();
    let edit = |value: &str, by: &str| {
        server.form(
            "/entries/1",
            &cookie,
            &[
                ("token", &token),
                ("revision", &revision),
                ("by", by),
                ("why", "a slip"),
                ("kind", "specific"),
                ("sign", "stated"),
                ("value", value),
                ("line", "D"),
                ("temperature", "20"),
                ("solvent", "EtOH"),
                ("concentration", "1.0 g/100mL"),
            ],
        )
    };
    assert_eq!(edit("−61.3", "C. Third").status, 200);
    let second = edit("−61.9", "D. Fourth");
    assert_eq!(second.status, 409, "{}", second.body);
    assert!(
        second.body.contains("−61.3") && second.body.contains("−61.9"),
        "both values are shown"
    );
    let now = server.get("/entries/1").body;
    assert!(now.contains("−61.3") && !now.contains("−61.9") && now.contains("C. Third"));
}

#[test]
fn a_second_keying_does_not_show_the_first() {
    let server = Server::start();
    let (cookie, token) = server.browser();
    for path in ["/review", "/review/1"] {
        let page = server.ask("GET", path, &[("Cookie", &cookie)], "").body;
        assert!(!page.contains("61.2"), "{path} shows the first keying");
    }
    let key = |text: &str, by: &str| {
        server.form(
            "/review/1",
            &cookie,
            &[("token", &token), ("by", by), ("text", text), ("confirm", "on")],
        )
    };
    let same_person = key("[α]D20 −61.2 (c 1.0, EtOH)", "A. First");
    assert_eq!(same_person.status, 400, "{}", same_person.body);
    let differs = key("[α]D20 +61.2 (c 1.0, EtOH)", "B. Second");
    assert!(differs.body.contains("differ"), "{}", differs.body);
    let agrees = key("[α]D20 −61.2 (c 1.0, EtOH)", "B. Second");
    assert!(agrees.body.contains("confirmed"), "{}", agrees.body);
}

#[test]
fn scripts_in_names_and_texts_are_shown_as_text() {
    let server = Server::start();
    let evil = "<script>alert(1)</script>\"'>";
    server.store_hostile(evil, evil);
    let paths = [
        "/?q=script",
        "/compounds/3",
        "/entries/3",
        "/review",
        "/review/3",
        "/check?compound=3&value=-5",
        "/audit",
    ];
    for path in paths {
        let page = server.get(path);
        assert!(
            page.status < 500 && !page.body.contains("<script>"),
            "{path}: {}",
            page.body
        );
        assert!(!page.body.contains("\"onmouseover"), "{path}");
    }
    let page = server.get("/check?compound=%3Cscript%3E&value=%22%3E%3Cscript%3E");
    assert!(!page.body.contains("<script>"), "{}", page.body);
    let read = server.form(
        "/read",
        "",
        &[("text", "<script>x</script> [α]D20 −5.0 (c 1, <b>EtOH</b>)")],
    );
    assert!(
        !read.body.contains("<script>") && !read.body.contains("<b>"),
        "{}",
        read.body
    );
}

#[test]
fn oversized_bodies_and_heads_are_refused() {
    let server = Server::start();
    let big = format!("{{\"text\": \"{}\"}}", "a".repeat(3 << 20));
    assert_eq!(server.api("/api/read", &big).status, 413);
    // The same without saying how much will come.
    let mut chunked = format!(
        "POST /api/read HTTP/1.1\r\nHost: {}\r\nConnection: close\r\nContent-Type: application/json\r\n\
         Transfer-Encoding: chunked\r\n\r\n{:x}\r\n",
        server.address,
        big.len()
    );
    chunked += &big;
    chunked += "\r\n0\r\n\r\n";
    let answer = server.raw(chunked.as_bytes());
    assert!(answer.status == 413 || answer.status == 0, "{}", answer.head);
    let head = format!("/?q={}", "a".repeat(100_000));
    assert!(matches!(server.get(&head).status, 400..=499), "a long head is refused");
    assert_eq!(server.get("/healthz").status, 200, "the server goes on");
}

#[test]
fn paths_that_climb_find_nothing() {
    let server = Server::start();
    for path in [
        "/../Cargo.toml",
        "/..%2f..%2fetc/passwd",
        "/entries/..%2f1",
        "/compounds/%00",
        "/style.css/../x",
        "//etc/passwd",
    ] {
        let answer = server.get(path);
        assert!((400..500).contains(&answer.status), "{path}: {}", answer.status);
    }
}

#[test]
fn slow_clients_are_let_go_and_do_not_hold_up_others() {
    let server = Server::start();
    let mut slow: Vec<TcpStream> = (0..40).map(|_| TcpStream::connect(server.address).unwrap()).collect();
    for stream in &mut slow {
        stream.write_all(b"GET / HTTP/1.1\r\nHost:").unwrap();
    }
    assert_eq!(server.get("/healthz").status, 200);
    // The server gives a head ten seconds; the test gives it a minute.
    let began = Instant::now();
    let stream = &mut slow[0];
    stream.set_read_timeout(Some(Duration::from_mins(1))).unwrap();
    let mut rest = Vec::new();
    let _ = stream.read_to_end(&mut rest);
    assert!(
        began.elapsed() < Duration::from_mins(1),
        "the slow client was not let go"
    );
}

#[test]
fn too_many_requests_are_turned_away() {
    let server = Server::start_with(&["--rate", "2"]);
    let statuses: Vec<u16> = (0..12).map(|_| server.get("/healthz").status).collect();
    assert!(statuses.contains(&429) && statuses[0] == 200, "{statuses:?}");
}

#[test]
fn it_does_not_listen_beyond_this_machine() {
    let folder = tempfile::tempdir().unwrap();
    let library = folder.path().join("library.biot");
    drop(biot::library::Library::create(&library, &biot::library::Change::now("a", "test")).unwrap());
    let output = Command::new(env!("CARGO_BIN_EXE_biot"))
        .args(["serve", "--listen", "0.0.0.0:0", "--json"])
        .env("BIOT_LIBRARY", &library)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stdout).contains("beyond-loopback"));
}

#[cfg(unix)]
#[test]
fn a_signal_ends_it_cleanly() {
    let mut server = Server::start();
    assert_eq!(server.get("/healthz").status, 200);
    let sent = Command::new("kill")
        .args(["-TERM", &server.child.id().to_string()])
        .status()
        .unwrap();
    assert!(sent.success());
    assert_eq!(server.child.wait().unwrap().code(), Some(0));
}
