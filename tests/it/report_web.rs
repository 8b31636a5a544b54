//! Reports over HTTP: each form with its type and policy, errors with their status, and no word from outside that becomes
//! markup.

use super::web::{Answer, Server};
use biot::report::document::{Form, style_hash};
use std::process::Command;

const CHECK: &str = "compound=1&value=-61.0&solvent=EtOH&conc=1.0&temp=20&line=D";

fn biot(server: &Server, arguments: &[&str]) {
    let output = Command::new(env!("CARGO_BIN_EXE_biot"))
        .env("BIOT_LIBRARY", server.folder.path().join("library.biot"))
        .env("BIOT_USER", "A. First")
        .args(arguments)
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
}

/// A server with a kept check and a kept measurement.
fn started() -> Server {
    let server = Server::start();
    let check = [
        "check",
        "(R)-invented acid",
        "--value=-61.0",
        "--solvent",
        "EtOH",
        "--conc",
        "1.0",
        "--temp",
        "20",
    ];
    biot(
        &server,
        &[&check[..], &["--line", "D", "--keep", "batch <7> & \"8\""]].concat(),
    );
    let reduce = [
        "reduce",
        "--angle=-0.61",
        "--cell",
        "100 mm",
        "--conc",
        "1",
        "--solvent",
        "EtOH",
        "--temp",
        "20",
    ];
    let kept = [
        "--line",
        "D",
        "--sample",
        "S1",
        "--compound",
        "(R)-invented acid",
        "--keep",
    ];
    biot(&server, &[&reduce[..], &kept[..]].concat());
    server
}

fn assert_guarded(answer: &Answer, path: &str) {
    let policy = answer.header("content-security-policy").unwrap();
    for part in [
        "default-src 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    ] {
        assert!(policy.contains(part), "{path}: {policy}");
    }
    assert!(
        !policy.contains("unsafe") && !policy.contains("script-src"),
        "{path}: {policy}"
    );
    assert_eq!(answer.header("x-content-type-options"), Some("nosniff"), "{path}");
    assert_eq!(answer.header("x-frame-options"), Some("DENY"), "{path}");
}

#[test]
fn each_form_comes_with_its_type_and_a_policy_that_allows_its_stylesheet_only() {
    let server = started();
    for place in [
        "check/report.FORM?".to_owned() + CHECK,
        "kept/report.FORM?name=batch%20%3C7%3E%20%26%20%228%22".to_owned(),
        "measurement/1/report.FORM".to_owned(),
    ] {
        for form in Form::ALL.into_iter().filter(|form| form.is_built_in()) {
            let path = format!("/report/{}", place.replace("FORM", form.word()));
            let answer = server.get(&path);
            assert_eq!(answer.status, 200, "{path}: {}", answer.body);
            assert_eq!(answer.header("content-type"), Some(form.media_type()), "{path}");
            assert_guarded(&answer, &path);
            let shown = answer.header("content-disposition").unwrap();
            if form == Form::Html {
                assert_eq!(shown, "inline");
                assert!(
                    answer
                        .header("content-security-policy")
                        .unwrap()
                        .contains(&style_hash()),
                    "{path}"
                );
                assert!(answer.body.contains("<h1>"), "{path}");
            } else {
                assert_eq!(shown, format!("attachment; filename=\"report.{}\"", form.word()));
            }
            assert!(
                answer.body.starts_with(match form {
                    Form::Html => "<!doctype html>",
                    Form::Pdf => "%PDF-1.7",
                    Form::Md => "# ",
                    Form::Tex => "% ",
                }),
                "{path}: {}",
                &answer.body[..40]
            );
        }
    }
}

#[test]
fn the_pages_lead_to_the_forms_this_program_has() {
    let server = started();
    for page in [
        format!("/check?{CHECK}"),
        "/measurements/1/check".to_owned(),
        "/measurements/1".to_owned(),
        "/measurements".to_owned(),
    ] {
        let page = server.get(&page);
        assert_eq!(page.status, 200);
        for form in Form::ALL {
            let links = page.body.contains(&format!("report.{}", form.word()));
            assert_eq!(
                links,
                page.status == 200 && form.is_built_in(),
                "{form:?}: {}",
                page.body
            );
        }
    }
}

#[test]
fn kept_checks_are_listed_with_their_reports() {
    let server = started();
    let page = server.get("/measurements").body;
    assert!(page.contains("Kept checks") && page.contains("batch "), "{page}");
    assert!(!page.contains("batch <7>"), "{page}");
    let link = page.split("href=\"/report/kept/report.html").nth(1).unwrap();
    let query = link.split('"').next().unwrap().replace("&amp;", "&");
    let report = server.get(&format!("/report/kept/report.html{query}"));
    assert_eq!(report.status, 200, "{query}: {}", report.body);
    assert!(report.body.contains("(R)-invented acid"), "{}", report.body);
}

#[test]
fn what_is_not_there_is_an_error_page_with_its_status() {
    let server = started();
    for (path, status) in [
        ("/report/check/report.doc?compound=1&value=-61", 404),
        ("/report/check/other.html?compound=1&value=-61", 404),
        ("/report/check/report.html", 404),
        ("/report/check/report.html?compound=1", 400),
        ("/report/check/report.html?compound=1&value=x", 400),
        ("/report/check/report.html?compound=nothing%20known&value=-61", 404),
        ("/report/check/report.html?compound=1&value=-61&value=-62", 400),
        ("/report/kept/report.html?name=none", 404),
        ("/report/kept/report.html", 400),
        ("/report/measurement/99/report.html", 404),
        ("/report/measurement/99/report.pdf", 404),
        ("/report/measurement/x/report.html", 404),
        ("/report/measurement/99999999999999999999/report.html", 404),
        ("/report/nothing/report.html", 404),
    ] {
        let answer = server.get(path);
        assert_eq!(answer.status, status, "{path}: {}", answer.body);
        assert!(answer.body.contains("<h1>"), "{path} is no page: {}", answer.body);
        assert!(
            answer.header("content-type").unwrap().starts_with("text/html"),
            "{path}"
        );
        assert_eq!(answer.header("x-frame-options"), Some("DENY"), "{path}");
    }
    let posted = server.ask("POST", &format!("/report/check/report.html?{CHECK}"), &[], "");
    assert!(posted.status >= 400 && posted.status < 500, "{}", posted.status);
}

#[test]
fn hostile_names_stay_text_in_every_form() {
    let server = Server::start();
    let evil = "</title><script>alert(1)</script> \\input{/etc/passwd} | **b** $x$ %";
    server.store_hostile(evil, "<img src=x onerror=alert(1)>");
    let report = |form: &str| {
        let path =
            format!("/report/check/report.{form}?compound=3&value=-5&solvent=%3Csvg%20onload%3Dx%3E&temp=20&line=D");
        let answer = server.get(&path);
        assert_eq!(answer.status, 200, "{form}: {}", answer.body);
        assert_guarded(&answer, form);
        answer.body
    };
    let html = report("html");
    for wrong in ["<script", "<img", "<svg onload", "\"onmouseover"] {
        assert!(!html.contains(wrong), "{wrong}: {html}");
    }
    assert!(html.contains("&lt;script&gt;"), "{html}");
    let markdown = report("md");
    let own = ["sub", "/sub", "sup", "/sup"]
        .iter()
        .fold(markdown.clone(), |text, tag| text.replace(&format!("<{tag}>"), ""));
    assert_eq!(own.matches('<').count(), own.matches("\\<").count(), "{markdown}");
    assert!(markdown.contains("\\*\\*b\\*\\*"), "{markdown}");
    let latex = report("tex");
    let set: Vec<&str> = latex.lines().filter(|line| !line.starts_with('%')).collect();
    assert!(!set.join("\n").contains("\\input"), "{latex}");
    assert!(latex.contains("\\textbackslash{}input\\{/etc/passwd\\}"), "{latex}");
    if Form::Pdf.is_built_in() {
        assert!(report("pdf").starts_with("%PDF-1.7"));
    }
}
