//! Photos and papers: what is taken, what is kept of it, how it is served, and that nothing is lost.

mod refused;

use std::io::Cursor;

use axum::http::{Method, StatusCode};
use image::{DynamicImage, ImageFormat, Rgb, RgbImage};
use lopdf::{Document, dictionary};
use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, SentFile, between, multipart, request};
use serde_json::Value;

const ON_REQUEST: &str = "/requests/8/photos";
const ON_LOT: &str = "/powder/L0391/photos";

/// Red on top, blue below.
fn picture(width: u32, height: u32) -> DynamicImage {
    RgbImage::from_fn(width, height, |_, y| {
        if y < height / 2 {
            Rgb([220, 20, 20])
        } else {
            Rgb([20, 20, 220])
        }
    })
    .into()
}

fn encoded(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Vec::new();
    picture
        .write_to(&mut Cursor::new(&mut bytes), format)
        .expect("it can be encoded");
    bytes
}

pub fn jpeg() -> Vec<u8> {
    encoded(&picture(64, 48), ImageFormat::Jpeg)
}

pub fn png() -> Vec<u8> {
    encoded(&picture(64, 48), ImageFormat::Png)
}

/// A paper of so many empty pages; `acting` is put into its catalog.
fn pdf(pages: usize, acting: Option<(&str, lopdf::Object)>) -> Vec<u8> {
    let mut paper = Document::with_version("1.5");
    let tree = paper.new_object_id();
    let kids: Vec<lopdf::Object> = (0..pages)
        .map(|_| {
            let page = dictionary! { "Type" => "Page", "Parent" => tree };
            paper.add_object(page).into()
        })
        .collect();
    let count = i64::try_from(pages).expect("few pages");
    let root = dictionary! { "Type" => "Pages", "Kids" => kids, "Count" => count };
    paper.objects.insert(tree, root.into());
    let mut catalog = dictionary! { "Type" => "Catalog", "Pages" => tree };
    if let Some((key, value)) = acting {
        catalog.set(key, value);
    }
    let catalog = paper.add_object(catalog);
    paper.trailer.set("Root", catalog);
    let mut bytes = Vec::new();
    paper.save_to(&mut bytes).expect("it can be written");
    bytes
}

fn file<'a>(name: &'a str, bytes: &'a [u8]) -> SentFile<'a> {
    SentFile {
        name,
        media_type: "image/jpeg",
        bytes,
    }
}

async fn crew() -> App {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    app
}

async fn add(app: &mut App, name: &str, bytes: &[u8]) -> Answer {
    app.post_files(
        ON_REQUEST,
        &[("caption", "crack at the hub")],
        &[file(name, bytes)],
    )
    .await
}

async fn count(app: &App, query: &'static str) -> i64 {
    sqlx::query_scalar(query)
        .fetch_one(&app.state.db.read)
        .await
        .expect(query)
}

async fn kept(app: &App) -> (i64, i64, i64) {
    (
        count(app, "select count(*) from attachment").await,
        count(app, "select count(*) from attached").await,
        count(
            app,
            "select count(*) from journal where kind like 'attachment.%'",
        )
        .await,
    )
}

/// The one file that is kept, and its name.
async fn only_one(app: &App) -> (String, Vec<u8>) {
    sqlx::query_as("select lower(hex(hash)), bytes from attachment")
        .fetch_one(&app.state.db.read)
        .await
        .expect("one attachment")
}

#[tokio::test]
async fn a_photo_is_kept_shown_and_journaled() {
    let mut app = crew().await;
    let before = app.get("/requests/8").await;
    assert!(before.contains("None yet. Photograph the damage with a scale beside it"));
    assert!(before.contains("href=\"/requests/8/photos#add\">Add photos or papers"));

    let answer = add(&mut app, "IMG_2034.jpg", &jpeg()).await;
    assert_eq!(
        (answer.status, answer.location()),
        (StatusCode::SEE_OTHER, ON_REQUEST),
        "{}",
        answer.body
    );
    assert_eq!(kept(&app).await, (1, 1, 1));
    let (hash, bytes) = only_one(&app).await;
    for path in [ON_REQUEST, "/requests/8"] {
        let page = app.get(path).await;
        assert!(
            page.contains(&format!("href=\"/attachments/{hash}\"")),
            "{path}"
        );
        assert!(page.contains(&format!("src=\"/attachments/{hash}/thumbnail\"")));
        assert!(page.contains("alt=\"photo: crack at the hub\""));
        assert!(page.contains("<b>crack at the hub</b>"));
        assert!(
            page.contains("Sprayer, just now<br>IMG_2034.jpg, 64\u{a0}×\u{a0}48, "),
            "{}",
            page.body
        );
    }

    let (subject, content): (String, String) = sqlx::query_as(
        "select subject_kind || ' ' || subject_id, content from journal where kind = 'attachment.added'",
    )
    .fetch_one(&app.state.db.read)
    .await
    .expect("a journal entry");
    let content: Value = serde_json::from_str(&content).expect("JSON");
    assert_eq!(subject, "request R8");
    assert_eq!(content["hash"], hash);
    assert_eq!(content["size"], bytes.len());
    assert_eq!(content["media_type"], "image/jpeg");
    assert_eq!(content["file_name"], "IMG_2034.jpg");
}

/// The file's own hash names it, so that anybody can check a copy with `sha256sum`.
#[tokio::test]
async fn a_lot_has_its_certificate_as_a_paper() {
    let mut app = crew().await;
    assert!(
        app.get("/powder/L0391")
            .await
            .contains("Photograph the maker’s certificate")
    );
    let answer = app
        .post_files(ON_LOT, &[], &[file("certificate.pdf", &pdf(3, None))])
        .await;
    assert_eq!(answer.location(), ON_LOT, "{}", answer.body);
    let page = app.get("/powder/L0391").await;
    assert!(page.contains(">PDF</text>"));
    assert!(page.contains(">3\u{a0}pages</text>"));

    let (hash, bytes) = only_one(&app).await;
    let served = app.get(&format!("/attachments/{hash}")).await;
    assert_eq!(served.bytes, bytes);
    assert_eq!(served.header("content-type"), Some("application/pdf"));
    let name = format!("attachment; filename=\"paper-{}.pdf\"", &hash[..8]);
    assert_eq!(served.header("content-disposition"), Some(name.as_str()));
    let no_thumbnail = app.get(&format!("/attachments/{hash}/thumbnail")).await;
    assert_eq!(no_thumbnail.status, StatusCode::NOT_FOUND);
}

/// Exif 2.32: tag 274 says how the camera was held, tag 34853 leads to the place; here beside a
/// make (tag 271) and behind the file a web page.
#[tokio::test]
async fn place_device_and_tail_are_gone_and_the_picture_is_upright() {
    let mut app = crew().await;
    let plain = encoded(&picture(40, 20), ImageFormat::Jpeg);
    let mut exif = b"Exif\0\0II\x2a\0\x08\0\0\0\x03\0".to_vec();
    exif.extend(b"\x0f\x01\x02\0\x0b\0\0\0\x32\0\0\0"); // Make, 11 letters at 50
    exif.extend(b"\x12\x01\x03\0\x01\0\0\0\x06\0\0\0"); // Orientation 6: turn a quarter right
    exif.extend(b"\x25\x88\x04\0\x01\0\0\0\x3d\0\0\0"); // GPS at 61
    exif.extend(b"\0\0\0\0SprayPhone\0");
    exif.extend(b"\x01\0\x01\0\x02\0\x02\0\0\0S\0\0\0\0\0\0\0GPS 9 S 147 E");
    let length = u16::try_from(exif.len() + 2).expect("a short segment");
    let sent = [
        &plain[..2],
        b"\xff\xe1",
        &length.to_be_bytes(),
        &exif,
        &plain[2..],
        b"<html><script>alert(1)</script>",
    ]
    .concat();
    let answer = add(&mut app, "pump.jpg", &sent).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);

    let (hash, _) = only_one(&app).await;
    for path in [
        format!("/attachments/{hash}"),
        format!("/attachments/{hash}/thumbnail"),
    ] {
        let served = app.get(&path).await;
        for gone in ["Exif", "SprayPhone", "GPS", "147", "script", "html"] {
            assert!(
                !served
                    .bytes
                    .windows(gone.len())
                    .any(|found| found == gone.as_bytes())
            );
        }
        // Red was on top and comes to the right side.
        let shown = image::load_from_memory(&served.bytes)
            .expect("a picture")
            .to_rgb8();
        assert_eq!(shown.dimensions(), (20, 40));
        assert!(shown.get_pixel(17, 20)[0] > 180 && shown.get_pixel(17, 20)[2] < 80);
        assert!(shown.get_pixel(2, 20)[2] > 180 && shown.get_pixel(2, 20)[0] < 80);
    }
}

/// Neither the name nor what the sender says decides.
#[tokio::test]
async fn a_file_is_what_its_bytes_are() {
    let mut app = crew().await;
    let png = encoded(&picture(30, 30), ImageFormat::Png);
    let lying = SentFile {
        name: "report.exe",
        media_type: "text/html",
        bytes: &png,
    };
    let answer = app.post_files(ON_REQUEST, &[], &[lying]).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let (hash, _) = only_one(&app).await;
    let served = app.get(&format!("/attachments/{hash}")).await;
    assert_eq!(served.header("content-type"), Some("image/png"));
}

/// One file at fault, and none of the form is kept.
#[tokio::test]
async fn several_files_are_taken_together_or_not_at_all() {
    let mut app = crew().await;
    let (first, second) = (jpeg(), pdf(1, None));
    let bad = [file("a.jpg", &first), file("b.jpg", b"no picture")];
    let answer = app.post_files(ON_REQUEST, &[], &bad).await;
    assert!(
        answer
            .field_error("files")
            .is_some_and(|error| error.starts_with("“b.jpg” is a text"))
    );
    assert_eq!(kept(&app).await, (0, 0, 0));
    let good = [
        file("a.jpg", &first),
        file("b.pdf", &second),
        file("c.jpg", &first),
    ];
    let answer = app.post_files(ON_REQUEST, &[], &good).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    assert_eq!(kept(&app).await, (2, 2, 2));
    let page = app.get(ON_REQUEST).await;
    assert!(
        page.contains("2 photos and papers are on R8. One was there already."),
        "{}",
        page.body
    );
}

#[tokio::test]
async fn what_is_there_is_not_hung_twice_and_may_hang_elsewhere() {
    let mut app = crew().await;
    add(&mut app, "first.jpg", &jpeg()).await;
    app.wait_minutes(7);
    let answer = add(&mut app, "again.jpg", &jpeg()).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(
        answer.field_error("files"),
        Some("“again.jpg” is here already: added 7 min ago by Sprayer")
    );
    assert_eq!(kept(&app).await, (1, 1, 1));
    let answer = app
        .post_files(ON_LOT, &[], &[file("first.jpg", &jpeg())])
        .await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    assert_eq!(kept(&app).await, (1, 2, 2), "kept once, hung twice");
}

/// The answer was lost on its way: the same form again changes nothing and leads to the same page.
#[tokio::test]
async fn a_form_sent_twice_adds_once() {
    let mut app = crew().await;
    let once = [("once", "AAAAAAAAAAAAAAAAAAAAAA")];
    for _ in 0..2 {
        let answer = app
            .post_files(ON_REQUEST, &once, &[file("p.jpg", &jpeg())])
            .await;
        assert_eq!(
            (answer.status, answer.location()),
            (StatusCode::SEE_OTHER, ON_REQUEST)
        );
    }
    assert_eq!(kept(&app).await, (1, 1, 1));
}

#[tokio::test]
async fn without_token_or_number_nothing_is_kept() {
    let mut app = crew().await;
    let (token, bytes) = (app.token.clone(), jpeg());
    for fields in [
        vec![("once", "AAAAAAAAAAAAAAAAAAAAAA")],
        vec![("csrf", token.as_str())],
    ] {
        let body = multipart(&fields, &[("files", file("p.jpg", &bytes))]);
        let sent =
            request(Method::POST, ON_REQUEST).header("content-type", mendpost_tests::MULTIPART);
        assert_eq!(app.send(sent, body).await.status, StatusCode::FORBIDDEN);
    }
    assert_eq!(kept(&app).await, (0, 0, 0));
}

#[tokio::test]
async fn a_viewer_sees_and_adds_nothing() {
    let mut app = crew().await;
    add(&mut app, "p.jpg", &jpeg()).await;
    let mut viewer = app.other_browser();
    viewer.sign_in(Role::Viewer).await;
    let page = viewer.get(ON_REQUEST).await;
    assert!(page.contains("crack at the hub"));
    assert!(!page.contains("type=\"file\"") && !page.contains("take-off"));
    assert_eq!(
        add(&mut viewer, "q.jpg", &pdf(1, None)).await.status,
        StatusCode::FORBIDDEN
    );
    assert_eq!(kept(&app).await, (1, 1, 1));
}

/// A name is shown as text, and nothing else is done with it.
#[tokio::test]
async fn names_are_shown_cleaned() {
    let long = format!("{}.jpg", "ü".repeat(300));
    for (sent, shown) in [
        ("../../etc/pump.jpg", "pump.jpg, 64"),
        ("C:\\photos\\pump.jpg", "pump.jpg, 64"),
        ("<b>\"насос\".jpg", "&#60;b&#62;%22насос%22.jpg, 64"),
        ("pump\u{202e}gpj.exe", "pumpgpj.exe, 64"),
        (long.as_str(), &format!("<br>{}, 64", "ü".repeat(100))),
    ] {
        let mut app = crew().await;
        let answer = add(&mut app, sent, &jpeg()).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{sent}");
        let page = app.get(ON_REQUEST).await;
        assert!(
            page.contains(shown),
            "{shown}: {:?}",
            between(&page.body, "just now", "</p>")
        );
    }
}

/// Shown alone a file may run nothing and load nothing, whatever a browser takes it for; and only what
/// hangs somewhere is served, to those who are signed in.
#[tokio::test]
async fn files_are_served_under_a_strict_policy() {
    let mut app = crew().await;
    add(&mut app, "p.jpg", &jpeg()).await;
    let (hash, _) = only_one(&app).await;
    let path = format!("/attachments/{hash}");
    let served = app.get(&path).await;
    let policies: Vec<&str> = served
        .headers
        .get_all("content-security-policy")
        .iter()
        .filter_map(|policy| policy.to_str().ok())
        .collect();
    assert_eq!(policies[0], "default-src 'none'; sandbox");
    assert!(policies[1].contains("frame-ancestors 'none'"));
    for (name, value) in [
        ("x-content-type-options", "nosniff"),
        ("cache-control", "no-store"),
        ("content-disposition", "inline"),
        ("content-type", "image/jpeg"),
    ] {
        assert_eq!(served.header(name), Some(value), "{name}");
    }
    let page = app.get(ON_REQUEST).await;
    assert_eq!(
        page.headers
            .get_all("content-security-policy")
            .iter()
            .count(),
        1
    );

    for other in [
        "0".repeat(64),
        hash.to_uppercase(),
        hash[1..].to_owned(),
        "..%2fsite".to_owned(),
    ] {
        for end in ["", "/thumbnail"] {
            let answer = app.get(&format!("/attachments/{other}{end}")).await;
            assert_eq!(answer.status, StatusCode::NOT_FOUND, "{other}");
        }
    }
    let stranger = app.other_browser().get(&path).await;
    assert!(stranger.location().starts_with("/sign-in"));
    for missing in [
        "/requests/999/photos",
        "/requests/x/photos",
        "/powder/L9999/photos",
    ] {
        assert_eq!(app.get(missing).await.status, StatusCode::NOT_FOUND);
    }
}

/// The way to take off the one photo on request 8.
async fn take_off_path(app: &mut App) -> String {
    let page = app.get(ON_REQUEST).await;
    let id = between(&page.body, "href=\"/attached/", "/take-off\"").expect("a way to take it off");
    format!("/attached/{id}/take-off")
}

#[tokio::test]
async fn taken_off_it_stays_on_record() {
    let mut app = crew().await;
    add(&mut app, "p.jpg", &jpeg()).await;
    let (hash, _) = only_one(&app).await;
    let path = take_off_path(&mut app).await;
    assert!(app.get(&path).await.contains("Say why this comes off R8."));
    let answer = app.post(&path, &[("reason", " ")]).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(answer.field_error("reason"), Some("enter something here"));

    let answer = app.post(&path, &[("reason", "shows another pump")]).await;
    assert_eq!(
        (answer.status, answer.location()),
        (StatusCode::SEE_OTHER, ON_REQUEST)
    );
    let page = app.get(ON_REQUEST).await;
    assert!(page.contains("Taken off, on record") && page.contains("shows another pump"));
    assert!(!page.contains("<img"));
    assert!(!app.get("/requests/8").await.contains("<img"));
    assert_eq!(
        app.get(&format!("/attachments/{hash}")).await.status,
        StatusCode::OK
    );
    assert_eq!(kept(&app).await, (1, 1, 2));
    let again = app.post(&path, &[("reason", "again")]).await;
    assert_eq!(again.status, StatusCode::CONFLICT);

    // It may come back, as a photo of its own.
    assert_eq!(
        add(&mut app, "p.jpg", &jpeg()).await.status,
        StatusCode::SEE_OTHER
    );
    assert_eq!(kept(&app).await, (1, 2, 3));
}

#[tokio::test]
async fn only_who_added_it_or_the_lead_takes_it_off() {
    let mut app = crew().await;
    add(&mut app, "p.jpg", &jpeg()).await;
    let path = take_off_path(&mut app).await;
    let mut other = app.other_browser();
    other.sign_in(Role::Storekeeper).await;
    assert!(!other.get(ON_REQUEST).await.contains("take-off"));
    let answer = other.post(&path, &[("reason", "no")]).await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN);
    assert!(
        answer.contains("Only Sprayer, who added it, or the lead may take this off"),
        "{}",
        answer.body
    );
    let mut lead = app.other_browser();
    lead.sign_in(Role::Lead).await;
    let answer = lead.post(&path, &[("reason", "wrong machine")]).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
}

/// 40 hang there; one more does not fit.
#[tokio::test]
async fn a_request_holds_forty() {
    let mut app = crew().await;
    let pictures: Vec<Vec<u8>> = (1..=41)
        .map(|side| encoded(&picture(side, 8), ImageFormat::Png))
        .collect();
    for ten in pictures[..40].chunks(10) {
        let files: Vec<SentFile<'_>> = ten.iter().map(|bytes| file("p.png", bytes)).collect();
        let answer = app.post_files(ON_REQUEST, &[], &files).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    }
    let answer = add(&mut app, "p.png", &pictures[40]).await;
    assert!(answer.field_error("files").is_some_and(|error| {
        error.starts_with("40 photos and papers are here already, and at most 40")
    }));
    assert_eq!(kept(&app).await, (40, 40, 40));
    let files: Vec<SentFile<'_>> = pictures[..11]
        .iter()
        .map(|bytes| file("p.png", bytes))
        .collect();
    let answer = app.post_files(ON_LOT, &[], &files).await;
    assert_eq!(
        answer.field_error("files"),
        Some("11 files are too many at once; choose at most 10")
    );
}

/// The tables themselves refuse to forget.
#[tokio::test]
async fn no_statement_changes_or_deletes_what_is_kept() {
    let mut app = crew().await;
    add(&mut app, "p.jpg", &jpeg()).await;
    for statement in [
        "update attachment set media_type = 'image/png'",
        "delete from attachment",
        "update attached set caption = 'another'",
        "delete from attached",
        "insert into attached select x'00112233445566778899aabbccddeeff', 'request', '999', hash,
           file_name, caption, person_id, added_by, added_ms, journal_sequence, null, null, null, null
         from attached",
    ] {
        let result = sqlx::query(statement).execute(&app.state.db.write).await;
        assert!(result.is_err(), "{statement}");
    }
}
