//! The register of shared equipment in the browser: registering, faults at their fields, conflicts, loans and withdrawal.
//! All names and values are invented.

use super::web::{Answer, Server};

type Fault<'a> = (&'a str, &'a [(&'a str, &'a str)], &'a str);

fn page(server: &Server, cookie: &str, path: &str) -> Answer {
    server.ask("GET", path, &[("Cookie", cookie)], "")
}

/// Registers something and gives the address of its page.
fn registered(server: &Server, (cookie, token): (&str, &str), kind: &str, fields: &[(&str, &str)]) -> String {
    let all: Vec<_> = fields.iter().copied().chain([("token", token)]).collect();
    let answer = server.form(&format!("/register/{kind}"), cookie, &all);
    assert_eq!(answer.status, 303, "{}", answer.body);
    answer.header("location").unwrap().to_owned()
}

#[test]
fn equipment_is_registered_changed_and_taken_out_of_use() {
    let server = Server::start();
    let (cookie, token) = server.browser();
    let by = (cookie.as_str(), token.as_str());
    let north = [
        ("name", "north"),
        ("line", "D; 546"),
        ("resolution", "0.001"),
        ("check-every", "30"),
    ];
    registered(&server, by, "instrument", &north);
    let cell = registered(
        &server,
        by,
        "cell",
        &[("name", "long <1>"), ("length", "100.02 mm"), ("jacketed", "on")],
    );
    let preset = [
        ("name", "routine"),
        ("line", "D"),
        ("settle", "0.002"),
        ("settle-over", "60"),
        ("cell", "long <1>"),
    ];
    registered(&server, by, "preset", &preset);
    let plate = [
        ("name", "plate"),
        ("kind", "quartz-plate"),
        ("value", "34.612"),
        ("due", "2031-06-30"),
    ];
    let plate = registered(&server, by, "standard", &plate);
    let listed = page(&server, &cookie, "/instruments");
    for name in ["north", "long &#60;1&#62;", "routine", "plate"] {
        assert!(listed.body.contains(name), "{name}: {}", listed.body);
    }
    let shown = page(&server, &cookie, &cell);
    assert!(shown.body.contains("length 100.02 mm"), "{}", shown.body);

    // A field that is emptied is gone; the history names both.
    let fields = [
        ("revision", "1"),
        ("length", "100.02"),
        ("windows", "glass"),
        ("why", "new certificate"),
        ("token", &token),
    ];
    assert_eq!(server.form(&cell, &cookie, &fields).status, 303);
    let shown = page(&server, &cookie, &cell);
    assert!(
        !shown.body.contains("· jacketed") && shown.body.contains("windows glass"),
        "{}",
        shown.body
    );
    assert!(
        shown.body.contains("new certificate") && shown.body.contains("B. Second"),
        "{}",
        shown.body
    );

    // Somebody who had the record open before is shown both and stores nothing.
    let stale = [
        ("revision", "1"),
        ("length", "99.98"),
        ("windows", "quartz"),
        ("token", &token),
    ];
    let answer = server.form(&cell, &cookie, &stale);
    assert_eq!(answer.status, 409, "{}", answer.body);
    assert!(
        answer.body.contains("Somebody else changed this record"),
        "{}",
        answer.body
    );
    assert!(
        answer.body.contains("<td>99.98</td>") && answer.body.contains("<td>quartz</td>"),
        "{}",
        answer.body
    );
    assert!(page(&server, &cookie, &cell).body.contains("windows glass"));

    let gone = [("revision", "1"), ("why", "cracked"), ("token", &token)];
    assert_eq!(server.form(&format!("{plate}/retire"), &cookie, &gone).status, 303);
    assert!(page(&server, &cookie, &plate).body.contains("Out of use since"));
    let again = server.form(&format!("{plate}/retire"), &cookie, &gone);
    assert_eq!(again.status, 400, "{}", again.body);
    let listed = page(&server, &cookie, "/instruments");
    assert!(!listed.body.contains(&format!("{plate}\"")), "{}", listed.body);
    let listed = page(&server, &cookie, "/instruments?all=on");
    assert!(listed.body.contains(&format!("{plate}\"")), "{}", listed.body);
}

#[test]
fn a_fault_is_shown_at_its_field_with_what_was_typed() {
    let server = Server::start();
    let (cookie, token) = server.browser();
    let by = (cookie.as_str(), token.as_str());
    registered(&server, by, "cell", &[("name", "long"), ("length", "100")]);
    // What is registered, the fields, and the field that is named.
    let faults: [Fault<'_>; 9] = [
        ("cell", &[("name", "short"), ("windows", "glass")], "length"),
        ("cell", &[("name", "short"), ("length", "ten")], "length"),
        ("cell", &[("name", "Long"), ("length", "100")], "name"),
        ("cell", &[("name", " "), ("length", "100")], "name"),
        ("instrument", &[("name", "i"), ("line", "D; blue")], "line"),
        (
            "instrument",
            &[("name", "i"), ("angle-uncertainty", "-0.002")],
            "angle-uncertainty",
        ),
        ("preset", &[("name", "p"), ("settle-over", "60")], "settle-over"),
        ("preset", &[("name", "p"), ("cell", "nobody's")], "cell"),
        ("standard", &[("name", "s"), ("kind", "quartz-plate")], "value"),
    ];
    for (kind, fields, field) in faults {
        let all: Vec<_> = fields.iter().copied().chain([("token", token.as_str())]).collect();
        let answer = server.form(&format!("/register/{kind}"), &cookie, &all);
        assert_eq!(answer.status, 400, "{kind} {field}: {}", answer.body);
        let marked = format!("id=\"{field}-error\"");
        assert!(answer.body.contains(&marked), "{kind} {field}: {}", answer.body);
        assert!(
            !answer.body.contains("biot register"),
            "{kind} {field}: {}",
            answer.body
        );
        if kind == "cell" && field == "length" && fields.len() == 2 && fields[1].0 == "windows" {
            assert!(answer.body.contains("value=\"glass\""), "{}", answer.body);
        }
    }
    assert_eq!(
        server
            .form("/register/cell", &cookie, &[("name", "x"), ("length", "100")])
            .status,
        403
    );
    assert_eq!(page(&server, &cookie, "/register/laser").status, 404);
    assert_eq!(page(&server, &cookie, "/equipment/99").status, 404);
}

#[test]
fn a_cell_is_lent_once_and_taken_back_by_the_loan_that_was_seen() {
    let server = Server::start();
    let (cookie, token) = server.browser();
    let by = (cookie.as_str(), token.as_str());
    let cell = registered(&server, by, "cell", &[("name", "long"), ("length", "100")]);
    let lend = |to: &str, until: &str| {
        let fields = [("to", to), ("until", until), ("token", &token)];
        server.form(&format!("{cell}/loan"), &cookie, &fields)
    };
    let late = lend("third floor", "2001-01-01");
    assert!(
        late.status == 400 && late.body.contains("id=\"until-error\""),
        "{}",
        late.body
    );
    assert!(lend(" ", "").body.contains("id=\"to-error\""));
    assert_eq!(lend("third floor", "2999-12-18").status, 303);
    let shown = page(&server, &cookie, &cell).body;
    assert!(shown.contains("Lent to third floor until 2999-12-18."), "{shown}");
    assert_eq!(lend("fourth floor", "").status, 400);
    let loan = shown
        .split("name=\"loan\" value=\"")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap();

    // A cell that somebody else has is pointed out where it is chosen for a reading.
    let readings = [
        ("readings", "12.003"),
        ("cell_id", "long"),
        ("conc", "1"),
        ("token", &token),
    ];
    let reduced = server.form("/reduce", &cookie, &readings);
    assert!(
        reduced.body.contains("is lent to third floor since"),
        "{}",
        reduced.body
    );

    let back = [("loan", loan), ("token", token.as_str())];
    let address = format!("{cell}/return");
    assert_eq!(server.form(&address, &cookie, &back).status, 303);
    assert!(page(&server, &cookie, &cell).body.contains("It is here."));
    assert_eq!(lend("fourth floor", "").status, 303);
    // The page that was open before does not end the new loan.
    assert_eq!(server.form(&address, &cookie, &back).status, 409);
    assert!(page(&server, &cookie, &cell).body.contains("Lent to fourth floor"));
}
