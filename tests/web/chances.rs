//! How sure an order is: what the line-up says of it, and what the site says of durations, deliveries and
//! builds.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_core::situation::Chances;
use mendpost_server::change::verify_journal;
use mendpost_server::lineup::queries;
use mendpost_tests::{Answer, App, between, number, site, text};

const FORM: &str = "/site/chances/change";

/// What one site has seen.
const SEEN: &[(&str, &str)] = &[
    ("duration_percent", "35"),
    ("late_h", "96"),
    ("own_percent", "97,5"),
    ("asked_percent", "92"),
    ("trial_percent", "70"),
    ("chance_builds", "4"),
    ("margin_percent", "0.5"),
];

async fn post(app: &mut App, changed: (&str, &str)) -> Answer {
    let opened = app.get(FORM).await;
    let version = between(&opened.body, "name=\"version\" value=\"", "\"");
    let version = version.expect("a form with a version").to_owned();
    let mut fields: Vec<(&str, &str)> = vec![("version", &version)];
    fields.extend(SEEN.iter().map(|&(name, typed)| match name == changed.0 {
        true => changed,
        false => (name, typed),
    }));
    app.post(FORM, &fields).await
}

async fn planned(role: Role) -> App {
    let mut app = App::signed_in(role).await;
    app.plan().await;
    app.state.planner.finished().await;
    app
}

/// Until somebody says otherwise the page says that it is common practice; then the figures are the site's
/// own, the computation counts with them, and the journal keeps old and new.
#[tokio::test]
async fn the_site_says_what_it_has_seen() {
    let mut app = App::signed_in(Role::Lead).await;
    assert_eq!(site(&app).await.site.chances, Chances::default());
    let page = app.get("/site").await;
    assert!(page.contains("href=\"/site/chances\""));
    let page = app.get("/site/chances").await;
    assert!(page.contains("common practice, no source"), "{}", page.body);
    let answer = post(&mut app, ("", "")).await;
    assert_eq!(answer.location(), "/site/chances", "{}", answer.body);
    let page = app.get("/site/chances").await;
    for set in ["35 %", "96 h", "97.5 %", "0.5 %"] {
        assert!(page.contains(set), "{set}: {}", page.body);
    }
    assert!(!page.contains("Nobody has said yet"));
    let seen = Chances {
        duration_permille: 350,
        late_min: 96 * 60,
        own_permille: 975,
        asked_permille: 920,
        trial_permille: 700,
        builds: 4,
        margin_permille: 5,
    };
    assert_eq!(site(&app).await.site.chances, seen);
    let both = "select json_extract(content, '$.before.late_h') || ' to ' || json_extract(content, '$.after.late_h')
                from journal where kind = 'chances.changed'";
    assert_eq!(text(&app, both).await.as_deref(), Some("48 to 96"));
    let whole = verify_journal(&app.state.db.read).await.expect("readable");
    assert!(whole.is_ok());
}

/// Each wrong figure is told beside its field, what was typed there and elsewhere stays, and nothing is stored. Whoever does not set up the site has no form.
#[tokio::test]
async fn a_fault_of_each_chance_stands_beside_it() {
    let mut app = App::signed_in(Role::Lead).await;
    let wrong = [
        ("duration_percent", ""),
        ("duration_percent", "200.1"),
        ("late_h", "721"),
        ("late_h", "1.5"),
        ("own_percent", "0.9"),
        ("asked_percent", "100.1"),
        ("trial_percent", "often"),
        ("chance_builds", "0"),
        ("margin_percent", "20.1"),
        ("margin_percent", "-1"),
    ];
    for changed in wrong {
        let answer = post(&mut app, changed).await;
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{changed:?}"
        );
        assert!(answer.field_error(changed.0).is_some(), "{changed:?}");
        for (name, typed) in SEEN {
            let typed = if *name == changed.0 { changed.1 } else { typed };
            let typed = format!("name=\"{name}\" inputmode=\"decimal\" value=\"{typed}\"");
            assert!(answer.contains(&typed), "{changed:?}: {typed}");
        }
    }
    let changes = "select count(*) from journal where kind = 'chances.changed'";
    assert_eq!(number(&app, changes).await, Some(0));
    let mut crew = app.other_browser();
    crew.sign_in(Role::Crew).await;
    assert!(!crew.get("/site/chances").await.contains(FORM));
    assert_eq!(crew.get(FORM).await.status, StatusCode::FORBIDDEN);
}

/// Two tablets: the second form was opened before the first was saved, and both stand side by side.
#[tokio::test]
async fn chances_said_meanwhile_are_not_written_over() {
    let mut app = App::signed_in(Role::Lead).await;
    app.get(FORM).await;
    post(&mut app, ("", "")).await;
    let mut fields = vec![("version", "1")];
    fields.extend(SEEN);
    let answer = app.post(FORM, &fields).await;
    assert_eq!(answer.status, StatusCode::CONFLICT, "{}", answer.body);
    let changes = "select count(*) from journal where kind = 'chances.changed'";
    assert_eq!(number(&app, changes).await, Some(1));
}

/// The line-up says by which day each machine is back in 50, 80 and 95 of 100, that its powders and its gas
/// suffice in so many, what that rests on and what it leaves out; and that nothing is on record yet.
#[tokio::test(flavor = "multi_thread")]
async fn an_order_says_how_sure_it_is() {
    let mut app = planned(Role::Lead).await;
    let page = app.get("/line-up").await;
    for told in [
        "How sure it is",
        "2\u{202f}000 runs of this order",
        "In 50 of 100 by",
        "In 80 of 100 by",
        "In 95 of 100 by",
        "likely by ",
        "Likely: in 80 of 100 runs",
        "Suffices for this order",
        "Nitrogen",
        "Fuel",
        "multiplied by 1.2",
        "95 % of the crew’s own, 90 % with a yes, 80 % of trial pieces",
        "no build is on record yet",
        "Nobody plans anew meanwhile",
    ] {
        assert!(page.contains(told), "{told}: {}", page.body);
    }
    let stored = queries::latest(&app.state.db.read).await;
    let line_up = stored.expect("readable").expect("planned").line_up;
    let expected = line_up.expected.expect("worked out with the order");
    assert_eq!(expected.outlook.runs, 2000);
    for place in &line_up.places {
        let back = expected.outlook.assets[place.asset.as_str()];
        let [half, likely, sure] =
            [back.half, back.likely, back.almost_sure].map(|it| it.unwrap_or(i64::MAX));
        assert!(half <= likely && likely <= sure, "{back:?}");
    }
    let entry =
        "select json_extract(content, '$.mean_loss') from journal where kind = 'lineup.computed'";
    assert_eq!(number(&app, entry).await, Some(expected.outlook.mean_loss));
}

/// An order that was stored before any of this was worked out is shown as it was, and says how to have it.
#[tokio::test(flavor = "multi_thread")]
async fn an_order_of_before_is_still_readable() {
    let mut app = planned(Role::Lead).await;
    // Nothing on a page does this: an order stays as it was stored.
    let as_before =
        "drop trigger lineup_stays; update lineup set line_up = json_remove(line_up, '$.expected')";
    let db = &app.state.db.write;
    sqlx::raw_sql(as_before)
        .execute(db)
        .await
        .expect("stored as before");
    let page = app.get("/line-up").await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(page.contains("How sure this order is was not worked out"));
    assert!(!page.contains("How sure it is") && !page.contains("likely by "));
}

/// A site where every build passes and nothing is late or longer expects less loss than one where half of the
/// builds fail and durations double.
#[tokio::test(flavor = "multi_thread")]
async fn what_the_site_says_is_counted_with() {
    let mut app = planned(Role::Lead).await;
    let mean =
        "select json_extract(content, '$.mean_loss') from journal where kind = 'lineup.computed'
                order by sequence desc limit 1";
    let usual = number(&app, mean).await;
    let opened = app.get(FORM).await;
    let version = between(&opened.body, "name=\"version\" value=\"", "\"").expect("a version");
    let bad = [
        ("version", version.to_owned().as_str()),
        ("duration_percent", "100"),
        ("late_h", "200"),
        ("own_percent", "50"),
        ("asked_percent", "50"),
        ("trial_percent", "50"),
        ("chance_builds", "10"),
        ("margin_percent", "0"),
    ]
    .map(|(name, typed)| (name, typed.to_owned()));
    let bad: Vec<(&str, &str)> = bad.iter().map(|(n, t)| (*n, t.as_str())).collect();
    let answer = app.post(FORM, &bad).await;
    assert_eq!(answer.location(), "/site/chances", "{}", answer.body);
    app.plan().await;
    app.state.planner.finished().await;
    assert!(number(&app, mean).await > usual);
    let page = app.get("/line-up").await;
    assert!(page.contains("multiplied by 2;"), "{}", page.body);
}
