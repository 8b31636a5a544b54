//! Files that a browser sends: received piece by piece into a folder of their own, bounded before anything reads them.
//!
//! [`receive`] is the only way in. The name a browser gives a file never touches the file system: it is only shown. A
//! spreadsheet is gone over by [`spreadsheet_bounds::admit`] before the page sees it, and the folder goes with the
//! [`Upload`].

use super::app::App;
use crate::exchange::spreadsheet_bounds::{self, SpreadsheetBounds};
use crate::report::failure::{Failure, Fault};
use axum::body::Body;
use axum::extract::multipart::{Field, Multipart, MultipartError};
use axum::extract::{DefaultBodyLimit, FromRequest, Request};
use axum::http::{HeaderMap, StatusCode, header};
use std::path::{Path, PathBuf};
use tempfile::TempDir;
use tokio::io::AsyncWriteExt;

/// Most bytes of a form with files.
pub(super) const MOST_UPLOAD: usize = 32 << 20;
/// Most fields and files of a form.
const MOST_PARTS: usize = 200;
/// Most files of a form.
const MOST_FILES: usize = 10;
/// Most bytes of all fields that are no files.
const MOST_TEXT: usize = 2 << 20;
/// Most characters of a file's name that are shown.
const MOST_NAME: usize = 100;
/// Most characters of the ending by which a file's format is known.
const MOST_ENDING: usize = 8;

/// A form with files, received whole. The files are deleted with it.
pub(super) struct Upload {
    fields: Vec<(String, String)>,
    files: Vec<ReceivedFile>,
    folder: TempDir,
}

/// A file that was received.
#[derive(Clone, Debug)]
pub(super) struct ReceivedFile {
    /// The field it was sent as.
    pub(super) field: String,
    /// The name the browser gave it, for showing: no folders, no control characters.
    pub(super) name: String,
    /// Where it lies, with the ending of its name.
    pub(super) path: PathBuf,
}

impl Upload {
    /// The fields that are no files, with their texts.
    pub(super) fn fields(&self) -> &[(String, String)] {
        &self.fields
    }

    /// The first file of a field; an input left empty sends none.
    pub(super) fn file(&self, field: &str) -> Option<&ReceivedFile> {
        self.files.iter().find(|file| file.field == field)
    }

    /// A failure with the names of files as the browser gave them, not where they lie here.
    pub(super) fn in_words(&self, mut failure: Failure) -> Failure {
        for text in std::iter::once(&mut failure.message)
            .chain(&mut failure.place)
            .chain(&mut failure.hint)
        {
            for file in &self.files {
                *text = text.replace(&file.path.display().to_string(), &file.name);
            }
            *text = text.replace(&self.folder.path().display().to_string(), "");
        }
        failure
    }
}

/// Receives a form with files.
///
/// # Errors
/// When it is no such form, stops short, or is larger than may be; or when a spreadsheet in it unpacks to more than may be.
pub(super) async fn receive(app: &App, headers: &HeaderMap, body: Body) -> Result<Upload, Failure> {
    let _turn = app
        .uploads
        .try_acquire()
        .map_err(|_| Failure::usage("busy", "others are sending files at this moment").hint("try again shortly"))?;
    let mut request = Request::new(body);
    if let Some(kind) = headers.get(header::CONTENT_TYPE) {
        request.headers_mut().insert(header::CONTENT_TYPE, kind.clone());
    }
    // Bounds the whole, however much of it is boundaries and headings of parts.
    DefaultBodyLimit::max(MOST_UPLOAD).apply(&mut request);
    let mut form = Multipart::from_request(request, &()).await.map_err(|_| {
        Failure::usage("content-type", "this is no form with files").hint("send it as multipart/form-data")
    })?;
    let mut upload = Upload {
        fields: Vec::new(),
        files: Vec::new(),
        folder: tempfile::tempdir().map_err(|error| no_room(&error))?,
    };
    let mut n_text = 0;
    while let Some(part) = form.next_field().await.map_err(|error| broken(&error))? {
        if upload.fields.len() + upload.files.len() == MOST_PARTS {
            return Err(too_many("parts", MOST_PARTS));
        }
        let field = part.name().unwrap_or_default().to_owned();
        match part.file_name().map(shown_name) {
            // What an input of files sends when nothing was chosen.
            Some(None) => {}
            Some(Some(name)) => {
                if upload.files.len() == MOST_FILES {
                    return Err(too_many("files", MOST_FILES));
                }
                let place = format!("{}{}", upload.files.len() + 1, ending(&name));
                let path = upload.folder.path().join(place);
                store(part, &path).await?;
                upload.files.push(ReceivedFile { field, name, path });
            }
            None => {
                let text = read_text(part, MOST_TEXT - n_text).await?;
                n_text += text.len();
                upload.fields.push((field, text));
            }
        }
    }
    tokio::task::spawn_blocking(move || {
        let outcome = upload.files.iter().try_for_each(|file| admit(&file.path));
        match outcome {
            Ok(()) => Ok(upload),
            Err(failure) => Err(upload.in_words(failure)),
        }
    })
    .await
    .map_err(|_| Failure::usage("broken", "the files could not be read"))?
}

/// Goes over a spreadsheet, known by its first bytes or its ending, before anything reads it.
fn admit(path: &Path) -> Result<(), Failure> {
    use std::io::Read;
    let mut head = [0; 2];
    let is_archive = std::fs::File::open(path)
        .and_then(|mut file| file.read_exact(&mut head))
        .is_ok_and(|()| head == *b"PK");
    if is_archive || path.extension().is_some_and(|ending| ending == "xlsx") {
        spreadsheet_bounds::admit(path, &SpreadsheetBounds::UPLOAD)?;
    }
    Ok(())
}

async fn store(mut part: Field<'_>, path: &Path) -> Result<(), Failure> {
    let mut file = tokio::fs::File::create_new(path)
        .await
        .map_err(|error| no_room(&error))?;
    while let Some(piece) = part.chunk().await.map_err(|error| broken(&error))? {
        file.write_all(&piece).await.map_err(|error| no_room(&error))?;
    }
    file.flush().await.map_err(|error| no_room(&error))
}

async fn read_text(mut part: Field<'_>, most: usize) -> Result<String, Failure> {
    let mut bytes = Vec::new();
    while let Some(piece) = part.chunk().await.map_err(|error| broken(&error))? {
        if bytes.len() + piece.len() > most {
            return Err(too_large(MOST_TEXT));
        }
        bytes.extend_from_slice(&piece);
    }
    String::from_utf8(bytes).map_err(|_| Failure::usage("form", "a field of the form is not written in UTF-8"))
}

/// A file's name as it is shown: what stands after the last slash of either kind, without control characters; none when
/// nothing is left.
fn shown_name(given: &str) -> Option<String> {
    let last = given.rsplit(['/', '\\']).next().unwrap_or_default();
    let name: String = last.chars().filter(|c| !c.is_control()).take(MOST_NAME).collect();
    let name = name.trim();
    (!name.is_empty() && !name.chars().all(|c| c == '.')).then(|| name.to_owned())
}

/// The ending of a name, when it is a plain one, with its point.
fn ending(name: &str) -> String {
    match name.rsplit_once('.') {
        Some((_, ending))
            if (1..=MOST_ENDING).contains(&ending.len()) && ending.bytes().all(|b| b.is_ascii_alphanumeric()) =>
        {
            format!(".{}", ending.to_ascii_lowercase())
        }
        _ => String::new(),
    }
}

fn broken(error: &MultipartError) -> Failure {
    if error.status() == StatusCode::PAYLOAD_TOO_LARGE {
        too_large(MOST_UPLOAD)
    } else {
        Failure::usage("form", format!("the form cannot be read: {}", error.body_text())).hint("send it again")
    }
}

fn too_large(most: usize) -> Failure {
    Failure::usage("too-large", format!("more than {} MiB were sent", most >> 20)).hint("split the file")
}

fn too_many(what: &str, most: usize) -> Failure {
    Failure::usage("too-large", format!("more than {most} {what} were sent")).hint("send fewer at a time")
}

fn no_room(error: &std::io::Error) -> Failure {
    Failure::new(
        Fault::Library,
        "no-room",
        format!("a file that was sent cannot be kept: {error}"),
    )
    .hint("whoever runs the server must see to its folder for temporary files")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::SocketAddr;

    fn app() -> App {
        let listen = SocketAddr::from(([127, 0, 0, 1], 1));
        App::for_test(listen)
    }

    /// Sends parts, each with the rest of its heading and its bytes.
    async fn send(parts: &[(&str, &[u8])]) -> Result<Upload, Failure> {
        let mut body = Vec::new();
        for (heading, bytes) in parts {
            body.extend_from_slice(format!("--x\r\nContent-Disposition: form-data; {heading}\r\n\r\n").as_bytes());
            body.extend_from_slice(bytes);
            body.extend_from_slice(b"\r\n");
        }
        body.extend_from_slice(b"--x--\r\n");
        let mut headers = HeaderMap::new();
        headers.insert(header::CONTENT_TYPE, "multipart/form-data; boundary=x".parse().unwrap());
        receive(&app(), &headers, Body::from(body)).await
    }

    #[tokio::test]
    async fn names_that_climb_never_touch_the_file_system() {
        for (given, shown, ending) in [
            ("../../etc/passwd", "passwd", ""),
            ("..\\\\..\\\\boot.CSV", "boot.CSV", ".csv"),
            ("/a/b/x.csv", "x.csv", ".csv"),
            ("CON.csv", "CON.csv", ".csv"),
            ("a\tb.csv", "ab.csv", ".csv"),
            ("x.csv/", "", ""),
            ("..", "", ""),
            ("", "", ""),
            ("x.c v", "x.c v", ""),
        ] {
            let upload = send(&[(&format!("name=\"file\"; filename=\"{given}\""), b"a,b\n")])
                .await
                .unwrap();
            if shown.is_empty() {
                assert!(upload.files.is_empty(), "{given}");
                continue;
            }
            let file = upload.file("file").unwrap();
            assert_eq!(file.name, shown, "{given}");
            assert_eq!(file.path.parent(), Some(upload.folder.path()), "{given}");
            assert_eq!(
                file.path.file_name().unwrap().to_string_lossy(),
                format!("1{ending}"),
                "{given}"
            );
            assert_eq!(std::fs::read(&file.path).unwrap(), b"a,b\n");
            let folder = upload.folder.path().to_owned();
            drop(upload);
            assert!(!folder.exists(), "the folder goes with the upload");
        }
    }

    #[tokio::test]
    async fn fields_and_files_come_together() {
        let upload = send(&[
            ("name=\"token\"", b"abc"),
            ("name=\"f\"; filename=\"a.csv\"", b"1"),
            ("name=\"why\"", "ü".as_bytes()),
        ])
        .await
        .unwrap();
        let text = |field: &str| {
            let found = upload.fields().iter().find(|(name, _)| name == field);
            found.map_or("", |(_, text)| text)
        };
        assert_eq!((text("token"), text("why"), text("none")), ("abc", "ü", ""));
        let file = upload.file("f").unwrap();
        let told = upload.in_words(Failure::usage("x", format!("{}: bad", file.path.display())));
        assert_eq!(told.message, "a.csv: bad");
        assert!(upload.file("token").is_none());
    }

    #[tokio::test]
    async fn too_much_is_refused() {
        let much = vec![b'a'; MOST_UPLOAD + 1];
        let code = |outcome: Result<Upload, Failure>| outcome.err().map(|failure| failure.code);
        assert_eq!(
            code(send(&[("name=\"f\"; filename=\"a.csv\"", &much)]).await),
            Some("too-large")
        );
        assert_eq!(
            code(send(&[("name=\"t\"", &much[..=MOST_TEXT])]).await),
            Some("too-large")
        );
        assert_eq!(
            code(send(&vec![("name=\"t\"", b"".as_slice()); MOST_PARTS + 1]).await),
            Some("too-large")
        );
        let file = ("name=\"f\"; filename=\"a.csv\"", b"1".as_slice());
        assert_eq!(code(send(&vec![file; MOST_FILES + 1]).await), Some("too-large"));
        // A heading of a part that never ends.
        let long = format!("name=\"{}\"", "n".repeat(MOST_UPLOAD));
        assert_eq!(code(send(&[(&long, b"1")]).await), Some("too-large"));
    }

    #[tokio::test]
    async fn a_spreadsheet_that_unpacks_to_too_much_is_refused_whatever_its_name() {
        let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
        archive
            .start_file("xl/worksheets/sheet1.xml", zip::write::SimpleFileOptions::default())
            .unwrap();
        for _ in 0..80 {
            std::io::Write::write_all(&mut archive, &vec![b' '; 1 << 20]).unwrap();
        }
        let bomb = archive.finish().unwrap().into_inner();
        for name in ["bomb.xlsx", "bomb.csv", "bomb"] {
            let failure = send(&[(&format!("name=\"f\"; filename=\"{name}\""), &bomb)])
                .await
                .err()
                .unwrap();
            assert_eq!(failure.code, "too-large", "{name}");
            assert!(failure.message.contains(name), "{}", failure.message);
        }
    }
}
