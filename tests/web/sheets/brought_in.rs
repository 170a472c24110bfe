//! What an import does: shown first, then done whole, with one entry in the journal.

use std::fmt::Write as _;

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, between, number, text};
use sha2::{Digest, Sha256};

use super::{JOURNAL, fault, faults, hidden, import, import_because, send};

const ENTRY: &str =
    "select content from journal where kind = 'sheet.imported' order by sequence desc limit 1";
const PARTS: &str = "select count(*) from part";

/// The feed roller sleeve is 520 x 180 x 180 mm, 14 500 g and carries load; the seal carrier ring is form
/// only. One is as it stands, one changes, one is new.
#[tokio::test]
async fn parts_are_shown_first_and_then_brought_in_whole() {
    let mut app = App::signed_in(Role::Lead).await;
    let before = (number(&app, JOURNAL).await, number(&app, PARTS).await);
    let sheet = "code,name,x_mm,y_mm,z_mm,mass_g,flags\n\
                 SM-ROLLER,feed roller sleeve,520,180,180,14500,carries-load\n\
                 RC-RING,seal carrier ring,240,240,42,3300,form-only\n\
                 GB-COVER,\"cover, gear box\",300,200,60,2400,form-only guard\n";
    let preview = send(&mut app, "parts", &[("parts", sheet.as_bytes())]).await;
    assert_eq!(preview.status, StatusCode::OK, "{}", preview.body);
    for told in [
        "1 new, 1 changed, 1 as it stands.",
        "z_mm: 40 → <b>42</b>",
        "mass_g: 3100 → <b>3300</b>",
        "cover, gear box",
        "Read as parted by commas, decimals with a point.",
    ] {
        assert!(preview.contains(told), "{told}: {}", preview.body);
    }
    assert!(!preview.contains("y_mm: 240"), "what stays is not listed");
    let stands = (number(&app, JOURNAL).await, number(&app, PARTS).await);
    assert_eq!(stands, before, "a preview keeps nothing");

    let done = import(&mut app, "parts", &preview).await;
    assert_eq!(
        (done.status, done.location()),
        (StatusCode::SEE_OTHER, "/site/sheets/parts"),
        "{}",
        done.body
    );
    let after = (number(&app, JOURNAL).await, number(&app, PARTS).await);
    assert_eq!(
        after,
        (before.0.map(|n| n + 2), before.1.map(|n| n + 1)),
        "an entry of the sheet and one of the ring, one part"
    );
    let ring = "select x_mm || ' ' || y_mm || ' ' || z_mm || ' ' || mass_g from part where code = 'RC-RING'";
    assert_eq!(text(&app, ring).await.as_deref(), Some("240 240 42 3300"));
    let flags = "select group_concat(flag, ' ') from part_flag f join part p on p.id = f.part_id
                 where p.code = 'GB-COVER'";
    assert_eq!(text(&app, flags).await.as_deref(), Some("form-only guard"));

    // An auditor finds what it did in the journal, and the sheet itself by the hash that stands there.
    let entry = text(&app, ENTRY).await.expect("an entry");
    let hash: String = Sha256::digest(sheet)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect();
    let expected = format!(
        "{{\"changed\":[\"RC-RING\"],\"new\":[\"GB-COVER\"],\"same\":1,\"sheets\":{{\"parts.csv\":\"{hash}\"}}}}"
    );
    assert_eq!(entry, expected);
    let of_ring = "select kind || ' ' || (content ->> '$.version') || ' ' || (content ->> '$.before.mass_g')
                     || ' ' || (content ->> '$.after.mass_g') || ' ' || (content ->> '$.sheet' = sequence - 1)
                   from journal where subject_id = 'RC-RING' order by sequence desc limit 1";
    assert_eq!(
        text(&app, of_ring).await.as_deref(),
        Some("part.changed 2 3100 3300 1"),
        "the entry of the ring names the sheet's"
    );
    let page = app.get("/site/sheets/parts").await;
    assert!(page.contains("1 part new, 1 changed."), "{}", page.body);
    assert!(page.contains("1 new, 1 changed, 1 as it was"));
    let kept = app
        .get(&format!("/site/sheets/parts/imported/{hash}"))
        .await;
    assert_eq!(kept.body, sheet);
}

/// A ring that held nothing becomes one that carries load: more is asked for, and that is no caution. The
/// sleeve loses its flag, a lifting part lifts no more: less is asked for, and the row says so in words.
#[tokio::test]
async fn a_part_that_asks_for_less_is_pointed_out() {
    let mut app = App::signed_in(Role::Lead).await;
    let sheet = "code,name,x_mm,y_mm,z_mm,mass_g,flags\n\
                 RC-RING,seal carrier ring,240,240,40,3100,carries-load\n\
                 SM-ROLLER,feed roller sleeve,520,180,180,14500,form-only\n";
    let preview = send(&mut app, "parts", &[("parts", sheet.as_bytes())]).await;
    assert!(preview.contains("Look at the row that may ask for less, say why, then import it."));
    let told = "Is no longer marked: carries load. Until now: may be built; fitted only after the owner’s \
                engineer says yes in writing. From now on: the crew may build and release it.";
    assert!(preview.contains(told), "{}", preview.body);
    assert_eq!(preview.body.matches("Is no longer marked").count(), 1);
    let place = |code: &str| preview.body.find(&format!("<b>{code}</b>")).expect("a row");
    assert!(
        place("SM-ROLLER") < place("RC-RING"),
        "what asks for less stands first"
    );

    // Its page takes no flag off without a reason, and neither does a sheet: both wait for it.
    let entries = number(&app, JOURNAL).await;
    let asked = import(&mut app, "parts", &preview).await;
    assert_eq!(asked.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(asked.field_error("reason").is_some(), "{}", asked.body);
    assert_eq!(number(&app, JOURNAL).await, entries);
    let reason = "a guard holds it since";
    let done = import_because(&mut app, "parts", &asked, reason).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.body);
    let reasons = "select group_concat(subject_id || ': ' || (content ->> '$.reason'), '; ')
                   from (select * from journal where kind = 'part.changed' order by subject_id)";
    assert_eq!(
        text(&app, reasons).await.as_deref(),
        Some("RC-RING: ; SM-ROLLER: a guard holds it since"),
        "only what asks for less has it"
    );

    // A part of which nobody has said what it does is not built; once somebody has, it asks for less.
    let unknown = "update part_flag set flag = 'unknown' where part_id = (select id from part where code = 'RC-RING')";
    sqlx::query(unknown)
        .execute(&app.state.db.write)
        .await
        .expect("a flag");
    let preview = send(&mut app, "parts", &[("parts", sheet.as_bytes())]).await;
    assert!(
        preview.contains("Look at the row that may ask for less"),
        "{}",
        preview.body
    );
    assert!(preview.contains("Until now: nobody has said what it does"));
}

/// A part that can injure lifts no more: the examiner is not asked any more, and that is said.
#[tokio::test]
async fn a_lost_flag_is_pointed_out_beside_one_that_stays() {
    let mut app = App::signed_in(Role::Lead).await;
    let row = |flags| {
        format!("code,name,x_mm,y_mm,z_mm,mass_g,flags\nGB-HOOK,hook,90,60,20,800,{flags}\n")
    };
    let preview = send(
        &mut app,
        "parts",
        &[("parts", row("lifts can-injure").as_bytes())],
    )
    .await;
    import(&mut app, "parts", &preview).await;
    let preview = send(
        &mut app,
        "parts",
        &[("parts", row("can-injure").as_bytes())],
    )
    .await;
    assert!(
        preview.contains("Is no longer marked: lifts. Until now: not built before"),
        "{}",
        preview.body
    );
}

/// 2 000 parts with 30 planted faults: all 30 are told by line and column and nothing is stored; put
/// right, all are.
#[tokio::test]
async fn thirty_faults_in_two_thousand_rows_are_all_told() {
    let mut app = App::signed_in(Role::Lead).await;
    let row = |n: usize| -> [String; 7] {
        let side = |step: usize| (20 + n * step % 400).to_string();
        [
            format!("P-{n:04}"),
            format!("part {n}"),
            side(3),
            side(5),
            side(7),
            (100 + n * 11).to_string(),
            ["form-only", "carries-load", "guard food-or-water"][n % 3].to_owned(),
        ]
    };
    let columns = ["code", "name", "x_mm", "y_mm", "z_mm", "mass_g", "flags"];
    // One every 65 rows, in each column by turns: column, and what stands there by mistake.
    let mistakes: [(usize, &str); 10] = [
        (0, "P 1"),
        (1, ""),
        (2, "0"),
        (3, "1oo"),
        (4, "100001"),
        (5, "-5"),
        (6, "carry-load"),
        (2, "12.5"),
        (5, "1,500"),
        (0, "P-0000"),
    ];
    let write = |faulty: bool| -> (String, Vec<(String, &str)>) {
        let mut text = columns.join(";") + "\n";
        let mut planted = Vec::new();
        for n in 0..2000 {
            let mut cells = row(n);
            if faulty && n % 65 == 40 && planted.len() < 30 {
                let (column, mistake) = mistakes[planted.len() % mistakes.len()];
                // The second part with the code of the first is told where it stands.
                cells[column] = mistake.to_owned();
                // The header is line 1.
                planted.push(((n + 2).to_string(), columns[column]));
            }
            writeln!(text, "{}", cells.join(";")).expect("memory");
        }
        (text, planted)
    };
    let before = (number(&app, JOURNAL).await, number(&app, PARTS).await);
    let (sheet, planted) = write(true);
    let told = faults(&send(&mut app, "parts", &[("parts", sheet.as_bytes())]).await);
    let places: Vec<(String, &str)> = told
        .iter()
        .map(|[line, column, _]| (line.clone(), column.as_str()))
        .collect();
    assert_eq!(planted.len(), 30);
    assert_eq!(places, planted);
    assert_eq!(
        (number(&app, JOURNAL).await, number(&app, PARTS).await),
        before
    );

    let (sheet, _) = write(false);
    let preview = send(&mut app, "parts", &[("parts", sheet.as_bytes())]).await;
    assert!(
        preview.contains("2\u{202f}000 new, 0 changed, 0 as it stands."),
        "{}",
        preview.body
    );
    assert!(preview.contains("And 1\u{202f}800 more new ones."));
    let done = import(&mut app, "parts", &preview).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.body);
    let after = (number(&app, JOURNAL).await, number(&app, PARTS).await);
    assert_eq!(after, (before.0.map(|n| n + 1), before.1.map(|n| n + 2000)));
}

/// Somebody changes a part between preview and import: what the sheet would do is something else now, so
/// it is shown again and not done; looked at once more, it is.
#[tokio::test]
async fn what_became_something_else_is_shown_again() {
    let mut app = App::signed_in(Role::Lead).await;
    let sheet = |mass| {
        format!(
            "code,name,x_mm,y_mm,z_mm,mass_g,flags\nRC-RING,seal carrier ring,240,240,40,{mass},form-only\n"
        )
    };
    let first = send(&mut app, "parts", &[("parts", sheet(3200).as_bytes())]).await;
    let second = send(&mut app, "parts", &[("parts", sheet(3300).as_bytes())]).await;
    import(&mut app, "parts", &second).await;
    let entries = number(&app, JOURNAL).await;
    let again = import(&mut app, "parts", &first).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    assert!(again.contains("Something changed here since this was shown"));
    assert!(
        again.contains("mass_g: 3300 → <b>3200</b>"),
        "{}",
        again.body
    );
    assert_eq!(number(&app, JOURNAL).await, entries);
    let done = import(&mut app, "parts", &again).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.body);
    // Sent once more by a form with a number of its own: nothing is left to change.
    let fields = hidden(&again);
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .filter(|(name, _)| name != "csrf" && name != "once")
        .map(|(name, value)| (name.as_str(), value.as_str()))
        .collect();
    let path = "/site/sheets/parts/import";
    let third = app.post_files(path, &fields, &[]).await;
    assert_eq!(third.status, StatusCode::CONFLICT);
    assert!(third.contains("Change nothing"), "{}", third.body);
}

/// A browser sends each line end back as two characters. A sheet that was small enough to be shown is small
/// enough to be imported: 50 000 remarks are 1 000 000 bytes as sent, and more than 1 MiB as sent back.
#[tokio::test]
async fn a_sheet_that_was_shown_is_not_too_large_to_import() {
    let mut app = App::signed_in(Role::Lead).await;
    let remarks = "# remark of 19 sig.\n".repeat(50_000);
    let sheet = format!("code,name,down_from,back\nWP9,feed pump 9,,\n{remarks}");
    let preview = send(&mut app, "assets", &[("assets", sheet.as_bytes())]).await;
    assert!(preview.contains("1 new, 0 changed"), "{}", preview.status);
    let done = import(&mut app, "assets", &preview).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER);
}

/// Somebody has the name of a pump open while a sheet names it: they are told who did.
#[tokio::test]
async fn a_form_that_a_sheet_overtook_says_whose_sheet() {
    let mut app = App::signed_in(Role::Lead).await;
    let mut second = app.other_browser();
    second.sign_in(Role::Lead).await;
    let to = "/site/assets/WP1/name";
    let page = second.get(to).await;
    let opened = between(&page.body, "name=\"version\" value=\"", "\"").expect("a version");
    let sheet = "code,name,down_from,back\nWP1,feed pump one,,\n";
    let preview = send(&mut app, "assets", &[("assets", sheet.as_bytes())]).await;
    import(&mut app, "assets", &preview).await;
    let fields = [("name", "pump"), ("version", opened)];
    let late = second.post(to, &fields).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(
        late.contains("Cell lead changed this asset"),
        "{}",
        late.body
    );
    let asset = app.get("/site/assets/WP1").await;
    assert!(asset.contains("named feed pump one, was feed pump 1"));
}

/// What was free of faults when it was shown is not when it is imported: the asset that a capability names
/// stands, but it was listed meanwhile with figures said later.
#[tokio::test]
async fn a_fault_that_came_up_since_is_told() {
    let mut app = App::signed_in(Role::Lead).await;
    let sheet = |losses: &str, at: &str| {
        format!(
            "code,name,assets,must_run,loss_per_hour,said_by,said_at\nLIFT,lifting at the quay,QC1,1,{losses},Harbour master,{at}\n"
        )
    };
    let first = send(
        &mut app,
        "capabilities",
        &[("capabilities", sheet("0 50", "2026-11-25 09:00").as_bytes())],
    )
    .await;
    let second = send(
        &mut app,
        "capabilities",
        &[("capabilities", sheet("0 60", "2026-11-25 10:00").as_bytes())],
    )
    .await;
    assert_eq!(
        import(&mut app, "capabilities", &second).await.status,
        StatusCode::SEE_OTHER
    );
    let told = faults(&import(&mut app, "capabilities", &first).await);
    assert_eq!(told[0][1], "said_at", "{told:?}");
}

/// A double tap on Import: one change, the same answer twice.
#[tokio::test]
async fn the_same_form_sent_twice_imports_once() {
    let mut app = App::signed_in(Role::Lead).await;
    let sheet = "code,name,down_from,back\nWP9,feed pump 9,,\n";
    let preview = send(&mut app, "assets", &[("assets", sheet.as_bytes())]).await;
    let first = import(&mut app, "assets", &preview).await;
    let entries = number(&app, JOURNAL).await;
    let second = import(&mut app, "assets", &preview).await;
    assert_eq!(
        (first.status, second.status),
        (StatusCode::SEE_OTHER, StatusCode::SEE_OTHER)
    );
    assert_eq!(first.location(), second.location());
    assert_eq!(number(&app, JOURNAL).await, entries);
    assert_eq!(
        number(&app, "select count(*) from asset where code = 'WP9'").await,
        Some(1)
    );
    // Somebody whose role may not is refused though they send the lead's form.
    let fields = hidden(&preview);
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    let mut other = app.other_browser();
    other.sign_in(Role::Crew).await;
    let refused = other
        .post_files("/site/sheets/assets/import", &fields[1..], &[])
        .await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
}

/// New assets may come in down; a listed one is named anew, and its times are left to its own page.
#[tokio::test]
async fn assets_are_listed_and_named_but_not_put_down() {
    let mut app = App::signed_in(Role::Lead).await;
    let sheet = "code,name,down_from,back\n\
                 WP1,feed pump one,,\n\
                 WP9,feed pump 9,2026-11-24 08:00,2026-12-04 15:00\n";
    let preview = send(&mut app, "assets", &[("assets", sheet.as_bytes())]).await;
    assert!(
        preview.contains("name: feed pump 1 → <b>feed pump one</b>"),
        "{}",
        preview.body
    );
    assert!(
        !preview.contains("down_from:"),
        "an empty time says nothing: {}",
        preview.body
    );
    assert_eq!(
        import(&mut app, "assets", &preview).await.status,
        StatusCode::SEE_OTHER
    );
    // 08:00 eleven hours ahead of UTC is 21:00 the day before.
    let down = "select name || ' ' || datetime(down_from_ms / 1000, 'unixepoch') from asset where code = 'WP9'";
    assert_eq!(
        text(&app, down).await.as_deref(),
        Some("feed pump 9 2026-11-23 21:00:00")
    );
    let kept = "select name || ' ' || (down_from_ms is not null) || ' ' || version from asset where code = 'WP1'";
    assert_eq!(text(&app, kept).await.as_deref(), Some("feed pump one 1 2"));

    let sheet = "code,name,down_from,back\nWP3,feed pump 3,2026-11-24 08:00,\n";
    let told = fault(&mut app, "assets", &[("assets", sheet.as_bytes())]).await;
    assert_eq!(
        told,
        "2 | down_from | WP3 is listed already, and its times are not changed by a sheet; report it down or up on its own page, and leave this empty"
    );
}

/// New figures are a new version, and the old ones stay; a new name alone is none. A column that is left
/// out leaves what stands.
#[tokio::test]
async fn a_changed_figure_is_said_anew() {
    let mut app = App::signed_in(Role::Lead).await;
    let versions = "select count(*) from need n join capability c on c.id = n.capability_id where c.code = 'WATER'";
    let sheet = |name: &str, losses: &str, at: &str| {
        format!(
            "code,name,assets,must_run,loss_per_hour,said_by,said_at\nWATER,{name},WP1 WP2 WP3,2,{losses},Waterworks engineer,{at}\n"
        )
    };
    let named = sheet("drinking water", "0 4 60 220", "day-9 08:00");
    let preview = send(
        &mut app,
        "capabilities",
        &[("capabilities", named.as_bytes())],
    )
    .await;
    import(&mut app, "capabilities", &preview).await;
    assert_eq!(number(&app, versions).await, Some(1));
    let low = "select group_concat(low_per_hour, ' ') from (select l.low_per_hour from need_loss l
               join capability c on c.id = l.capability_id where c.code = 'WATER' order by l.version, l.down)";
    assert_eq!(text(&app, low).await.as_deref(), Some("0 2 25 90"));

    let old = sheet("drinking water", "0 4 70 220", "day-9 08:00");
    let told = fault(
        &mut app,
        "capabilities",
        &[("capabilities", old.as_bytes())],
    )
    .await;
    assert_eq!(
        told,
        "2 | said_at | the figures change, and this is not after the old ones were said; give who said the new ones and when"
    );
    let new = sheet("drinking water", "0 4 70 220", "2026-11-25 09:00");
    let preview = send(
        &mut app,
        "capabilities",
        &[("capabilities", new.as_bytes())],
    )
    .await;
    assert!(
        preview.contains("loss_per_hour: 0 4 60 220 → <b>0 4 70 220</b>"),
        "{}",
        preview.body
    );
    import(&mut app, "capabilities", &preview).await;
    assert_eq!(number(&app, versions).await, Some(2));
    assert_eq!(
        text(&app, low).await.as_deref(),
        Some("0 2 25 90 0 2 25 90")
    );
    let by = "select entered_by from need order by entered_ms desc, version desc limit 1";
    assert_eq!(text(&app, by).await.as_deref(), Some("Cell lead"));
}

/// A name that a spreadsheet program would work out is taken out as text, and comes back as it was.
#[tokio::test]
async fn formulas_are_guarded_on_the_way_out_and_bare_on_the_way_in() {
    let mut app = App::signed_in(Role::Lead).await;
    let name = "=HYPERLINK(\"http://127.0.0.1/\",\"pump\")";
    let sheet = format!(
        "code,name,down_from,back\nWP9,\"{}\",,\n",
        name.replace('"', "\"\"")
    );
    let preview = send(&mut app, "assets", &[("assets", sheet.as_bytes())]).await;
    import(&mut app, "assets", &preview).await;
    let stored = text(&app, "select name from asset where code = 'WP9'").await;
    assert_eq!(stored.as_deref(), Some(name));
    let out = app.get("/site/sheets/assets/assets.csv").await;
    assert!(out.contains("WP9,\"'=HYPERLINK(\"\"http"), "{}", out.body);
    let back = send(&mut app, "assets", &[("assets", &out.bytes)]).await;
    assert!(back.contains("Change nothing"), "{}", back.body);
}
