//! What a hostile or clumsy client sends, and what happens to the running server when many ask at once, when the library is
//! replaced under it, and when it is told to end.

use super::web::{Answer, Server};
use std::fmt::Write as _;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::process::Command;
use std::time::Duration;

/// Sends a form with one file to the page of tables.
fn send_file(server: &Server, name: &str, bytes: &[u8]) -> Answer {
    let mut body = Vec::new();
    let head = format!(
        "--cut\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\nContent-Type: text/csv\r\n\r\n"
    );
    body.extend_from_slice(head.as_bytes());
    body.extend_from_slice(bytes);
    body.extend_from_slice(b"\r\n--cut--\r\n");
    let mut request = format!(
        "POST /batch HTTP/1.1\r\nHost: {}\r\nConnection: close\r\nContent-Type: multipart/form-data; boundary=cut\r\n\
         Content-Length: {}\r\n\r\n",
        server.address,
        body.len()
    )
    .into_bytes();
    request.extend_from_slice(&body);
    server.raw(&request)
}

/// A spreadsheet of one sheet with that markup.
fn spreadsheet(sheet: &[u8]) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default();
    for (name, bytes) in [
        (
            "[Content_Types].xml",
            &b"<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"/>"[..],
        ),
        ("xl/worksheets/sheet1.xml", sheet),
    ] {
        archive.start_file(name, options).unwrap();
        archive.write_all(bytes).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

#[test]
fn names_of_files_that_climb_write_nowhere_and_are_shown_as_text() {
    let server = Server::start();
    let outside = server.folder.path().join("climbed.csv");
    let table = "id,compound,value\nx,(R)-invented acid,-61\n".as_bytes();
    for name in [
        "../../../../../../../../../../climbed.csv".to_owned(),
        outside.display().to_string(),
        "..\\\\..\\\\climbed.csv".to_owned(),
        "<script>alert(1)</script>.csv".to_owned(),
        "a.csv\u{0}.exe".to_owned(),
    ] {
        let answer = send_file(&server, &name, table);
        assert!(answer.status < 500, "{name}: {}", answer.body);
        assert!(!answer.body.contains("<script"), "{name}: {}", answer.body);
        assert!(
            !answer.body.contains("/tmp"),
            "{name} shows where files are kept: {}",
            answer.body
        );
        assert!(!outside.exists(), "{name}");
    }
    let bad = send_file(&server, "no table.csv", b"just words\n");
    assert!((400..500).contains(&bad.status), "{}", bad.body);
    assert!(!bad.body.contains("/tmp"), "{}", bad.body);
}

#[test]
fn spreadsheets_that_unpack_to_too_much_are_refused_before_they_are_read() {
    let server = Server::start();
    // Small to send, large to hold: by bytes, by rows and by depth. The limits are those of SpreadsheetBounds::UPLOAD.
    let mut rows = b"<worksheet><sheetData>".to_vec();
    rows.extend_from_slice("<row r=\"1\"><c><v>1</v></c></row>".repeat(200_001).as_bytes());
    rows.extend_from_slice(b"</sheetData></worksheet>");
    let nested = [b"<a>".repeat(65), b"</a>".repeat(65)].concat();
    let entities =
        b"<!DOCTYPE x [<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;\">]><worksheet>&b;</worksheet>".to_vec();
    for (what, sheet, status) in [
        ("bytes", vec![b' '; 80 << 20], 413),
        ("rows", rows, 413),
        ("depth", nested, 413),
        ("entities", entities, 400),
    ] {
        let bomb = spreadsheet(&sheet);
        assert!(bomb.len() < 1 << 20, "{what}: {} bytes are sent", bomb.len());
        let answer = send_file(&server, "table.xlsx", &bomb);
        assert_eq!(answer.status, status, "{what}: {}", answer.body);
        assert!(
            answer.body.to_lowercase().contains("table.xlsx"),
            "{what}: {}",
            answer.body
        );
    }
    assert_eq!(server.get("/healthz").status, 200);
}

#[test]
fn floods_of_headers_and_broken_forms_are_refused() {
    let server = Server::start();
    let mut many = format!(
        "GET /healthz HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n",
        server.address
    );
    for n in 0..2000 {
        let _ = write!(many, "X-{n}: {n}\r\n");
    }
    many.push_str("\r\n");
    assert!(matches!(server.raw(many.as_bytes()).status, 400 | 431), "many headers");
    let long = format!(
        "GET /healthz HTTP/1.1\r\nHost: {}\r\nX: {}\r\n\r\n",
        server.address,
        "a".repeat(1 << 20)
    );
    assert!(
        matches!(server.raw(long.as_bytes()).status, 0 | 400 | 431),
        "a long header"
    );
    for kind in [
        "multipart/form-data",
        "multipart/form-data; boundary=",
        "multipart/form-data; boundary=other",
        "text/plain",
        "application/x-www-form-urlencoded",
    ] {
        let answer = server.ask("POST", "/batch", &[("Content-Type", kind)], "--cut\r\nnonsense\r\n");
        assert!(
            (400..500).contains(&answer.status),
            "{kind}: {} {}",
            answer.status,
            answer.body
        );
    }
    assert_eq!(server.get("/healthz").status, 200, "the server goes on");
}

#[test]
fn scripts_in_names_stay_text_in_drawings_too() {
    let server = Server::start();
    let (cookie, token) = server.browser();
    let evil = "</text><script>alert(1)</script>";
    for (printed, solvent) in [("[α]D20 −5.0 (c 1, EtOH)", evil), ("[α]D25 −6.0 (c 2, MeOH)", "MeOH")] {
        let stored = server.form(
            "/entries",
            &cookie,
            &[
                ("token", &token),
                ("printed", printed),
                ("compound", "drawn acid <svg onload=alert(1)>"),
                ("new_compound", "on"),
                ("citation", evil),
                ("kind", "specific"),
                ("sign", "stated"),
                ("value", printed.split(' ').nth(1).unwrap()),
                ("line", "D"),
                ("temperature", if solvent == evil { "20" } else { "25" }),
                ("solvent", solvent),
            ],
        );
        assert_eq!(stored.status, 200, "{}", stored.body);
    }
    let page = server.get("/compounds/3").body;
    assert!(
        page.contains("<svg") && page.contains("&lt;/text&gt;"),
        "the solvent is drawn: {page}"
    );
    let checked = server
        .get("/check?compound=3&value=-5&solvent=EtOH&temp=20&line=D")
        .body;
    for page in [page, checked] {
        assert!(!page.contains("<script") && !page.contains("<svg onload"), "{page}");
    }
}

#[test]
fn a_body_that_stalls_is_let_go() {
    let server = Server::start();
    let mut stream = TcpStream::connect(server.address).unwrap();
    // The server waits ten seconds for more of a body; the test gives it two minutes.
    stream.set_read_timeout(Some(Duration::from_mins(2))).unwrap();
    write!(
        stream,
        "POST /api/read HTTP/1.1\r\nHost: {}\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{{",
        server.address
    )
    .unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    let answer = String::from_utf8_lossy(&answer);
    assert!(answer.is_empty() || answer.starts_with("HTTP/1.1 4"), "{answer}");
}

#[test]
fn many_read_while_one_writes() {
    let server = Server::start();
    let (cookie, token) = server.browser();
    std::thread::scope(|scope| {
        let readers: Vec<_> = (0..6)
            .map(|n| {
                let server = &server;
                scope.spawn(move || {
                    for path in ["/", "/compounds/1", "/api/search?q=invented", "/audit", "/review"].repeat(3) {
                        let answer = server.get(path);
                        assert_eq!(answer.status, 200, "reader {n} {path}: {}", answer.body);
                    }
                })
            })
            .collect();
        for n in 0..10 {
            let value = format!("−6{}.5", n % 10);
            let stored = server.form(
                "/entries",
                &cookie,
                &[
                    ("token", &token),
                    ("printed", "[α]D20 −61.2 (c 1.0, EtOH)"),
                    ("compound", "(R)-invented acid"),
                    ("citation", &format!("Invented J. {n}")),
                    ("kind", "specific"),
                    ("sign", "stated"),
                    ("value", &value),
                ],
            );
            assert_eq!(stored.status, 200, "{n}: {}", stored.body);
        }
        for reader in readers {
            reader.join().unwrap();
        }
    });
    let page = server.get("/compounds/1").body;
    for n in 0..10 {
        assert!(page.contains(&format!("−6{n}.5")), "{n} was lost");
    }
}

#[test]
fn the_audit_follows_every_change() {
    let server = Server::start();
    let (cookie, token) = server.browser();
    let before = server.get("/audit").body;
    assert_eq!(before, server.get("/audit").body);
    assert!(!before.contains("/entries/3"), "{before}");
    // The same compound with the other sign contradicts what is there.
    let stored = server.form(
        "/entries",
        &cookie,
        &[
            ("token", &token),
            ("printed", "[α]D20 +61.2 (c 1.0, EtOH)"),
            ("compound", "(R)-invented acid"),
            ("citation", "Invented J. 9"),
            ("kind", "specific"),
            ("sign", "stated"),
            ("value", "+61.2"),
            ("line", "D"),
            ("temperature", "20"),
            ("solvent", "EtOH"),
            ("concentration", "1.0 g/100mL"),
        ],
    );
    assert_eq!(stored.status, 200, "{}", stored.body);
    let after = server.get("/audit").body;
    assert!(after.contains("/entries/3"), "{after}");
}

#[test]
fn a_library_that_is_restored_under_it_is_noticed() {
    let server = Server::start();
    let library = server.folder.path().join("library.biot");
    let backup = server.folder.path().join("backup.biot");
    let biot = |arguments: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_biot"))
            .args(arguments)
            .env("BIOT_LIBRARY", &library)
            .output()
            .unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    };
    let (cookie, token) = server.browser();
    let store = |citation: &str| {
        let fields = [
            ("token", token.as_str()),
            ("printed", "[α]D20 −61.2 (c 1.0, EtOH)"),
            ("compound", "(R)-invented acid"),
            ("citation", citation),
            ("kind", "specific"),
            ("sign", "stated"),
            ("value", "−61.2"),
        ];
        let stored = server.form("/entries", &cookie, &fields);
        assert_eq!(stored.status, 200, "{}", stored.body);
    };
    biot(&["backup", backup.to_str().unwrap()]);
    store("Lost J. 1");
    assert!(server.get("/compounds/1").body.contains("Lost J. 1"));
    assert!(server.get("/audit").body.contains("3 entries"));
    biot(&["restore", backup.to_str().unwrap()]);
    assert!(!server.get("/compounds/1").body.contains("Lost J. 1"));
    assert!(server.get("/audit").body.contains("2 entries"));
    store("Kept J. 2");
    assert!(server.get("/compounds/1").body.contains("Kept J. 2"));
    let there = biot::library::Library::open(&library, biot::library::Access::Read).unwrap();
    assert_eq!(
        there.statistics().unwrap().values,
        3,
        "it was written to the file that lies there now"
    );
}

#[cfg(unix)]
#[test]
fn requests_under_way_are_finished_when_it_is_told_to_end() {
    let mut server = Server::start();
    let mut stream = TcpStream::connect(server.address).unwrap();
    stream.set_read_timeout(Some(Duration::from_mins(1))).unwrap();
    let body = r#"{"text": "an oil, [α]D25 −41.8 (c 1.04, CHCl3)."}"#;
    write!(
        stream,
        "POST /api/read HTTP/1.1\r\nHost: {}\r\nContent-Type: application/json\r\nExpect: 100-continue\r\n\
         Content-Length: {}\r\n\r\n",
        server.address,
        body.len()
    )
    .unwrap();
    // The server asks for the body: the request is under way.
    let mut asked = [0; 25];
    stream.read_exact(&mut asked).unwrap();
    assert!(
        asked.starts_with(b"HTTP/1.1 100 "),
        "{}",
        String::from_utf8_lossy(&asked)
    );
    let sent = Command::new("kill")
        .args(["-TERM", &server.child.id().to_string()])
        .status()
        .unwrap();
    assert!(sent.success());
    // It takes no more connections once it has heard that.
    while TcpStream::connect(server.address).is_ok() {
        std::thread::yield_now();
    }
    stream.write_all(body.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    assert!(
        answer.starts_with("HTTP/1.1 200") && answer.contains("-41.8"),
        "{answer}"
    );
    assert_eq!(server.child.wait().unwrap().code(), Some(0));
}
