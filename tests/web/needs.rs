//! What the site needs: reporting assets down and up, saying what is needed, and what a wrong figure
//! would change.

use axum::http::StatusCode;
use mendpost_core::lineup::loss_now;
use mendpost_core::people::Role;
use mendpost_server::situation;
use mendpost_tests::{Answer, App, between, number, text};

fn version(page: &Answer) -> String {
    between(&page.body, "name=\"version\" value=\"", "\"")
        .expect("a form with a version")
        .to_owned()
}

/// Opens a report of an asset and sends it.
async fn report(app: &mut App, asset: &str, what: &str, at: &str) -> Answer {
    let path = format!("/site/assets/{asset}/report/{what}");
    let version = version(&app.get(&path).await);
    app.post(&path, &[("at", at), ("version", &version)]).await
}

/// What the site loses each hour now, as core has it.
async fn rate(app: &App) -> i64 {
    let situation = situation::now(&app.state).await.expect("a situation");
    loss_now(&situation).iter().map(|l| l.loss_per_hour).sum()
}

const JOURNAL: &str = "select count(*) from journal";

/// The newest entry about assets or capabilities.
const LAST: &str = "select kind || ' ' || subject_id || ' ' || content from journal
                    where subject_kind in ('asset', 'capability') order by sequence desc limit 1";

/// 15:40 at the site, in milliseconds: the clock of a test.
const NOW: i64 = mendpost_tests::START;

/// Generating set 1 stops: with three of four down power loses 160 instead of 70, so the site 90 more;
/// Now, the request list and the page of needs say so at once. Up again, all is as before.
#[tokio::test(flavor = "multi_thread")]
async fn a_report_down_changes_the_loss_at_once_and_up_takes_it_back() {
    let mut app = App::signed_in(Role::Crew).await;
    app.plan().await;
    let before = rate(&app).await;
    let answer = report(&mut app, "GS1", "down", "").await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    assert_eq!(answer.location(), "/site/assets/GS1");
    assert_eq!(rate(&app).await, before + 90);
    let page = app.get("/site/assets/GS1").await;
    let told = format!(
        "The site now loses {} points/h, {before} before.",
        before + 90
    );
    assert!(page.contains(&told), "{}", page.body);
    assert!(page.contains("down since") && page.contains("Report up"));
    let now = app.get("/now").await;
    let figure = format!("<span class=\"key-figure\">{}</span>", before + 90);
    assert!(now.contains(&figure), "{figure}");
    assert!(now.contains("One change since order 1 was planned"));
    let needs = app.get("/site/needs").await;
    let told = format!(
        "Get power back: it loses most, 160 of {} points an hour.",
        before + 90
    );
    assert!(needs.contains(&told), "{}", needs.body);
    assert_eq!(
        number(&app, "select down_from_ms from asset where code = 'GS1'").await,
        Some(NOW)
    );
    let entry = text(&app, LAST).await.expect("an entry");
    assert!(entry.starts_with("asset.down GS1 {"), "{entry}");
    assert!(entry.contains(&format!("\"at_ms\":{NOW}")) && entry.contains("\"version\":2"));

    app.wait_minutes(60);
    report(&mut app, "GS1", "up", "2026-11-25T15:55").await;
    assert_eq!(rate(&app).await, before);
    assert_eq!(
        number(&app, "select down_from_ms from asset where code = 'GS1'").await,
        None
    );
}

/// Requests by what they stop: after set 1 has stopped too, set 2's part stops more than it did.
#[tokio::test(flavor = "multi_thread")]
async fn the_request_list_goes_by_what_stands_now() {
    let mut app = App::signed_in(Role::Crew).await;
    app.plan().await;
    let stops = |page: &Answer| -> String {
        let row = page
            .body
            .split("<tr>")
            .find(|row| row.contains("href=\"/requests/10\""));
        let row = row.expect("R10 is open for generating set 2");
        between(row, "<td class=\"figure decides\">", "<")
            .expect("a rate")
            .to_owned()
    };
    report(&mut app, "GS1", "down", "").await;
    // 160 with three down, 70 with two.
    assert_eq!(stops(&app.get("/requests").await), "90");
    report(&mut app, "GS2", "up", "").await;
    assert_eq!(stops(&app.get("/requests").await), "0");
}

/// Two requests are open for feed pump 1: reporting it up closes neither, and says so.
#[tokio::test]
async fn up_tells_the_requests_that_stay_open() {
    let mut app = App::signed_in(Role::Crew).await;
    let before = rate(&app).await;
    report(&mut app, "WP1", "up", "2026-11-25T14:00").await;
    // Water from 60 with two down to 4 with one.
    assert_eq!(rate(&app).await, before - 56);
    let page = app.get("/site/assets/WP1").await;
    assert!(
        page.contains("R8 and R9 are still open for it."),
        "{}",
        page.body
    );
    assert!(page.contains("Look at R8, R9: still open, though feed pump 1 runs."));
    assert_eq!(
        number(&app, "select count(*) from request where state = 'open'").await,
        Some(37)
    );
    let kind = text(&app, LAST).await.expect("an entry");
    assert!(kind.starts_with("asset.up WP1"), "{kind}");
}

/// A cracked part still runs: the loss comes only at its time. Taken back, it does not come.
#[tokio::test]
async fn an_expected_stop_loses_nothing_until_then() {
    let mut app = App::signed_in(Role::Crew).await;
    let before = rate(&app).await;
    report(&mut app, "GS1", "expected", "2026-11-25T18:40").await;
    assert_eq!(rate(&app).await, before);
    assert!(
        app.get("/site/assets/GS1")
            .await
            .contains("Expect generating set 1 to stop Wed 25 18:40; it still runs.")
    );
    report(&mut app, "GS1", "up", "").await;
    assert!(
        app.get("/site/assets/GS1")
            .await
            .contains("Generating set 1 is no longer expected to stop.")
    );
    report(&mut app, "GS1", "expected", "2026-11-25T18:40").await;
    app.wait_minutes(4 * 60);
    assert_eq!(rate(&app).await, before + 90);
}

/// The harbour hires a tug: it is down until then. Empty takes that back.
#[tokio::test]
async fn back_by_other_means_is_kept_beside_down() {
    let mut app = App::signed_in(Role::Crew).await;
    report(&mut app, "TG1", "back", "2026-11-28T09:00").await;
    let page = app.get("/site/assets/TG1").await;
    assert!(page.contains("back expected Sat 28 09:00"), "{}", page.body);
    report(&mut app, "TG1", "back", "").await;
    assert_eq!(
        number(&app, "select back_ms from asset where code = 'TG1'").await,
        None
    );
    let entry = text(&app, LAST).await.expect("an entry");
    assert!(entry.starts_with("asset.back TG1"), "{entry}");
}

#[tokio::test]
async fn a_report_that_contradicts_what_is_known_is_told_and_writes_nothing() {
    let mut app = App::signed_in(Role::Crew).await;
    let before = number(&app, JOURNAL).await;
    for (asset, what, at, fault) in [
        (
            "GS1",
            "down",
            "tomorrow",
            "&#39;tomorrow&#39; is not a date and time; use year-month-day and hours:minutes, as 2026-11-25 14:40",
        ),
        (
            "GS1",
            "down",
            "2026-11-25T16:00",
            "that is in 20 min; give a time up to now",
        ),
        (
            "GS1",
            "down",
            "2024-11-25T15:00",
            "that is 730 days ago; look at the year",
        ),
        (
            "GS2",
            "down",
            "",
            "it has been down since 17 Nov 2026 02:00 already; give another time to correct that",
        ),
        (
            "GS1",
            "up",
            "",
            "it runs already; there is nothing to report",
        ),
        (
            "GS2",
            "up",
            "2026-11-16T08:00",
            "it stopped after that, 17 Nov 2026 02:00; give a time since then, or correct when it stopped",
        ),
        (
            "WP2",
            "up",
            "2026-11-25T14:00",
            "leave the time empty: it has not stopped",
        ),
        ("GS1", "expected", "", "enter when it is expected to stop"),
        (
            "GS1",
            "expected",
            "2026-11-25T15:00",
            "that was 40 min ago; give a time to come",
        ),
        (
            "GS2",
            "expected",
            "2026-11-26T14:00",
            "it has been down since 17 Nov 2026 02:00; report it up first",
        ),
        (
            "GS1",
            "back",
            "2026-11-26T14:00",
            "it runs, and nobody expects it to stop; report that first",
        ),
        ("GS2", "back", "", "enter when it is expected back"),
        (
            "WP2",
            "back",
            "2026-11-27T08:00",
            "it stops only 28 Nov 2026 08:00; give a time after that",
        ),
    ] {
        let answer = report(&mut app, asset, what, at).await;
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{asset} {what} {at}"
        );
        assert_eq!(answer.field_error("at"), Some(fault), "{asset} {what} {at}");
        assert!(
            answer.contains(&format!("value=\"{at}\"")),
            "what was typed is kept"
        );
    }
    assert_eq!(number(&app, JOURNAL).await, before);
    assert_eq!(
        app.get("/site/assets/NONE").await.status,
        StatusCode::NOT_FOUND
    );
    assert_eq!(
        app.get("/site/assets/GS1/report/lost").await.status,
        StatusCode::NOT_FOUND
    );
}

/// Two tablets have the same asset open: the second report writes nothing and says who was first.
#[tokio::test]
async fn a_report_opened_before_another_changes_nothing() {
    let mut first = App::signed_in(Role::Crew).await;
    let mut second = first.other_browser();
    second.sign_in(Role::Lead).await;
    let opened = version(&second.get("/site/assets/GS1/report/down").await);
    report(&mut first, "GS1", "down", "2026-11-25T15:10").await;
    let fields = [("at", "2026-11-25T15:20"), ("version", opened.as_str())];
    let answer = second.post("/site/assets/GS1/report/down", &fields).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.contains("Not saved: "), "{}", answer.body);
    assert!(answer.contains("value=\"2026-11-25T15:20\""));
    assert_eq!(
        number(&first, "select down_from_ms from asset where code = 'GS1'").await,
        Some(NOW - 30 * 60_000)
    );
    // Saved once more, from the page that told what stands, it corrects the time.
    let shown = version(&answer);
    let fields = [("at", "2026-11-25T15:20"), ("version", shown.as_str())];
    let answer = second.post("/site/assets/GS1/report/down", &fields).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    assert_eq!(
        number(&first, "select down_from_ms from asset where code = 'GS1'").await,
        Some(NOW - 20 * 60_000)
    );
}

#[tokio::test]
async fn the_lead_lists_an_asset_and_names_it() {
    let mut app = App::signed_in(Role::Lead).await;
    app.get("/site/add-asset").await;
    for (code, name, field, fault) in [
        (
            "",
            "feed pump 4",
            "code",
            "a code is missing; give 1 to 40 characters",
        ),
        (
            "WP 4",
            "feed pump 4",
            "code",
            "&#39;WP 4&#39; has the character &#39; &#39;; use letters, figures, &#39;-&#39;, &#39;.&#39; and &#39;+&#39;",
        ),
        (
            "WP1",
            "feed pump 4",
            "code",
            "WP1 is feed pump 1 already; give another",
        ),
        ("WP4", " ", "name", "enter something here"),
    ] {
        let answer = app
            .post("/site/add-asset", &[("code", code), ("name", name)])
            .await;
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{code} {name}"
        );
        assert_eq!(answer.field_error(field), Some(fault));
        assert!(answer.contains(&format!("value=\"{code}\"")));
    }
    let answer = app
        .post(
            "/site/add-asset",
            &[("code", "WP/4"), ("name", "feed pump 4")],
        )
        .await;
    assert_eq!(answer.location(), "/site/assets/WP%2F4");
    let page = app.get("/site/assets/WP%2F4").await;
    assert!(
        page.contains("Report feed pump 4 when it stops: it runs."),
        "{}",
        page.body
    );
    let opened = version(&app.get("/site/assets/WP%2F4/name").await);
    let rename =
        |name: &'static str, version: String| [("name", name.to_owned()), ("version", version)];
    for (name, version, status) in [
        ("", opened.clone(), StatusCode::UNPROCESSABLE_ENTITY),
        ("spare pump", "7".to_owned(), StatusCode::CONFLICT),
        ("spare pump", opened, StatusCode::SEE_OTHER),
    ] {
        let fields = rename(name, version);
        let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
        let answer = app.post("/site/assets/WP%2F4/name", &fields).await;
        assert_eq!(answer.status, status, "{name}: {}", answer.body);
    }
    assert_eq!(
        text(&app, "select name from asset where code = 'WP/4'")
            .await
            .as_deref(),
        Some("spare pump")
    );
    let entry = text(&app, LAST).await.expect("an entry");
    assert!(entry.starts_with("asset.named WP/4"), "{entry}");
}

/// What the lead types for fresh water, right in every field.
const WATER: [(&str, &str); 17] = [
    ("asset", "WP1"),
    ("asset", "WP2"),
    ("asset", "WP3"),
    ("must_run", "2"),
    ("low", "0"),
    ("low", "4"),
    ("low", "40"),
    ("low", "100"),
    ("likely", "0"),
    ("likely", "6"),
    ("likely", "90"),
    ("likely", "300"),
    ("high", "0"),
    ("high", "9"),
    ("high", "120"),
    ("high", "500"),
    ("said_by", "Waterworks engineer, by radio"),
];

/// The same with one field typed otherwise: the n-th of its name.
async fn say(app: &mut App, otherwise: Option<(&str, usize, &str)>, at: &str) -> Answer {
    let version = version(&app.get("/site/needs/WATER/change").await);
    let mut fields = WATER.to_vec();
    if let Some((name, place, value)) = otherwise {
        let mut of_name = fields.iter_mut().filter(|(known, _)| *known == name);
        of_name.nth(place).expect("a field of the form").1 = value;
    }
    fields.extend([("said_at", at), ("version", version.as_str())]);
    app.post("/site/needs/WATER/change", &fields).await
}

/// With two of three down water loses 90 by the new figures, 60 by the old: 30 more at once. The old
/// ones stay on record.
#[tokio::test]
async fn new_figures_are_a_new_record_and_count_at_once() {
    let mut app = App::signed_in(Role::Lead).await;
    let before = rate(&app).await;
    let answer = say(&mut app, None, "2026-11-25T13:00").await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    assert_eq!(rate(&app).await, before + 30);
    let page = app.get("/site/needs/WATER").await;
    assert!(
        page.contains("Bring back feed pump 1 or feed pump 3: fresh water loses 90 points/h."),
        "{}",
        page.body
    );
    assert!(page.contains(
        "Waterworks engineer, by radio, 25 Nov 2026 13:00, 2 h ago; entered by Cell lead"
    ));
    assert!(
        page.contains("0, 4, 60, 220") && page.contains("low 0, 2, 25, 90; high 0, 8, 140, 400")
    );
    let kept = "select group_concat(likely_per_hour, ' ') from (select l.* from need_loss l
                join capability c on c.id = l.capability_id
                where c.code = 'WATER' order by l.version, l.down)";
    assert_eq!(
        text(&app, kept).await.as_deref(),
        Some("0 4 60 220 0 6 90 300")
    );
    let entry = text(&app, LAST).await.expect("an entry");
    assert!(
        entry.starts_with("capability.said WATER")
            && entry.contains("\"loss_per_hour\":[0,6,90,300]"),
        "{entry}"
    );
    let changed = sqlx::query("update need set must_run = 1")
        .execute(&app.state.db.write)
        .await;
    assert!(changed.is_err(), "what was said is not changed");
}

#[tokio::test]
async fn faults_of_figures_stand_beside_their_fields() {
    let mut app = App::signed_in(Role::Lead).await;
    let before = number(&app, JOURNAL).await;
    for ((name, place, typed), field, fault) in [
        (
            ("must_run", 0, "4"),
            "must_run",
            "4 must run of 3; give 0 to 3",
        ),
        (
            ("must_run", 0, "two"),
            "must_run",
            "&#39;two&#39; is not a whole number; use figures only",
        ),
        (
            ("asset", 1, "WP1"),
            "asset",
            "WP1 is named twice; name each asset once",
        ),
        (
            ("asset", 1, "WP9"),
            "asset",
            "there is no asset &#39;WP9&#39;; choose from the list",
        ),
        (("likely", 2, ""), "likely-2", "enter something here"),
        (
            ("likely", 2, "5"),
            "likely-2",
            "the loss rate falls from 6 to 5 when 2 are down; it may stay or rise",
        ),
        (
            ("low", 3, "30"),
            "low-3",
            "the low loss rate falls from 40 to 30 when 3 are down; it may stay or rise",
        ),
        (
            ("high", 2, "80"),
            "likely-2",
            "90 is not within 40 to 80 when 2 are down; the likely rate lies between low and high",
        ),
        (
            ("high", 1, ""),
            "high-1",
            "enter it too, or leave low and high empty in every row",
        ),
        (
            ("low", 1, "-1"),
            "low-1",
            "-1 is out of range; enter 0 to 1\u{202f}000\u{202f}000\u{202f}000",
        ),
        (("said_by", 0, ""), "said_by", "enter something here"),
    ] {
        let answer = say(&mut app, Some((name, place, typed)), "2026-11-25T13:00").await;
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{name} {typed}"
        );
        assert_eq!(answer.field_error(field), Some(fault), "{name} {typed}");
        assert!(answer.contains("value=\"300\""), "what was typed is kept");
    }
    let late = say(&mut app, None, "2026-11-25T16:00").await;
    assert_eq!(
        late.field_error("said_at"),
        Some("25 Nov 2026 16:00 is later than now, 25 Nov 2026 15:40; enter when it was said")
    );
    assert_eq!(number(&app, JOURNAL).await, before);
}

/// Both tablets open the figures; the later one sees both, and nothing is written.
#[tokio::test]
async fn figures_said_meanwhile_are_shown_beside_mine() {
    let mut first = App::signed_in(Role::Lead).await;
    let mut second = first.other_browser();
    second.sign_in(Role::Lead).await;
    let opened = version(&second.get("/site/needs/WATER/change").await);
    say(&mut first, None, "2026-11-25T13:00").await;
    let mut fields = WATER.to_vec();
    fields[10] = ("likely", "70");
    fields.extend([
        ("said_at", "2026-11-25T13:30"),
        ("version", opened.as_str()),
    ]);
    let answer = second.post("/site/needs/WATER/change", &fields).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    let row = "<td>Likely, by number down</td><td>0, 6, 90, 300</td><td>0, 6, 70, 300</td><td>differs</td>";
    assert!(answer.contains(row), "{}", answer.body);
    assert_eq!(
        number(&first, "select max(version) from need").await,
        Some(2)
    );
}

/// A new capability asks for its assets first, and then for a figure for each number of them down.
#[tokio::test]
async fn a_capability_is_added_in_two_steps() {
    let mut app = App::signed_in(Role::Lead).await;
    app.get("/site/add-need").await;
    let first = [
        ("code", "GRID"),
        ("name", "street lights"),
        ("asset", "GS1"),
        ("asset", "GS4"),
        ("must_run", "1"),
        ("likely", "0"),
        ("said_by", "Works foreman, in person"),
        ("said_at", "2026-11-25T14:00"),
    ];
    let answer = app.post("/site/add-need", &first).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        answer.contains("Two assets now, so three figures: enter what is lost with none down, one down, and so on."),
        "{}",
        answer.body
    );
    let mut fields = first.to_vec();
    fields.extend([
        ("likely", "2"),
        ("likely", "20"),
        ("low", ""),
        ("low", ""),
        ("low", ""),
    ]);
    fields.extend([("high", ""), ("high", ""), ("high", "")]);
    let none: Vec<(&str, &str)> = fields
        .iter()
        .filter(|(n, _)| *n != "asset")
        .copied()
        .collect();
    let answer = app.post("/site/add-need", &none).await;
    assert_eq!(
        answer.field_error("asset"),
        Some("no asset gives it; name at least one")
    );
    let answer = app.post("/site/add-need", &fields).await;
    assert_eq!(answer.location(), "/site/needs/GRID", "{}", answer.body);
    let page = app.get("/site/needs/GRID").await;
    assert!(
        page.contains("Keep street lights so: all of it runs."),
        "{}",
        page.body
    );
    assert!(page.contains("Nobody said how far off they may be."));
    let answer = app.post("/site/add-need", &fields).await;
    assert_eq!(
        answer.field_error("code"),
        Some("GRID is street lights already; give another")
    );
    let before = rate(&app).await;
    app.sign_in(Role::Crew).await;
    report(&mut app, "GS4", "down", "").await;
    // Power from 70 to 160, street lights from 0 to 2.
    assert_eq!(rate(&app).await, before + 92);
}

/// An asset is retired by another while the form is on its way: it is told beside the field.
#[tokio::test(flavor = "multi_thread")]
async fn a_capability_of_an_asset_that_was_just_retired_is_refused() {
    let mut app = App::signed_in(Role::Lead).await;
    let lamp = [("code", "LAMP1"), ("name", "street lamp 1")];
    let listed = app.post("/site/add-asset", &lamp).await;
    assert_eq!(listed.status, StatusCode::SEE_OTHER, "{}", listed.body);
    // Holds the only writing connection, as the other's change does.
    let mut writing = app.state.db.write.begin().await.expect("a change");
    sqlx::query("update asset set retired_reason = 'sold' where code = 'LAMP1'")
        .execute(&mut *writing)
        .await
        .expect("retired");
    let mut browser = app.same_browser();
    let sending = tokio::spawn(async move {
        let fields = [
            ("code", "GRID"),
            ("name", "street lights"),
            ("asset", "LAMP1"),
            ("must_run", "1"),
            ("likely", "0"),
            ("likely", "2"),
            ("low", ""),
            ("low", ""),
            ("high", ""),
            ("high", ""),
            ("said_by", "Works foreman, in person"),
            ("said_at", "2026-11-25T14:00"),
        ];
        browser.post("/site/add-need", &fields).await
    });
    // Long enough for it to arrive and wait.
    tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    writing.commit().await.expect("it lasts");
    let answer = sending.await.expect("an answer");
    assert_eq!(
        answer.status,
        StatusCode::UNPROCESSABLE_ENTITY,
        "{}",
        answer.body
    );
    assert!(answer.field_error("asset").is_some(), "{}", answer.body);
}

/// A range as narrow as the likely figure changes nothing. One in which water is worth nothing or
/// nearly everything changes the line-up, or shows that it does not: the loss told never rises.
#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_figure_is_worked_out_on_demand() {
    let mut app = App::signed_in(Role::Lead).await;
    let page = app.get("/site/needs/POWER/what-if").await;
    assert_eq!(page.status, StatusCode::CONFLICT);
    assert!(page.contains("Nobody said how far off the figures of power may be"));

    let mut fields = WATER.to_vec();
    for (place, figure) in [(4, "0"), (5, "6"), (6, "90"), (7, "300")] {
        fields[place] = ("low", figure);
        fields[place + 8] = ("high", figure);
    }
    let opened = version(&app.get("/site/needs/WATER/change").await);
    fields.extend([
        ("said_at", "2026-11-25T13:00"),
        ("version", opened.as_str()),
    ]);
    app.post("/site/needs/WATER/change", &fields).await;
    let page = app.get("/site/needs/WATER/what-if").await;
    assert!(
        page.contains(
            "Leave the figures of fresh water as they are: the line-up would stay the same."
        ),
        "{}",
        page.body
    );

    fields[6] = ("low", "6");
    fields[7] = ("low", "6");
    fields[14] = ("high", "9000");
    fields[15] = ("high", "90000");
    let opened = version(&app.get("/site/needs/WATER/change").await);
    let last = fields.len() - 1;
    fields[last] = ("version", opened.as_str());
    app.post("/site/needs/WATER/change", &fields).await;
    let page = app.get("/site/needs/WATER/what-if").await;
    assert!(
        page.contains("If the low figures are right"),
        "{}",
        page.body
    );
    assert!(
        page.contains("Ask again about fresh water"),
        "{}",
        page.body
    );
    assert!(page.contains("moves up to place") || page.contains("moves down to place"));
    assert!(page.contains("Each the best of "));
    assert_eq!(number(&app, "select count(*) from lineup").await, Some(0));
}

/// The crew reports assets; what the site needs is the lead's to say.
#[tokio::test]
async fn the_crew_reports_and_the_lead_says_what_is_needed() {
    let mut app = App::signed_in(Role::Crew).await;
    let page = app.get("/site/needs").await;
    assert!(page.contains("Report down") && !page.contains("Add a capability"));
    for path in [
        "/site/add-need",
        "/site/add-asset",
        "/site/needs/WATER/change",
    ] {
        assert_eq!(app.get(path).await.status, StatusCode::FORBIDDEN, "{path}");
    }
    app.sign_in(Role::Viewer).await;
    let page = app.get("/site/needs").await;
    assert!(page.contains("Fresh water") && !page.contains("Report down"));
    assert_eq!(
        app.get("/site/assets/GS1/report/down").await.status,
        StatusCode::FORBIDDEN
    );
}
