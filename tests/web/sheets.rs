//! Sheets: what stands is taken out as CSV, and brought in once somebody has seen what that would do.

mod brought_in;
mod lots;
mod recipes;
mod refused;

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::seed::SeedFiles;
use mendpost_tests::{Answer, App, SentFile, between, number};

/// Sheets by the field of their form.
type Sheets<'a> = [(&'a str, &'a [u8])];

/// Sends sheets as the form of their kind does; what comes back is the preview, or the faults.
pub async fn send(app: &mut App, kind: &str, sheets: &Sheets<'_>) -> Answer {
    let path = format!("/site/sheets/{kind}");
    app.get(&path).await;
    let file = |bytes| SentFile {
        name: "my list.csv",
        media_type: "text/csv",
        bytes,
    };
    let files: Vec<(&str, SentFile<'_>)> = sheets.iter().map(|(f, b)| (*f, file(*b))).collect();
    app.post_files_in(&path, &[], &files).await
}

/// Presses Import under a preview: sends its hidden fields as a browser does, with carriage returns.
pub async fn import(app: &mut App, kind: &str, preview: &Answer) -> Answer {
    import_because(app, kind, preview, "").await
}

/// The same with a reason typed in.
async fn import_because(app: &mut App, kind: &str, preview: &Answer, reason: &str) -> Answer {
    let fields = hidden(preview);
    let fields = fields.iter().filter(|(name, _)| name != "csrf");
    let mut fields: Vec<(&str, &str)> = fields
        .map(|(name, value)| (name.as_str(), value.as_str()))
        .collect();
    if !reason.is_empty() {
        fields.push(("reason", reason));
    }
    let path = format!("/site/sheets/{kind}/import");
    app.post_files(&path, &fields, &[]).await
}

fn hidden(preview: &Answer) -> Vec<(String, String)> {
    let form = between(&preview.body, "/import\"", "</form>").expect("a form");
    let fields = form.split("<input type=\"hidden\" name=\"").skip(1);
    fields
        .filter_map(|field| {
            let (name, rest) = field.split_once("\" value=\"")?;
            let (value, _) = rest.split_once('"')?;
            let value = [
                ("&#34;", "\""),
                ("&#39;", "'"),
                ("&#60;", "<"),
                ("&#62;", ">"),
                ("&#38;", "&"),
            ]
            .iter()
            .fold(value.to_owned(), |text, (code, plain)| {
                text.replace(code, plain)
            });
            Some((name.to_owned(), value.replace('\n', "\r\n")))
        })
        .collect()
}

/// A fault as its row shows it: line, column, what.
fn faults(answer: &Answer) -> Vec<[String; 3]> {
    assert_eq!(
        answer.status,
        StatusCode::UNPROCESSABLE_ENTITY,
        "{}",
        answer.body
    );
    let table = between(
        &answer.body,
        "<table class=\"rows sheet-faults\">",
        "</table>",
    );
    let rows = table.expect("a table of faults").split("<tr>").skip(2);
    rows.map(|row| {
        let cells: Vec<String> = row
            .split("<td")
            .skip(1)
            .map(|cell| cell.split_once('>').expect("a cell").1)
            .map(|cell| {
                let cell = cell.split_once("</td>").expect("its end").0;
                cell.replace("<b>", "")
                    .replace("</b>", "")
                    .replace("&#39;", "'")
            })
            .collect();
        let [.., line, column, what] = cells.as_slice() else {
            panic!("a row of {} cells", cells.len());
        };
        [line.clone(), column.clone(), what.clone()]
    })
    .collect()
}

/// One fault of a sheet that has only this one.
pub async fn fault(app: &mut App, kind: &str, sheets: &Sheets<'_>) -> String {
    let told = faults(&send(app, kind, sheets).await);
    assert_eq!(told.len(), 1, "{told:?}");
    told[0].join(" | ")
}

/// Every kind with the fields and files of its sheets.
const KINDS: [(&str, &[&str]); 5] = [
    ("assets", &["assets"]),
    ("capabilities", &["capabilities"]),
    ("parts", &["parts"]),
    ("recipes", &["recipes", "operations", "sprays"]),
    ("lots", &["lots", "containers"]),
];

const JOURNAL: &str = "select count(*) from journal";

/// What the demonstration holds comes out and goes in again, and nothing changes: with commas, with
/// semicolons and decimal commas, with any line end, with or without the byte order mark.
#[tokio::test]
async fn what_is_taken_out_and_brought_in_changes_nothing() {
    let mut app = App::signed_in(Role::Lead).await;
    let before = number(&app, JOURNAL).await;
    for (kind, fields) in KINDS {
        for separator in ["comma", "semicolon"] {
            let mut sheets = Vec::new();
            for field in fields {
                let path = format!("/site/sheets/{kind}/{field}.csv?separator={separator}");
                let file = app.get(&path).await;
                assert_eq!(file.status, StatusCode::OK, "{path}");
                assert_eq!(file.header("content-type"), Some("text/csv; charset=utf-8"));
                assert!(file.bytes.starts_with(b"\xef\xbb\xbf"), "{path}: no mark");
                assert!(file.body.contains("\r\n"), "{path}: no CRLF");
                sheets.push(file.body);
            }
            let bare: Vec<String> = sheets
                .iter()
                .map(|text| text.trim_start_matches('\u{feff}').replace("\r\n", "\n"))
                .collect();
            for texts in [&sheets, &bare] {
                let sent: Vec<(&str, &[u8])> = fields
                    .iter()
                    .copied()
                    .zip(texts.iter().map(String::as_bytes))
                    .collect();
                let preview = send(&mut app, kind, &sent).await;
                let told = "Change nothing: all of it stands already.";
                assert!(preview.contains(told), "{kind}: {}", preview.body);
                assert!(
                    !preview.contains("<b>Import</b>"),
                    "{kind}: nothing to import"
                );
                assert!(preview.contains(&format!("Read as parted by {separator}s")));
            }
        }
    }
    assert_eq!(number(&app, JOURNAL).await, before);
}

/// Whatever the site's files say comes out again, column by column; but for times, which the files count
/// from the day of loading.
#[tokio::test]
async fn what_the_files_said_comes_out_again() {
    let mut app = App::signed_in(Role::Viewer).await;
    let files = SeedFiles::demonstration();
    for (kind, fields) in KINDS {
        for field in fields {
            let said = cells(&files.text(&format!("{field}.csv")).expect("a file"));
            let path = format!("/site/sheets/{kind}/{field}.csv");
            let written = cells(&app.get(&path).await.body);
            assert_eq!(written.len(), said.len(), "{field}: rows");
            for row in said.iter().skip(1) {
                let stated = |(column, cell): (&String, &String)| {
                    let is_counted = cell.starts_with("day");
                    // An STL file stands beside a site's files; a sheet alone cannot bring one.
                    let is_beside = ["shape", "shape_unit"].contains(&column.as_str());
                    (!cell.is_empty() && !is_counted && !is_beside)
                        .then(|| (column.clone(), in_order(cell)))
                };
                let stated: Vec<(String, String)> =
                    said[0].iter().zip(row).filter_map(stated).collect();
                let comes_out = |out: &Vec<String>| {
                    let pairs: Vec<(String, String)> = written[0]
                        .iter()
                        .cloned()
                        .zip(out.iter().map(|cell| in_order(cell)))
                        .collect();
                    stated.iter().all(|pair| pairs.contains(pair))
                };
                assert!(written.iter().any(comes_out), "{field}: {stated:?}");
            }
        }
    }
}

/// Words in one order, as a part's flags may stand in any.
fn in_order(cell: &str) -> String {
    let mut words: Vec<&str> = cell.split_whitespace().collect();
    words.sort_unstable();
    words.join(" ")
}

/// The cells of a CSV text, none of which holds a line break.
fn cells(text: &str) -> Vec<Vec<String>> {
    let lines = text.trim_start_matches('\u{feff}').lines();
    lines
        .map(|line| {
            let mut cells = vec![String::new()];
            let mut quoted = false;
            for letter in line.chars() {
                match letter {
                    '"' => quoted = !quoted,
                    ',' if !quoted => cells.push(String::new()),
                    _ => cells.last_mut().expect("one at least").push(letter),
                }
            }
            cells
        })
        .collect()
}

/// A template explains each column in remarks and is a sheet: with a row under it, it is brought in.
#[tokio::test]
async fn a_template_is_a_sheet_without_rows() {
    let mut app = App::signed_in(Role::Lead).await;
    for (kind, fields) in KINDS {
        for field in fields {
            let path = format!("/site/sheets/{kind}/template/{field}.csv");
            let file = app.get(&path).await;
            assert_eq!(file.status, StatusCode::OK, "{path}");
            let (header, remarks) = file.body.split_once("\r\n").expect("lines");
            let columns: Vec<&str> = header.trim_start_matches('\u{feff}').split(',').collect();
            assert_eq!(remarks.trim().lines().count(), columns.len(), "{path}");
            for column in columns {
                assert!(remarks.contains(&format!("# {column}")), "{path}: {column}");
            }
        }
    }
    let template = app.get("/site/sheets/parts/template/parts.csv").await;
    let told = fault(&mut app, "parts", &[("parts", &template.bytes)]).await;
    assert_eq!(
        told,
        "all | all | no row stands under the columns; there is nothing to bring in"
    );
    let filled = template.body + "GB-COVER,gear box cover,300,200,60,2400,form-only,,\r\n";
    let preview = send(&mut app, "parts", &[("parts", filled.as_bytes())]).await;
    assert!(
        preview.contains("1 new, 0 changed, 0 as it stands."),
        "{}",
        preview.body
    );
    // Columns on line 1, nine remarks, and the row on line 11.
    assert!(
        preview.contains("<b>GB-COVER</b></td><td class=\"figure\">11</td>"),
        "{}",
        preview.body
    );
}

/// The lead brings in all, the storekeeper lots, and everybody takes out.
#[tokio::test]
async fn who_may_bring_in_what() {
    for (role, kinds) in [
        (
            Role::Lead,
            &["assets", "capabilities", "parts", "recipes", "lots"][..],
        ),
        (Role::Storekeeper, &["lots"][..]),
        (Role::Crew, &[][..]),
        (Role::Viewer, &[][..]),
    ] {
        let mut app = App::signed_in(role).await;
        for (kind, fields) in KINDS {
            let page = app.get(&format!("/site/sheets/{kind}")).await;
            let may = kinds.contains(&kind);
            assert_eq!(page.contains("Look at it"), may, "{role} {kind}");
            let file = app
                .get(&format!("/site/sheets/{kind}/{}.csv", fields[0]))
                .await;
            assert_eq!(file.status, StatusCode::OK, "{role} {kind}");
            let answer = send(&mut app, kind, &[(fields[0], b"code\n")]).await;
            let expected = if may {
                StatusCode::UNPROCESSABLE_ENTITY
            } else {
                StatusCode::FORBIDDEN
            };
            assert_eq!(answer.status, expected, "{role} {kind}");
        }
        let list = app.get("/site/sheets").await;
        assert_eq!(
            list.contains("take out, bring in"),
            !kinds.is_empty(),
            "{role}"
        );
    }
}

/// The pages of what is listed lead here, and what is no sheet is not found.
#[tokio::test]
async fn lists_lead_to_their_sheets() {
    let mut app = App::signed_in(Role::Viewer).await;
    for (path, link) in [
        ("/site", "/site/sheets"),
        ("/catalogue", "/site/sheets/parts"),
        ("/site/needs", "/site/sheets/assets"),
        ("/site/needs", "/site/sheets/capabilities"),
        ("/catalogue", "/site/sheets/recipes"),
        ("/powder", "/site/sheets/lots"),
    ] {
        assert!(
            app.get(path).await.contains(&format!("href=\"{link}\"")),
            "{path}"
        );
        assert_eq!(app.get(link).await.status, StatusCode::OK, "{link}");
    }
    for path in [
        "/site/sheets/people",
        "/site/sheets/people/people.csv",
        "/site/sheets/parts/lots.csv",
        "/site/sheets/parts/template/lots.csv",
        "/site/sheets/parts/imported/00ff",
    ] {
        assert_eq!(app.get(path).await.status, StatusCode::NOT_FOUND, "{path}");
    }
}
