//! A broken part is received at the cell, and what was reported of it is put right.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, START};

use super::photos::{photo, sent};
use super::{journal_length, number, planned, text};

/// R8 as its page shows it: the impeller of feed pump 1, reported and not yet received.
const FORM: [(&str, &str); 22] = [
    ("broken_part", "received"),
    ("arrived_at", ""),
    ("arrives_at", ""),
    ("tag", "0417"),
    ("mass", "12.35"),
    ("base_metal", "BZ"),
    ("base_metal_known", "known"),
    ("serial", "KX 2210-7"),
    ("crack_check", "found"),
    ("method", "dye"),
    ("agent", "penetrant P-118"),
    ("crack_words", "from the bore outwards, 12 mm"),
    ("part", "WP-IMPELLER"),
    ("part_name", "impeller"),
    ("damage", "damaged"),
    (
        "description",
        "Vanes eaten by sand since the intake screen tore",
    ),
    ("danger", "no"),
    ("asked_by", "Waterworks engineer"),
    ("needed_by", ""),
    ("spare", "unknown"),
    ("spare_where", ""),
    ("why", ""),
];

async fn save(app: &mut App, version: &str, otherwise: &[(&str, &str)]) -> Answer {
    app.get("/requests/8/arrival").await;
    let mut fields = FORM.to_vec();
    for (name, value) in otherwise {
        let field = fields.iter_mut().find(|(known, _)| known == name);
        field.expect("a field of the form").1 = value;
    }
    fields.push(("version", version));
    app.post_files("/requests/8/arrival", &fields, &[]).await
}

const R8: &str =
    "select coalesce(tag, '-') || '|' || coalesce(mass_g, 0) || '|' || damage || '|' || part_name
                  from request where number = 8";

/// Received: who and when are on record, the journal has it, the request's page shows it.
#[tokio::test(flavor = "multi_thread")]
async fn a_part_is_received_with_tag_mass_and_first_crack_check() {
    let mut app = planned().await;
    let before = journal_length(&app).await;
    let page = app.get("/requests/8/arrival").await;
    assert!(
        page.contains("Vanes eaten by sand"),
        "what was reported stands there"
    );
    let answer = save(&mut app, "1", &[]).await;
    assert_eq!(
        (answer.status, answer.location()),
        (StatusCode::SEE_OTHER, "/requests/8"),
        "{}",
        answer.body
    );
    assert_eq!(
        text(&app, R8).await.as_deref(),
        Some("0417|12350|damaged|impeller")
    );
    let detail = "select entered_by || '|' || arrived_ms || '|' || serial || '|' || crack_check
                  from request_detail d join request r on r.id = d.request_id
                  where r.number = 8 and sequence = 2";
    let expected = format!("Sprayer|{START}|KX 2210-7|found");
    assert_eq!(text(&app, detail).await, Some(expected));
    // Received, and held for the cracks that were found.
    assert_eq!(journal_length(&app).await, before + 2);
    let last = "select group_concat(kind || ' ' || subject_id, ', ') from
                  (select * from (select * from journal order by sequence desc limit 2) order by sequence)";
    assert_eq!(
        text(&app, last).await.as_deref(),
        Some("request.received R8, request.held R8")
    );
    let held = "select what from part_hold";
    assert_eq!(
        text(&app, held).await.as_deref(),
        Some("as it came, cracks by dye penetrant: from the bore outwards, 12 mm")
    );

    let page = app.get("/requests/8").await;
    for told in [
        "is received",
        "0417",
        "12.35 kg",
        "KX 2210-7",
        "Cracks found",
        "by Sprayer",
    ] {
        assert!(page.contains(told), "{told}: {}", page.body);
    }
}

/// 66 kg weighed where the manipulator turns less: the part waits at its mass, whatever the catalogue says.
#[tokio::test(flavor = "multi_thread")]
async fn a_part_weighed_heavier_than_the_cell_turns_waits() {
    let mut app = planned().await;
    save(&mut app, "1", &[("mass", "900")]).await;
    app.plan().await;
    let page = app.get("/requests/8").await;
    assert!(page.contains("mass, 900"), "{}", page.body);
}

/// What was said stays: the second saying puts the first right, needs a reason, and both are shown.
#[tokio::test(flavor = "multi_thread")]
async fn what_was_reported_is_put_right_and_stays_on_record() {
    let mut app = planned().await;
    save(&mut app, "1", &[]).await;
    // A field for a time knows no seconds; the test's clock stands on a whole minute.
    let right = [
        ("arrived_at", "2026-11-25T15:40"),
        ("tag", "0418"),
        ("damage", "worn"),
    ];
    let page = save(&mut app, "2", &right).await;
    assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(
        page.field_error("why"),
        Some("something that was told before is changed: say in a few words why")
    );
    let mut told = right.to_vec();
    told.push(("why", "tag read wrongly; the pump still turns"));
    assert_eq!(
        save(&mut app, "2", &told).await.status,
        StatusCode::SEE_OTHER
    );
    assert_eq!(
        text(&app, R8).await.as_deref(),
        Some("0418|12350|worn|impeller")
    );

    let page = app.get("/requests/8/arrival").await;
    for told in [
        "Tag: 0418; was 0417",
        "Damage: worn; was broken",
        "why: tag read wrongly; the pump still turns",
        "<b>Received at the cell</b> by Sprayer",
        "Tag: 0417",
        "<b>Reported</b> by Storekeeper",
    ] {
        assert!(page.contains(told), "{told}: {}", page.body);
    }
    let count = "select count(*) from request_detail d join request r on r.id = d.request_id
                 where r.number = 8";
    assert_eq!(number(&app, count).await, Some(3));
}

/// Two tablets have the page open; the second is told what the first saved, and may save over it.
#[tokio::test(flavor = "multi_thread")]
async fn a_page_opened_before_another_saved_writes_nothing() {
    let mut app = planned().await;
    save(&mut app, "1", &[]).await;
    let page = save(&mut app, "1", &[("tag", "0500")]).await;
    assert_eq!(page.status, StatusCode::CONFLICT);
    assert!(page.contains("Sprayer saved this"), "{}", page.body);
    assert!(
        page.contains("0417") && page.contains("0500"),
        "both are shown"
    );
    assert!(page.contains("name=\"version\" value=\"2\""));
    assert_eq!(
        text(&app, R8).await.as_deref(),
        Some("0417|12350|damaged|impeller")
    );
    let over = [
        ("tag", "0500"),
        ("why", "two tags hung on it"),
        ("arrived_at", "2026-11-25T15:40"),
    ];
    assert_eq!(
        save(&mut app, "2", &over).await.status,
        StatusCode::SEE_OTHER
    );
    assert_eq!(
        text(&app, R8).await.as_deref(),
        Some("0500|12350|damaged|impeller")
    );
}

/// Every field typed wrongly: 422, told beside it, nothing stored.
#[tokio::test(flavor = "multi_thread")]
async fn wrong_entries_are_told_and_nothing_is_stored() {
    let mut app = planned().await;
    let before = journal_length(&app).await;
    let long = "x".repeat(2001);
    let wrong: [(&str, &str, &str); 16] = [
        (
            "broken_part",
            "",
            "say whether the broken part is at the cell",
        ),
        (
            "arrived_at",
            "2026-11-25T16:40",
            "that is in 1 h; give a time up to now",
        ),
        (
            "tag",
            "?",
            "a tag has letters, figures, hyphens and strokes only, as 0417 or A-12",
        ),
        ("mass", "-1", "-1 is out of range; enter 0.001 to 50000"),
        (
            "base_metal",
            "XX",
            "there is no such metal; choose from the list",
        ),
        (
            "base_metal_known",
            "",
            "say whether the metal is known or assumed",
        ),
        (
            "serial",
            &long[..41],
            "41 characters are too many; use at most 40",
        ),
        ("crack_check", "", "enter something here"),
        ("part_name", " ", "enter something here"),
        ("damage", "", "enter something here"),
        (
            "description",
            &long,
            "2001 characters are too many; use at most 2000",
        ),
        ("danger", "", "say whether anybody is in danger now"),
        ("asked_by", "", "enter something here"),
        (
            "needed_by",
            "2026-11-25T15:30",
            "that was 10 min ago; give a time to come",
        ),
        ("spare", "yes", ""),
        (
            "why",
            &long[..201],
            "201 characters are too many; use at most 200",
        ),
    ];
    for (field, value, message) in wrong {
        let page = save(&mut app, "1", &[(field, value)]).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        let (at, message) = match field {
            "spare" => ("spare_where", "say where the spare lies"),
            _ => (field, message),
        };
        assert_eq!(page.field_error(at), Some(message), "{field} {value}");
    }
    // Nothing new.
    let same = [
        ("broken_part", "here"),
        ("tag", ""),
        ("mass", ""),
        ("serial", ""),
        ("crack_check", "not-done"),
    ];
    let page = save(&mut app, "1", &same).await;
    assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("Nothing is changed"), "{}", page.body);
    assert_eq!(journal_length(&app).await, before);
}

/// A photo alone is enough to save.
#[tokio::test(flavor = "multi_thread")]
async fn photos_are_added_on_arrival() {
    let mut app = planned().await;
    app.get("/requests/8/arrival").await;
    let mut fields = FORM.to_vec();
    fields.push(("version", "1"));
    let plate = photo([90, 90, 90]);
    let answer = app
        .post_files("/requests/8/arrival", &fields, &[sent("plate.jpg", &plate)])
        .await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let hanging = "select count(*) from attached where subject = '8'";
    assert_eq!(number(&app, hanging).await, Some(1));
    assert!(
        app.get("/requests/8")
            .await
            .contains("is received, with a photo")
    );
}

/// Below the pages: nothing said is changed or deleted, and none is numbered out of turn.
#[tokio::test(flavor = "multi_thread")]
async fn what_was_said_cannot_be_changed_in_the_database() {
    let app = planned().await;
    for attempt in [
        "update request_detail set tag = 'X'",
        "delete from request_detail",
        "insert into request_detail select request_id, 7, entered_by, entered_ms, why, part_name, damage,
           description, asked_by, needed_by_ms, danger, at_cell_ms, arrived_ms, spare, spare_where, tag,
           mass_g, base_metal_id, base_metal_known, serial, crack_check from request_detail limit 1",
    ] {
        let tried = sqlx::query(attempt).execute(&app.state.db.write).await;
        assert!(tried.is_err(), "{attempt}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_visitor_receives_nothing() {
    let mut app = planned().await;
    app.sign_in(Role::Viewer).await;
    assert!(!app.get("/requests/8").await.contains("/requests/8/arrival"));
    assert_eq!(
        app.get("/requests/8/arrival").await.status,
        StatusCode::FORBIDDEN
    );
    assert_eq!(save(&mut app, "1", &[]).await.status, StatusCode::FORBIDDEN);
    app.sign_in(Role::Crew).await;
    for number in ["0", "38", "x"] {
        let page = app.get(&format!("/requests/{number}/arrival")).await;
        assert_eq!(page.status, StatusCode::NOT_FOUND, "{number}");
    }
}

const R38: &str = "select coalesce(part.code, '-') || '|' || request.part_name || '|' ||
                     coalesce((select group_concat(recipe_code) from request_way where request_id = request.id), '-')
                   from request left join part on part.id = request.part_id where request.number = 38";

/// R38, the fan hub of generating set 1, filed with its part not listed.
async fn not_listed(app: &mut App) {
    let told = [("part", "not-listed"), ("part_name", "fan hub")];
    let answer = super::report(app, &told).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    assert_eq!(text(app, R38).await.as_deref(), Some("-|fan hub|-"));
}

/// Sends the form of R38 as it stands, but for its part, what that is called, and the reason.
async fn choose(app: &mut App, version: &str, (part, name): (&str, &str), why: &str) -> Answer {
    app.get("/requests/38/arrival").await;
    let fields = [
        ("version", version),
        ("broken_part", "arrives"),
        ("arrives_at", "2026-11-25T18:30"),
        ("tag", "A-0417"),
        ("mass", "3.25"),
        ("base_metal", "AL"),
        ("base_metal_known", "assumed"),
        ("crack_check", "not-done"),
        ("part", part),
        ("part_name", name),
        ("damage", "damaged"),
        ("description", "Two blades gone, hub cracked 40 mm"),
        ("danger", "yes"),
        ("asked_by", "Power station foreman"),
        ("needed_by", "2026-11-27T12:00"),
        ("spare", "yes"),
        ("spare_where", "mainland depot, shelf 4"),
        ("why", why),
    ];
    app.post_files("/requests/38/arrival", &fields, &[]).await
}

/// The part is listed by now: put right, the request asks for it and has its recipe as a way. It was chosen
/// wrongly: put right again, it has the recipes of the other. Its name goes with it, unless somebody types
/// another. All of it stays on record.
#[tokio::test(flavor = "multi_thread")]
async fn a_part_that_was_not_listed_is_put_right() {
    let mut app = planned().await;
    not_listed(&mut app).await;
    let page = app.get("/requests/38/arrival").await;
    assert!(
        page.contains("<option value=\"not-listed\" selected>"),
        "{}",
        page.body
    );
    let unsaid = choose(&mut app, "1", ("GS-FANHUB", "fan hub"), "").await;
    assert_eq!(
        unsaid.field_error("why"),
        Some("something that was told before is changed: say in a few words why")
    );
    let unknown = choose(&mut app, "1", ("GS-WING", "fan hub"), "listed since").await;
    assert_eq!(
        unknown.field_error("part"),
        Some("the catalogue has no such part; choose from the list, or &#39;not listed&#39;")
    );
    assert!(unknown.contains("listed since"), "what was typed is kept");
    assert_eq!(text(&app, R38).await.as_deref(), Some("-|fan hub|-"));

    let wrong = choose(&mut app, "1", ("WP-IMPELLER", "fan hub"), "it is listed").await;
    assert_eq!(wrong.status, StatusCode::SEE_OTHER, "{}", wrong.body);
    assert_eq!(
        text(&app, R38).await.as_deref(),
        Some("WP-IMPELLER|impeller|BR-035")
    );
    let page = app.get("/requests/38").await;
    assert!(
        page.contains("Plan again to count with it."),
        "{}",
        page.body
    );
    let right = choose(
        &mut app,
        "2",
        ("GS-FANHUB", "fan hub"),
        "chosen one line too low",
    )
    .await;
    assert_eq!(right.status, StatusCode::SEE_OTHER, "{}", right.body);
    assert_eq!(
        text(&app, R38).await.as_deref(),
        Some("GS-FANHUB|fan hub|AL-011")
    );
    let entry = "select content ->> 'why' || '|' || (content ->> 'recipes') || '|' ||
                   (content -> '$.changed.\"In the catalogue\"' ->> 'before')
                 from journal where kind = 'request.put-right' order by sequence desc limit 1";
    assert_eq!(
        text(&app, entry).await.as_deref(),
        Some("chosen one line too low|[\"AL-011\"]|impeller, WP-IMPELLER")
    );
    let page = app.get("/requests/38/arrival").await;
    assert!(
        page.contains("In the catalogue: impeller, WP-IMPELLER; was not listed"),
        "{}",
        page.body
    );
    // The next order may build it.
    let page = app.get("/requests/38").await;
    assert!(page.contains("Recipe AL-011 rev"), "{}", page.body);
}

/// Once its ways are sorted by the recipes of a part, or a yes is said to it, the part is another only by a
/// request anew; everything else may still be put right.
#[tokio::test(flavor = "multi_thread")]
async fn once_it_is_sorted_or_answered_its_part_stays() {
    let mut app = planned().await;
    not_listed(&mut app).await;
    choose(&mut app, "1", ("GS-FANHUB", ""), "it is listed").await;
    let mut lead = app.other_browser();
    lead.sign_in(Role::Lead).await;
    super::course::sort(&mut lead, 38, "AL-011").await;
    let page = app.get("/requests/38/arrival").await;
    assert!(
        page.contains("<input type=\"hidden\" name=\"part\" value=\"GS-FANHUB\">"),
        "{}",
        page.body
    );
    let late = choose(&mut app, "2", ("WP-IMPELLER", "impeller"), "slip").await;
    assert_eq!(
        late.field_error("part"),
        Some(
            "it is sorted by the recipes of this part; withdraw the request, take it up again, and choose then"
        )
    );
    let same = choose(&mut app, "2", ("GS-FANHUB", "alternator fan hub"), "").await;
    assert_eq!(
        same.status,
        StatusCode::UNPROCESSABLE_ENTITY,
        "nothing is changed"
    );

    // Taken up again it waits to be sorted, and its part may be chosen; until somebody has answered.
    for act in ["withdraw", "reopen"] {
        let path = format!("/requests/38/decide/{act}");
        let done = lead.post(&path, &[("reason", "the part was wrong")]).await;
        assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.body);
    }
    let again = choose(&mut app, "2", ("WP-IMPELLER", "alternator fan hub"), "slip").await;
    assert_eq!(again.status, StatusCode::SEE_OTHER, "{}", again.body);
    let yes = [
        ("about", "build"),
        ("who", "owners-engineer"),
        ("name", "Power station engineer"),
        ("said", "yes"),
        ("came", "radio"),
        ("words", "May be built"),
    ];
    let told = lead.post("/requests/38/answer", &yes).await;
    assert_eq!(told.status, StatusCode::SEE_OTHER, "{}", told.body);
    let answered = "an answer to building or releasing this part is on record; withdraw the request, and report the right part";
    let hub = ("GS-FANHUB", "impeller");
    let page = choose(&mut app, "3", hub, "slip").await;
    assert_eq!(page.field_error("part"), Some(answered));
    // To sort it does not make it another: taken up again it would still be answered.
    super::course::sort(&mut lead, 38, "BR-035").await;
    let page = choose(&mut app, "3", hub, "slip").await;
    assert_eq!(page.field_error("part"), Some(answered));
    assert_eq!(
        text(&app, R38).await.as_deref(),
        Some("WP-IMPELLER|impeller|BR-035")
    );
}
