//! The machine of an interim part: it runs until that part must come off, and stands, or runs on with what
//! replaces it, once the part is off.

use axum::http::StatusCode;
use mendpost_core::interim::Limit;
use mendpost_server::change::{Actor, Change};
use mendpost_server::interim::{self, End, Released};
use mendpost_server::situation::moment;
use mendpost_tests::{Answer, App, START, between, number, text};

use super::{HOUR, crew, enter};

/// Generating set 4 runs, and nobody expects it to stop.
const OTHERWISE: [(&str, &str); 3] = [
    ("asset", "GS4"),
    ("part", ""),
    ("part_name", "belt tensioner"),
];

const STOP: &str = "select down_from_ms from asset where code = 'GS4'";
const NEEDED: &str = "select needed_by_ms from request where number = 38";

/// The newest entry about an asset.
const LAST: &str = "select kind || ' ' || subject_id || ' ' || content from journal
                    where subject_kind = 'asset' order by sequence desc limit 1";

/// 200 h at 8 a day since 20 November 15:40: off, and its machine down, 20 days from now.
async fn fitted() -> App {
    let mut app = crew().await;
    let answer = enter(&mut app, &OTHERWISE).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    assert_eq!(number(&app, STOP).await, Some(START + 20 * 24 * HOUR));
    app
}

async fn read(app: &mut App, shows: &str) {
    let reading = [("meter", shows), ("at", "")];
    let answer = app.post("/interim/2/reading", &reading).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
}

async fn report(app: &mut App, asset: &str, what: &str, at: &str) -> Answer {
    let path = format!("/site/assets/{asset}/report/{what}");
    let page = app.get(&path).await;
    let version = between(&page.body, "name=\"version\" value=\"", "\"").expect("a version");
    app.post(&path, &[("at", at), ("version", version)]).await
}

async fn take_off(app: &mut App, at: &str, machine: &str) -> Answer {
    let off = [
        ("at", at),
        ("meter", ""),
        ("machine", machine),
        ("note", ""),
    ];
    app.post("/interim/2/off", &off).await
}

/// 110 of 200 h are used in five days where 40 were expected: it comes off 270 h from now in place of 480.
/// Its successor is needed by then, and its machine stops then, both by one change that says why. Read a
/// day later it has run 2 h instead of 8, and both move back.
#[tokio::test(flavor = "multi_thread")]
async fn a_reading_moves_the_stop_of_the_machine_with_the_end() {
    let mut app = fitted().await;
    let before = number(&app, "select max(sequence) from journal").await;
    read(&mut app, "1110").await;
    let end = START + 270 * HOUR;
    assert_eq!(number(&app, STOP).await, Some(end));
    assert_eq!(number(&app, NEEDED).await, Some(end));
    let kinds = format!(
        "select group_concat(kind || ' ' || subject_id) from journal where sequence > {}",
        before.expect("a journal")
    );
    let kinds: Option<String> = sqlx::query_scalar(sqlx::AssertSqlSafe(kinds))
        .fetch_one(&app.state.db.read)
        .await
        .expect("the journal");
    assert_eq!(
        kinds.as_deref(),
        Some("interim.read I2,request.put-right R38,asset.expected GS4")
    );
    let why = "select content ->> 'why' || '|' || (content ->> 'interim') from journal
               where subject_id = 'GS4' order by sequence desc limit 1";
    assert_eq!(
        text(&app, why).await.as_deref(),
        Some("the hour meter of I2 was read|I2")
    );
    // What it changed of the request stands in its entry as when somebody puts it right.
    let changed = "select content -> '$.changed.\"Needed by\"' ->> 'after' from journal
                   where kind = 'request.put-right'";
    assert_eq!(
        text(&app, changed).await.as_deref(),
        Some("6 Dec 2026 21:40")
    );
    let page = app.get("/site/assets/GS4").await;
    assert!(page.contains("with I2"), "{}", page.body);

    app.wait_minutes(24 * 60);
    app.sign_in(mendpost_core::people::Role::Crew).await;
    read(&mut app, "1112").await;
    let later = START + 24 * HOUR + 264 * HOUR;
    assert_eq!(number(&app, STOP).await, Some(later));
    assert_eq!(number(&app, NEEDED).await, Some(later));
}

/// Something else on it gives way in two days: that stays, whatever the meter shows.
#[tokio::test(flavor = "multi_thread")]
async fn a_stop_that_comes_sooner_stays() {
    let mut app = fitted().await;
    let sooner = report(&mut app, "GS4", "expected", "2026-11-27T15:40").await;
    assert_eq!(sooner.status, StatusCode::SEE_OTHER, "{}", sooner.body);
    read(&mut app, "1110").await;
    assert_eq!(number(&app, STOP).await, Some(START + 48 * HOUR));
    assert_eq!(number(&app, NEEDED).await, Some(START + 270 * HOUR));
}

/// Read at 1 205 it ran past its hours: it is to stand still from the reading, and not from before it,
/// when it ran.
#[tokio::test(flavor = "multi_thread")]
async fn run_past_its_hours_it_stops_now() {
    let mut app = fitted().await;
    app.wait_minutes(9 * 24 * 60);
    app.sign_in(mendpost_core::people::Role::Crew).await;
    read(&mut app, "1205").await;
    assert_eq!(number(&app, STOP).await, Some(START + 9 * 24 * HOUR));
    // It is read again while it still runs.
    app.wait_minutes(60);
    read(&mut app, "1206").await;
    assert_eq!(number(&app, STOP).await, Some(START + 217 * HOUR));
    // The true part is in at last: what it was down for is off it, and it is up since then.
    app.wait_minutes(60);
    let off = take_off(&mut app, "", "runs").await;
    assert_eq!(off.status, StatusCode::SEE_OTHER, "{}", off.body);
    assert_eq!(number(&app, STOP).await, None);
    let up =
        "select content ->> 'at_ms' from journal where kind = 'asset.up' and subject_id = 'GS4'
              order by sequence desc limit 1";
    assert_eq!(number(&app, up).await, Some(START + 218 * HOUR));
    let page = app.get("/site/assets/GS4").await;
    assert!(page.contains("up since"), "{}", page.body);
}

/// Run past its hours and read, it ran two hours more until it came off: it stands since then.
#[tokio::test(flavor = "multi_thread")]
async fn run_past_its_hours_it_stands_since_it_came_off() {
    let mut app = fitted().await;
    app.wait_minutes(9 * 24 * 60);
    app.sign_in(mendpost_core::people::Role::Crew).await;
    read(&mut app, "1205").await;
    app.wait_minutes(120);
    let off = take_off(&mut app, "", "stands").await;
    assert_eq!(off.status, StatusCode::SEE_OTHER, "{}", off.body);
    assert_eq!(number(&app, STOP).await, Some(START + 218 * HOUR));
}

/// Nobody read the meter as it was fitted. Read five days later it shows 5 000, and the 40 h that were
/// expected count as run: 160 are left, and its end stays where it was.
#[tokio::test(flavor = "multi_thread")]
async fn a_first_reading_moves_no_end() {
    let mut app = crew().await;
    let [asset, part, name] = OTHERWISE;
    let answer = enter(&mut app, &[asset, part, name, ("meter", "")]).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    read(&mut app, "5000").await;
    let end = Some(START + 20 * 24 * HOUR);
    assert_eq!(number(&app, STOP).await, end);
    assert_eq!(number(&app, NEEDED).await, end);
    let page = app.get("/interim/2").await;
    assert!(page.contains("160 h of running"), "{}", page.body);
    assert!(
        page.contains("reckoned to 25 Nov 2026 15:40, then by its readings"),
        "{}",
        page.body
    );
}

/// Another part on the same machine, off by a date.
async fn fit_another(app: &mut App, off_by: &str) {
    let [asset, part, name] = OTHERWISE;
    let by_date = [
        asset,
        part,
        name,
        ("limit", "date"),
        ("off_by", off_by),
        ("most", ""),
        ("a_day", ""),
        ("meter", ""),
    ];
    let answer = enter(app, &by_date).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
}

/// The other part on it is overdue, and the machine counts as down since that one's end: a reading for
/// this one says nothing of it.
#[tokio::test(flavor = "multi_thread")]
async fn a_reading_moves_no_other_parts_end() {
    let mut app = fitted().await;
    fit_another(&mut app, "2026-11-26T15:40").await;
    let end = Some(START + 24 * HOUR);
    assert_eq!(number(&app, STOP).await, end);
    app.wait_minutes(2 * 24 * 60);
    app.sign_in(mendpost_core::people::Role::Crew).await;
    read(&mut app, "1010").await;
    assert_eq!(number(&app, STOP).await, end);
}

/// The first part is off it and the second is not: the machine runs until that one's end, and the entry
/// names it.
#[tokio::test(flavor = "multi_thread")]
async fn it_runs_until_the_end_of_the_next_part() {
    let mut app = fitted().await;
    fit_another(&mut app, "2026-12-20T15:40").await;
    let off = take_off(&mut app, "", "runs").await;
    assert_eq!(off.status, StatusCode::SEE_OTHER, "{}", off.body);
    assert_eq!(number(&app, STOP).await, Some(START + 25 * 24 * HOUR));
    let last = text(&app, LAST).await.expect("an entry");
    assert!(
        last.starts_with("asset.expected GS4") && last.contains("\"interim\":\"I3\""),
        "{last}"
    );
}

/// Somebody said that its successor is needed sooner, for a ferry: no reading takes that back.
#[tokio::test(flavor = "multi_thread")]
async fn a_needed_by_that_somebody_put_right_stays() {
    let mut app = fitted().await;
    app.get("/requests/38/arrival").await;
    let right = [
        ("version", "1"),
        ("broken_part", "here"),
        ("crack_check", "not-done"),
        ("part", "not-listed"),
        ("part_name", "belt tensioner"),
        ("damage", "interim"),
        ("description", "Replaces interim part I2."),
        ("danger", "no"),
        ("asked_by", "Waterworks engineer"),
        ("needed_by", "2026-11-30T15:40"),
        ("spare", "unknown"),
        ("why", "the ferry leaves then"),
    ];
    let told = app.post_files("/requests/38/arrival", &right, &[]).await;
    assert_eq!(told.status, StatusCode::SEE_OTHER, "{}", told.body);
    read(&mut app, "1110").await;
    assert_eq!(number(&app, NEEDED).await, Some(START + 5 * 24 * HOUR));
    assert_eq!(number(&app, STOP).await, Some(START + 270 * HOUR));
}

/// The impeller of feed pump 1 goes out as I2, off ten days from now.
async fn release_impeller(app: &App, since_ms: i64) {
    let released = Released {
        request: Some(8),
        asset: "WP1",
        part: None,
        part_name: "impeller",
        place: "",
        since: moment(since_ms).expect("a time"),
        end: End {
            limit: Limit::Date {
                off_by: moment(START + 240 * HOUR).expect("a time"),
            },
            meter_min: None,
        },
        owner: "Waterworks engineer",
        plan: "Off when the true impeller is here",
        released_by: "Checker",
    };
    let mut change = Change::begin(&app.state, Actor::Mendpost)
        .await
        .expect("a change begins");
    interim::record(&mut change, &released, "Checker")
        .await
        .expect("recorded");
    change.commit().await.expect("it lasts");
}

/// It went out half a minute past 15:39, and came off in the same minute: a field for a time knows no
/// seconds, and takes 15:39.
#[tokio::test(flavor = "multi_thread")]
async fn a_whole_minute_is_not_before_its_seconds() {
    let mut app = crew().await;
    release_impeller(&app, START - 30_000).await;
    let off = take_off(&mut app, "2026-11-25T15:39", "stands").await;
    assert_eq!(off.status, StatusCode::SEE_OTHER, "{}", off.body);
}

/// Feed pump 1 is down, and its impeller goes out with an end in ten days. Fitted and run, it is reported
/// up: it runs until that end, when it is down again. That it would run longer is refused.
#[tokio::test(flavor = "multi_thread")]
async fn reported_up_it_runs_until_the_end_of_its_interim_part() {
    let mut app = crew().await;
    release_impeller(&app, START).await;
    let end = START + 240 * HOUR;
    let stop = "select down_from_ms from asset where code = 'WP1'";
    assert!(
        number(&app, stop).await < Some(START),
        "released is not fitted: it still stands"
    );

    let up = report(&mut app, "WP1", "up", "").await;
    assert_eq!(up.status, StatusCode::SEE_OTHER, "{}", up.body);
    assert_eq!(number(&app, stop).await, Some(end));
    let page = app.get("/site/assets/WP1").await;
    assert!(
        page.contains("it runs until 5 Dec 2026 15:40, when I2 must come off"),
        "{}",
        page.body
    );
    let fault = "I2 on it must come off 5 Dec 2026 15:40; give a time up to then, or enter that it is off first";
    for (what, at) in [("up", ""), ("expected", "2026-12-20T12:00")] {
        let longer = report(&mut app, "WP1", what, at).await;
        assert_eq!(longer.field_error("at"), Some(fault), "{what}");
    }
    assert_eq!(number(&app, stop).await, Some(end));
}

/// Taken off an hour ago, and nothing replaces it yet: the machine stands since then.
#[tokio::test(flavor = "multi_thread")]
async fn with_its_part_off_the_machine_stands() {
    let mut app = fitted().await;
    let page = take_off(&mut app, "2026-11-25T14:40", "").await;
    assert_eq!(
        page.field_error("machine"),
        Some("say whether its machine stands still or runs")
    );
    let off = take_off(&mut app, "2026-11-25T14:40", "stands").await;
    assert_eq!(off.status, StatusCode::SEE_OTHER, "{}", off.body);
    assert_eq!(number(&app, STOP).await, Some(START - HOUR));
    let last = text(&app, LAST).await.expect("an entry");
    assert!(last.starts_with("asset.down GS4"), "{last}");
}

/// The true part is in: what was to stop the machine is off it, and it runs on.
#[tokio::test(flavor = "multi_thread")]
async fn with_the_true_part_in_the_machine_runs_on() {
    let mut app = fitted().await;
    let off = take_off(&mut app, "", "runs").await;
    assert_eq!(off.status, StatusCode::SEE_OTHER, "{}", off.body);
    assert_eq!(number(&app, STOP).await, None);
    let last = text(&app, LAST).await.expect("an entry");
    assert!(last.starts_with("asset.up GS4"), "{last}");
    let page = app.get("/site/assets/GS4").await;
    assert!(
        page.contains("will not stop after all, with I2"),
        "{}",
        page.body
    );
}

/// It was reported down for another cause: that it runs is reported with the machine.
#[tokio::test(flavor = "multi_thread")]
async fn a_machine_that_is_down_does_not_run_by_a_part_coming_off() {
    let mut app = fitted().await;
    report(&mut app, "GS4", "down", "2026-11-25T12:40").await;
    let page = take_off(&mut app, "", "runs").await;
    assert_eq!(
        page.field_error("machine"),
        Some(
            "it has been down since 25 Nov 2026 12:40; choose &#39;stands still&#39;, and report it up on its own page"
        )
    );
    let off = take_off(&mut app, "", "stands").await;
    assert_eq!(off.status, StatusCode::SEE_OTHER, "{}", off.body);
    assert_eq!(number(&app, STOP).await, Some(START - 3 * HOUR));
}
