//! The page of a compound's dispersion. The rotations are invented: by a law of Drude, [α] = 20/(λ² − 0.21²) with λ in µm,
//! rounded to a tenth.

use super::web::Server;
use std::process::Command;

fn add(server: &Server, compound: &str, printed: &str, citation: &str) {
    let added = Command::new(env!("CARGO_BIN_EXE_biot"))
        .args([
            "add",
            compound,
            "--text",
            printed,
            "--citation",
            citation,
            "--by",
            "A. First",
        ])
        .env("BIOT_LIBRARY", server.folder.path().join("library.biot"))
        .output()
        .unwrap();
    assert!(added.status.success(), "{}", String::from_utf8_lossy(&added.stderr));
}

#[test]
fn three_lines_of_one_source_are_drawn_and_two_sources_are_not_joined() {
    let server = Server::start();
    let page = |of: u8| {
        let answer = server.get(&format!("/compounds/{of}/dispersion"));
        assert_eq!(answer.status, 200, "{}", answer.body);
        answer.body
    };
    let bare = page(2);
    assert!(
        bare.contains("No source gives values of this compound at 3 lines"),
        "{bare}"
    );
    assert!(!bare.contains("<svg"), "{bare}");

    let table = "Invented J. 3 (2022) 40";
    add(&server, "(R)-invented acid", "[α]589.3 20 +66.0 (c 1.0, EtOH)", table);
    add(&server, "(R)-invented acid", "[α]546.1 20 +78.7 (c 1.0, EtOH)", table);
    add(
        &server,
        "(R)-invented acid",
        "[α]435.8 20 +137.2 (c 1.0, EtOH)",
        "Invented J. 4 (2023) 1",
    );
    assert!(page(1).contains("the most is 2: 546.1 and 589.3 nm"), "{}", page(1));

    for printed in ["[α]435.8 20 +137.2 (c 1.0, EtOH)", "[α]365 25 +224.4 (c 1.0, EtOH)"] {
        add(&server, "(R)-invented acid", printed, table);
    }
    let drawn = page(1);
    assert!(
        drawn.contains("<svg") && drawn.contains("One-term law of Drude through 4 values"),
        "{drawn}"
    );
    // The law at 404.7 nm, by hand: 20 / (0.4047² − 0.0441) = 167.11; at 632.8 nm, outside the data: 56.13.
    let value = |line: &str| -> f64 {
        let row = drawn.split(&format!("<td>{line}</td><td>+")).nth(1).unwrap();
        row.split('(').next().unwrap().parse().unwrap()
    };
    assert!((value("404.7") - 167.11).abs() < 0.5, "{}", value("404.7"));
    assert!((value("632.8") - 56.13).abs() < 0.5, "{}", value("632.8"));
    assert!(drawn.contains("outside the data"), "{drawn}");
    assert!(drawn.contains("several temperatures (20 °C; 25 °C)"), "{drawn}");
    assert!(server.get("/compounds/1").body.contains("/compounds/1/dispersion"));
}
