//! The part file: everything on record of one part, on a page, as one file, and as an archive that checks itself.

use std::fs;
use std::io::Read;
use std::process::Command;

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, SentFile, number};
use serde_json::Value;
use sha2::{Digest, Sha256};
use tempfile::TempDir;

use crate::attachments::jpeg;
use crate::finish::{SLEEVE, done, up_to_the_size_sheet};

const FILE: &str = "/requests/9/file";

/// The shaft sleeve R9 from its request to its release: measured, its coupons tested, released by the machinist, with
/// a photo whose sent name tries to lead elsewhere and words that are markup.
async fn released() -> App {
    let mut app = up_to_the_size_sheet().await;
    let taken = jpeg();
    let photo = SentFile {
        name: "../../etc/passwd\n.jpg",
        media_type: "image/jpeg",
        bytes: &taken,
    };
    let caption = [("caption", "<b>worn</b> at the seal")];
    let answer = app
        .post_files("/requests/9/photos", &caption, &[photo])
        .await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    done(&mut app, 9, &SLEEVE).await;
    for (property, figure, tool, label) in [
        ("strength", "44", "P-01", "A"),
        ("porosity", "1.2", "S-01", "B"),
    ] {
        let fields = [
            ("property", property),
            ("figure", figure),
            ("tool", tool),
            ("label", label),
            ("coupon", "new"),
            ("condition", "as-sprayed"),
            ("tested_by", "Machinist"),
        ];
        let answer = app.post("/requests/9/coupons", &fields).await;
        assert_eq!(answer.location(), "/requests/9/coupons", "{}", answer.body);
    }
    app.sign_in(Role::Checker).await;
    done(&mut app, 9, &[("limit", "full")]).await;
    app
}

/// The members of an archive, by name in their order.
fn members(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(bytes)).expect("an archive");
    (0..archive.len())
        .map(|at| {
            let mut member = archive.by_index(at).expect("a member");
            let mut bytes = Vec::new();
            member.read_to_end(&mut bytes).expect("its bytes");
            let name = member.name().expect("a name in UTF-8");
            (name.into_owned(), bytes)
        })
        .collect()
}

fn member<'a>(members: &'a [(String, Vec<u8>)], name: &str) -> &'a [u8] {
    let found = members.iter().find(|(known, _)| known == name);
    &found.unwrap_or_else(|| panic!("{name}")).1
}

/// SHA-256 in hexadecimal.
fn sum(bytes: &[u8]) -> String {
    let sum = Sha256::digest(bytes);
    sum.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Unpacks it and has the sums checked by the tool that everybody has; what it said, and whether all held.
fn checked(members: &[(String, Vec<u8>)]) -> (bool, String) {
    let folder = TempDir::new().expect("a folder");
    for (name, bytes) in members {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().expect("a folder")).expect("a folder is made");
        fs::write(path, bytes).expect("a file is written");
    }
    let output = Command::new("sha256sum")
        .args(["-c", "--strict", "SHA256SUMS"])
        .current_dir(folder.path())
        .output()
        .expect("sha256sum runs");
    (
        output.status.success(),
        String::from_utf8_lossy(&output.stdout).into_owned(),
    )
}

/// Every fact from request to release stands on the page: who asked, the yes, the recipe and its approver, each
/// operation, 60.01 mm found between 60 and 60.03, the tool, coupons, the release with its signer.
#[tokio::test(flavor = "multi_thread")]
async fn all_of_a_part_stands_on_one_sheet() {
    let mut app = released().await;
    let page = app.get(FILE).await;
    for said in [
        "RELEASED: R9",
        "SS-041",
        "Waterworks engineer",
        "60.01 mm",
        "60.03 mm",
        "M-03",
        "strength",
        "Machinist",
        "I did not build this part.",
        "It was in no furnace load.",
        "No powder is traced to it.",
        "&#60;b&#62;worn&#60;/b&#62; at the seal",
        "request part released, request R9",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let within = page.body.matches("Within</span> <b>YES</b>").count();
    assert_eq!(within, 3, "{}", page.body);
    for path in ["/requests/9", "/requests/9/trace"] {
        assert!(
            app.get(path).await.contains("href=\"/requests/9/file\""),
            "{path}"
        );
    }
    let mut viewer = app.other_browser();
    viewer.sign_in(Role::Viewer).await;
    assert_eq!(viewer.get(FILE).await.status, StatusCode::OK);
}

/// What is not released says so first; a number that is none is not found, in each of the three forms.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_not_released_says_so_first() {
    let mut app = App::signed_in(Role::Crew).await;
    let page = app.get(FILE).await;
    assert!(
        page.contains("NOT RELEASED: R9") && page.contains("Not to be fitted"),
        "{}",
        page.body
    );
    for path in [
        "/requests/999/file",
        "/requests/x/file.html",
        "/requests/0/file.zip",
    ] {
        assert_eq!(app.get(path).await.status, StatusCode::NOT_FOUND, "{path}");
    }
    let held = [("reason", "a dent at the seal")];
    let mut app = up_to_the_size_sheet().await;
    let answer = app.post("/requests/9/hold", &held).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    assert!(app.get(FILE).await.contains("ON HOLD: R9"));
}

/// The archive's sums hold by `sha256sum -c`; with one bit of any member changed they do not. The photo lies in it
/// byte for byte under its hash, wherever its sent name would lead.
#[tokio::test(flavor = "multi_thread")]
async fn the_archive_checks_itself() {
    let mut app = released().await;
    let answer = app.get(&format!("{FILE}.zip")).await;
    assert_eq!(answer.header("content-type"), Some("application/zip"));
    let name = answer.header("content-disposition").unwrap_or_default();
    assert!(
        name.starts_with("attachment; filename=\"port-ansel-R9-journal-"),
        "{name}"
    );
    let unpacked = members(&answer.bytes);
    let (holds, said) = checked(&unpacked);
    assert!(holds, "{said}");
    assert_eq!(said.lines().count(), unpacked.len() - 1, "{said}");
    for at in 0..unpacked.len() - 1 {
        let mut changed = unpacked.clone();
        let middle = changed[at].1.len() / 2;
        changed[at].1[middle] ^= 1;
        assert!(!checked(&changed).0, "{}", changed[at].0);
    }
    let photos: Vec<&(String, Vec<u8>)> = unpacked
        .iter()
        .filter(|(name, _)| name.starts_with("attachments/"))
        .collect();
    assert_eq!(photos.len(), 1);
    let sum = sum(&photos[0].1);
    assert_eq!(photos[0].0, format!("attachments/{sum}.jpg"));
    let page = app.get(&format!("/attachments/{sum}")).await;
    assert_eq!(page.bytes, photos[0].1);
}

/// A drawing that is kept as PNG is called so, and is one.
#[tokio::test(flavor = "multi_thread")]
async fn a_picture_is_called_what_it_is() {
    let mut app = App::signed_in(Role::Crew).await;
    let drawing = crate::attachments::png();
    let sent = SentFile {
        name: "sketch.png",
        media_type: "image/png",
        bytes: &drawing,
    };
    app.post_files("/requests/9/photos", &[("caption", "")], &[sent])
        .await;
    let unpacked = members(&app.get(&format!("{FILE}.zip")).await.bytes);
    let (name, bytes) = unpacked
        .iter()
        .find(|(name, _)| name.starts_with("attachments/"))
        .expect("the drawing");
    assert!(name.ends_with(".png"), "{name}");
    assert!(bytes.starts_with(b"\x89PNG"), "{name}");
}

/// Each line of the journal's part is what its entry was sealed over: its SHA-256 is the hash in the journal. So
/// anybody can check it with `sha256sum` (RFC 8785 and FIPS 180-4).
#[tokio::test(flavor = "multi_thread")]
async fn each_line_of_the_journal_has_the_hash_of_its_entry() {
    let mut app = released().await;
    let unpacked = members(&app.get(&format!("{FILE}.zip")).await.bytes);
    let lines = std::str::from_utf8(member(&unpacked, "journal.ndjson")).expect("text");
    let values: Value = serde_json::from_slice(member(&unpacked, "part.json")).expect("JSON");
    let entries = values["entries"].as_array().expect("entries");
    assert_eq!(lines.lines().count(), entries.len());
    assert!(entries.len() > 8, "{entries:?}");
    for (line, entry) in lines.lines().zip(entries) {
        let sum = sum(line.as_bytes());
        assert_eq!(entry["hash"], sum);
        let sequence = entry["sequence"].as_i64().expect("a number");
        let stored: String =
            sqlx::query_scalar("select lower(hex(hash)) from journal where sequence = ?")
                .bind(sequence)
                .fetch_one(&app.state.db.read)
                .await
                .expect("an entry");
        assert_eq!(stored, sum, "{sequence}");
    }
    assert_eq!(values["standing"], "RELEASED");
    assert_eq!(
        values["sections"]["Sizes"].as_array().map(Vec::len),
        Some(3)
    );
}

/// An hour later, with nothing else on record, it is the same to the byte; reading it changes nothing.
#[tokio::test(flavor = "multi_thread")]
async fn the_same_record_makes_the_same_bytes() {
    let mut app = released().await;
    let before = number(&app, "select max(sequence) from journal").await;
    let first = app.get(&format!("{FILE}.zip")).await.bytes;
    app.wait_minutes(60);
    assert_eq!(app.get(&format!("{FILE}.zip")).await.bytes, first);
    assert_eq!(
        number(&app, "select max(sequence) from journal").await,
        before
    );
}

/// The one file stands alone: no address is fetched from anywhere, nothing runs in it.
#[tokio::test(flavor = "multi_thread")]
async fn the_one_file_opens_alone() {
    let mut app = released().await;
    let answer = app.get(&format!("{FILE}.html")).await;
    for foreign in [
        "<script", "src=", "http:", "https:", "url(", "@import", "<link", "href=\"/",
    ] {
        assert!(!answer.contains(foreign), "{foreign}");
    }
    assert!(
        answer.contains("RELEASED: R9") && answer.contains("60.01 mm"),
        "{}",
        answer.body
    );
    let unpacked = members(&app.get(&format!("{FILE}.zip")).await.bytes);
    assert_eq!(member(&unpacked, "part-R9.html"), answer.bytes);
}

/// 560 g of L0406 are drawn for R9, 100 g left: what the file says was sprayed, and went to coupons, and was swept up
/// or unexplained, is what left the feeder: 210 + 10 + 230 + 10 = 460 g.
#[tokio::test(flavor = "multi_thread")]
async fn the_powder_of_a_build_is_the_books() {
    let mut app = crate::book::with_clean_feeder().await;
    crate::requests::course::sort(&mut app, 9, "SS-041").await;
    for _ in 0..2 {
        done(&mut app, 9, &[]).await;
    }
    crate::book::draw(&mut app, "L0406-1", "R9", 560).await;
    app.post("/requests/9/build", &[]).await;
    app.wait_minutes(20);
    app.post("/builds/1/mark", &[("what", "spray"), ("pass", "1")])
        .await;
    app.post(
        "/builds/1/deviation",
        &[("words", "gas fell to 28 bar in pass 3")],
    )
    .await;
    app.wait_minutes(20);
    let weighed = [
        ("outcome", "done"),
        ("part", "210"),
        ("coupon", "10"),
        ("left", "100"),
        ("swept", "230"),
        ("division", "10"),
    ];
    let answer = app.post("/builds/1/finish", &weighed).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let unpacked = members(&app.get(&format!("{FILE}.zip")).await.bytes);
    let values: Value = serde_json::from_slice(member(&unpacked, "part.json")).expect("JSON");
    let rows = |section: &str| {
        values["sections"][section]
            .as_array()
            .cloned()
            .unwrap_or_default()
    };
    let moved = rows("Powder drawn and returned for its builds");
    let sum = |reason: &str| -> i64 {
        let of = moved.iter().filter(|it| it["Reason"] == reason);
        of.filter_map(|it| it["Mass"].as_i64()).sum()
    };
    assert_eq!(sum("draw"), 560_000, "{moved:?}");
    assert_eq!(sum("spray"), 460_000, "{moved:?}");
    assert_eq!(rows("Deviations").len(), 1);
    let page = app.get(FILE).await;
    for said in ["L0406", "560 g", "gas fell to 28 bar in pass 3"] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
}
