//! Reports as PDF, read back with an outside reader (the Poppler tools `pdftotext`, `pdffonts` and `pdfinfo`): the text of
//! the file is the text of the document, nothing stands outside the margins, the fonts are inside, the tags say what is what.
//!
//! Where the tools are missing these tests say so and pass; with `BIOT_NEED_POPPLER` set, as in `.ci/run`, they fail.

use biot::library::{Access, Library};
use biot::report::document::{Block, Document, Form, Grid, SetLine, SourceLine};
use std::fmt::Write;
use std::process::Command;
use tempfile::TempDir;

/// Paper, points: A4.
const PAPER: [f64; 2] = [595.28, 841.89];

/// What a tool says of a file; none where it is not installed.
fn said(tool: &str, arguments: &[&str], pdf: &[u8]) -> Option<String> {
    let folder = TempDir::new().unwrap();
    let file = folder.path().join("report.pdf");
    std::fs::write(&file, pdf).unwrap();
    let mut command = Command::new(tool);
    command.args(arguments).arg(&file);
    if tool == "pdftotext" {
        command.arg("-");
    }
    match command.output() {
        Ok(output) => {
            assert!(output.status.success(), "{tool}: {output:?}");
            // The reader complains of nothing.
            assert_eq!(String::from_utf8_lossy(&output.stderr), "", "{tool}");
            Some(String::from_utf8(output.stdout).unwrap())
        }
        Err(error) if std::env::var_os("BIOT_NEED_POPPLER").is_none() => {
            println!("{tool} cannot be run ({error}): the PDF is not read back; install poppler-utils");
            None
        }
        Err(error) => panic!("{tool}: {error}"),
    }
}

fn written(document: &Document) -> Vec<u8> {
    document.write(Form::Pdf).unwrap()
}

/// The text in the order of the file, without the foot lines.
fn text(pdf: &[u8]) -> Option<String> {
    let all = said("pdftotext", &["-raw", "-nopgbrk"], pdf)?;
    let lines = all
        .lines()
        .filter(|line| !line.contains(" of ") || !line.contains("Page "));
    Some(lines.collect::<Vec<_>>().join("\n"))
}

/// Text without the spaces, which line breaks and cells put elsewhere.
fn tight(text: &str) -> String {
    text.chars().filter(|c| !c.is_whitespace()).collect()
}

/// No word stands outside the margins; gives the number of words.
fn assert_inside(pdf: &[u8]) {
    let Some(boxes) = said("pdftotext", &["-bbox"], pdf) else {
        return;
    };
    let number = |line: &str, name: &str| -> f64 {
        let (_, rest) = line.split_once(&format!("{name}=\"")).unwrap();
        rest.split('"').next().unwrap().parse().unwrap()
    };
    let mut n = 0;
    for line in boxes.lines().filter(|line| line.trim_start().starts_with("<word")) {
        let ends = ["xMin", "yMin", "xMax", "yMax"].map(|name| number(line, name));
        // 16 mm at the sides, 14 mm at the top, 10 mm at the foot.
        assert!(ends[0] >= 47.0 && ends[2] <= PAPER[0] - 47.0, "{line}");
        assert!(ends[1] >= 40.0 && ends[3] <= PAPER[1] - 28.0, "{line}");
        n += 1;
    }
    assert!(n > 20, "{boxes}");
}

fn page_count(pdf: &[u8]) -> Option<usize> {
    let about = said("pdfinfo", &[], pdf)?;
    let line = about.lines().find(|line| line.starts_with("Pages:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

fn document(blocks: Vec<Block>) -> Document {
    Document {
        title: "(−)-Menthol, α-anomer of H₂O".to_owned(),
        kind: "An invented report".to_owned(),
        made_on: "2026-01-01".to_owned(),
        blocks,
        provenance: vec![
            ("Program".to_owned(), "biot 0".to_owned()),
            ("Digest".to_owned(), format!("{} (SHA-256)", "ab12".repeat(16))),
        ],
    }
}

fn table(n_rows: usize, cell: impl Fn(usize, usize) -> String) -> Grid {
    let mut grid = Grid::new(
        "An invented table",
        &["entry", "#[α] / deg mL g⁻¹ dm⁻¹", "solvent", "note"],
    );
    grid.rows = (0..n_rows)
        .map(|row| (0..4).map(|at| cell(row, at)).collect())
        .collect();
    grid
}

/// One block of each kind but the drawing.
fn all_blocks() -> Vec<Block> {
    vec![
        Block::Verdict {
            code: "agrees".to_owned(),
            tone: "good".to_owned(),
            sentence: "−84.1 agrees with −83.7 ± 3.1 at 25 °C.".to_owned(),
        },
        Block::Facts {
            rows: vec![("Measured".to_owned(), "−84.10(67) deg mL g⁻¹ dm⁻¹".to_owned())],
        },
        Block::Heading {
            text: "Ångström & <tags>".to_owned(),
        },
        Block::Paragraph {
            text: "Αα Ββ Γγ Δδ λ₀² μ ½ ≤ ≥ ≈ → Čeština Ελληνικά Русский".to_owned(),
        },
        Block::Points {
            items: vec!["one point".to_owned(), "another, longer point".to_owned()],
        },
        Block::Table {
            table: table(5, |row, at| format!("cell {row} of {at}")),
            supporting: true,
        },
        Block::Sources {
            items: vec![SourceLine {
                citation: "A. First, J. Invented Res. 1900, 1, 1".to_owned(),
                doi: Some("10.1000/invented".to_owned()),
                entries: "#1, #2".to_owned(),
            }],
        },
        Block::Line {
            label: "For the experimental part".to_owned(),
            text: "[α]D25 −84.1 (c 1, H2O)".to_owned(),
            set: Some(SetLine {
                html: "[α]<sub>D</sub><sup>25</sup> −84.1 (<i>c</i> 1, H<sub>2</sub>O)".to_owned(),
                markdown: String::new(),
                latex: String::new(),
            }),
        },
    ]
}

#[test]
fn the_text_of_the_file_is_the_text_of_the_document() {
    let pdf = written(&document(all_blocks()));
    assert_inside(&pdf);
    let Some(found) = text(&pdf) else { return };
    let mut wanted =
        "An invented report (−)-Menthol, α-anomer of H₂O Made on 2026-01-01 agrees −84.1 agrees with −83.7 ± 3.1 \
        at 25 °C. Measured −84.10(67) deg mL g⁻¹ dm⁻¹ Ångström & <tags> Αα Ββ Γγ Δδ λ₀² μ ½ ≤ ≥ ≈ → Čeština Ελληνικά \
        Русский • one point • another, longer point An invented table entry [α] / deg mL g⁻¹ dm⁻¹ solvent note "
            .to_owned();
    for row in 0..5 {
        for at in 0..4 {
            write!(wanted, "cell {row} of {at} ").unwrap();
        }
    }
    wanted.push_str(
        "1. A. First, J. Invented Res. 1900, 1, 1 https://doi.org/10.1000/invented (#1, #2) For the experimental part [α]D25 −84.1 \
         (c 1, H2O) Where this comes from Program biot 0 Digest ",
    );
    wanted.push_str(&"ab12".repeat(16));
    wanted.push_str("(SHA-256)");
    assert_eq!(tight(&found), tight(&wanted));
}

#[test]
fn the_file_says_what_it_is_and_holds_its_fonts() {
    let pdf = written(&document(all_blocks()));
    let Some(about) = said("pdfinfo", &[], &pdf) else {
        return;
    };
    for line in ["Tagged: yes", "JavaScript: no", "Encrypted: no", "(A4)"] {
        assert!(tight(&about).contains(&tight(line)), "{line}: {about}");
    }
    assert!(
        about.contains("(−)-Menthol, α-anomer of H₂O · An invented report"),
        "{about}"
    );
    let fonts = said("pdffonts", &[], &pdf).unwrap();
    let fonts: Vec<&str> = fonts.lines().skip(2).collect();
    assert_eq!(fonts.len(), 2, "{fonts:?}");
    for font in fonts {
        // Embedded, a subset, with a map to Unicode.
        assert!(font.contains(" yes yes yes "), "{font}");
    }
    // Each part is what it is called in ISO 32000-1:2008, section 14.8.4.
    let tags = said("pdfinfo", &["-struct-text"], &pdf).unwrap();
    for tag in [
        "Document", "H1", "H2", "P", "L", "LI", "Lbl", "LBody", "Table", "Caption", "TR", "TH", "TD",
    ] {
        assert!(
            tags.lines().any(|line| line.trim_start().starts_with(tag)),
            "{tag}: {tags}"
        );
    }
    assert!(tags.contains("\"cell 4 of 3\""), "{tags}");
    assert!(
        pdf.windows(10).any(|bytes| bytes == b"/Lang (en)"),
        "the language is named"
    );
}

#[test]
fn the_same_document_gives_the_same_bytes() {
    let one = document(all_blocks());
    assert_eq!(written(&one), written(&one));
    let mut other = one.clone();
    other.made_on = "2026-01-02".to_owned();
    assert_ne!(written(&one), written(&other));
}

#[test]
fn a_long_table_goes_on_with_its_head_on_every_page() {
    let long = "toluene, stabilised, with a few words more than go into one line of a narrow column";
    let grid = table(150, |row, at| match at {
        0 => format!("#{row}"),
        1 => format!("−{row}.25"),
        2 if row % 7 == 0 => long.to_owned(),
        2 => "H2O".to_owned(),
        _ => format!("note{row}x"),
    });
    let pdf = written(&document(vec![Block::Table {
        table: grid,
        supporting: true,
    }]));
    assert_inside(&pdf);
    let Some(found) = text(&pdf) else { return };
    let n_pages = page_count(&pdf).unwrap();
    assert!((4..=8).contains(&n_pages), "{n_pages}");
    let heads = found.lines().filter(|line| line.contains("[α] / deg")).count();
    assert!(
        heads == n_pages || heads + 1 == n_pages,
        "{heads} heads on {n_pages} pages"
    );
    let found = tight(&found);
    let mut from = 0;
    for row in 0..150 {
        let at = found[from..].find(&format!("note{row}x"));
        from += at.unwrap_or_else(|| panic!("row {row} is missing or out of order"));
    }
    assert_eq!(found.matches(&tight(long)).count(), 22);
}

#[test]
fn what_does_not_fit_is_broken_and_never_lost() {
    let name = "(2S,3R)-".repeat(40) + &"a".repeat(400);
    let giant = (0..3000).map(|n| format!("w{n}")).collect::<Vec<_>>().join(" ");
    let mut wide = Grid::new("Many columns", &["#head"; 24]);
    wide.rows = vec![(0..24).map(|at| format!("−123456.78{at:02}")).collect()];
    let mut odd = table(2, |_, _| "x".to_owned());
    odd.rows[0].truncate(1);
    odd.rows[1].push("beyond".to_owned());
    let grids = [
        table(1, |_, at| if at == 3 { giant.clone() } else { name.clone() }),
        wide,
        odd,
        Grid::new("No rows", &["a", "b"]),
        Grid::default(),
    ];
    let mut blocks: Vec<Block> = (grids.into_iter())
        .map(|table| Block::Table {
            table,
            supporting: false,
        })
        .collect();
    blocks.push(Block::Heading { text: name.clone() });
    blocks.push(Block::Facts {
        rows: vec![(name.clone(), giant.clone()), (String::new(), String::new())],
    });
    blocks.push(Block::Verdict {
        code: name.clone(),
        tone: "none".to_owned(),
        sentence: giant.clone(),
    });
    blocks.push(Block::Points {
        items: vec![giant.clone(), String::new()],
    });
    let mut made = document(blocks);
    made.title = name.clone();
    let pdf = written(&made);
    assert_inside(&pdf);
    let Some(found) = text(&pdf) else { return };
    let found = tight(&found);
    assert!(found.contains(&tight(&name)), "the title");
    // In the list, the facts and the verdict; in the table it goes over pages, with the head between.
    assert_eq!(found.matches(&tight(&giant)).count(), 3);
    for at in 0..24 {
        assert!(found.contains(&format!("−123456.78{at:02}")), "{at}");
    }
}

#[test]
fn signs_that_the_fonts_lack_are_shown_by_their_numbers_and_told() {
    let pdf = written(&document(vec![Block::Paragraph {
        text: "水 and \u{202e}turned\u{0} and a\u{200b}b and 🧪 and e\u{301} and סם".to_owned(),
    }]));
    assert_inside(&pdf);
    let Some(found) = text(&pdf) else { return };
    let line = found.replace('\n', " ");
    assert!(
        line.contains("[U+6C34] and \u{fffd}turned\u{fffd} and a[U+200B]b and [U+1F9EA] and é and [U+05E1][U+05DD]"),
        "{line}"
    );
    assert!(
        tight(&line).contains(&tight(
            "by their Unicode numbers: U+05DD, U+05E1, U+200B, U+6C34, U+1F9EA."
        )),
        "{line}"
    );
}

#[test]
fn a_drawing_is_drawn_and_one_that_cannot_be_read_is_told_in_numbers() {
    let mut numbers = Grid::new("The numbers of the drawing", &["row", "#value"]);
    numbers.rows = vec![vec!["measured".to_owned(), "−84.1".to_owned()]];
    let figure = |svg: &str| Block::Figure {
        title: "Values".to_owned(),
        svg: svg.to_owned(),
        table: numbers.clone(),
    };
    let drawn = "<svg viewBox=\"0 0 640 100\"><title>t</title><line class=\"grid\" x1=\"1\" y1=\"1\" x2=\"9\" y2=\"9\"/>\
                 <text x=\"300.0\" y=\"50.0\" text-anchor=\"middle\">a &lt; b</text></svg>";
    let pdf = written(&document(vec![figure(drawn)]));
    let Some(found) = text(&pdf) else { return };
    assert!(found.contains("a < b") && !found.contains("cannot be shown"), "{found}");
    for broken in [
        "<svg",
        "<svg viewBox=\"0 0 640 100\"><image href=\"x\"/></svg>",
        "<p>no</p>",
    ] {
        let found = text(&written(&document(vec![figure(broken)]))).unwrap();
        assert!(
            found.contains("cannot be shown in this form") && found.contains("measured"),
            "{found}"
        );
    }
}

/// The command on the starter library: the check with its drawing, in the margins, with its digest at the foot of each page.
#[test]
fn a_check_becomes_a_pdf() {
    let folder = TempDir::new().unwrap();
    let library = folder.path().join("library.biot");
    let file = folder.path().join("report.pdf");
    drop(biot::tasks::care::open_or_create(&library, Access::Write, &mut |_| {}).unwrap());
    let output = Command::new(env!("CARGO_BIN_EXE_biot"))
        .env("BIOT_LIBRARY", &library)
        .arg("report")
        .args(super::report::PROLINE)
        .args(["--note", "水", "--json", "--output"])
        .arg(&file)
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(json["format"], "pdf");
    let digest = json["report"]["provenance"]["digest"].as_str().unwrap();
    let pdf = std::fs::read(&file).unwrap();
    assert_inside(&pdf);
    let Some(all) = said("pdftotext", &["-raw"], &pdf) else {
        return;
    };
    let pages: Vec<&str> = all.trim_end_matches('\u{c}').split('\u{c}').collect();
    assert_eq!(page_count(&pdf), Some(pages.len()));
    for (at, page) in pages.iter().enumerate() {
        let foot = format!("Digest {digest} Page {} of {}", at + 1, pages.len());
        assert!(tight(page).ends_with(&tight(&foot)), "{page}");
    }
    for part in [
        "L-proline",
        "agrees",
        "prediction band",
        "[α] at the measurement's conditions",
        "[U+6C34]",
        "PubChem",
    ] {
        assert!(tight(&all).contains(&tight(part)), "{part}: {all}");
    }
    let numbers = said("pdfinfo", &["-struct"], &pdf).unwrap();
    assert!(numbers.contains("Figure"), "{numbers}");
    assert!(
        Library::open(&library, Access::Read)
            .unwrap()
            .check_history()
            .unwrap()
            .is_sound()
    );
}
