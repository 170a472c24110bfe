//! Powder and gas held for named machines: what the pages say of it, who holds, who gives up, what it costs.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_core::situation::{Held, KeepBack};
use mendpost_server::change::verify_journal;
use mendpost_server::situation;
use mendpost_tests::{Answer, App, between, number, text};

const PATH: &str = "/line-up/keep-backs";
const NEW: &str = "/line-up/keep-backs/new";
const FIRST: &str = "/line-up/keep-backs/1";

async fn lead() -> App {
    App::signed_in(Role::Lead).await
}

/// Keeps so many kilograms of bronze back for a machine.
pub async fn keep_bronze(app: &mut App, kg: &str, asset: &str, reason: &str) {
    app.get(NEW).await;
    let fields = [
        ("held", "powder/CUAL10"),
        ("asset", asset),
        ("kg", kg),
        ("reason", reason),
    ];
    app.post(NEW, &fields).await;
}

async fn held(app: &App) -> Vec<KeepBack> {
    let situation = situation::now(&app.state).await;
    situation.expect("a site").keep_backs
}

/// A kilogram and a half of stainless for both lift pumps, with one field otherwise.
async fn hold(app: &mut App, changed: (&str, &str)) -> Answer {
    let fields = [
        ("held", "powder/SS316"),
        ("asset", "SP1"),
        ("kg", "1.5"),
        ("reason", "sewage must not stand"),
    ];
    let mut fields: Vec<(&str, &str)> = fields
        .into_iter()
        .map(|(name, typed)| match name == changed.0 {
            true => changed,
            false => (name, typed),
        })
        .collect();
    fields.push(("asset", "SP2"));
    if changed.0 == "advise" {
        fields.push(changed);
    }
    app.get(NEW).await;
    app.post(NEW, &fields).await
}

async fn give_up(app: &mut App, kg: &str, reason: &str, held_g: &str) -> Answer {
    app.get(FIRST).await;
    let fields = [("kg", kg), ("reason", reason), ("held_g", held_g)];
    app.post(FIRST, &fields).await
}

/// The demonstration holds 3 500 g of bronze for the feed pumps: the line-up says so, for whom, since when and
/// by whom, and so do the list and the powders. What holding costs is not worked out yet.
#[tokio::test(flavor = "multi_thread")]
async fn the_line_up_says_what_is_held_for_whom_and_by_whom() {
    let mut app = lead().await;
    app.plan().await;
    for path in ["/line-up", PATH] {
        let page = app.get(path).await;
        for said in [
            "3\u{202f}500\u{a0}g of bronze CuAl10",
            "for Feed pump 1, Feed pump 2, Feed pump 3",
            "no trip that is known brings bronze",
            "22 Nov 2026 17:30, Cell lead",
            "Left by the order: ",
            "not worked out for this order",
        ] {
            assert!(page.contains(said), "{path} {said}: {}", page.body);
        }
    }
    let page = app.get("/powder").await;
    assert!(page.contains("3\u{202f}500 kept back"), "{}", page.body);
}

/// The stone crusher is short of fuel, and of bronze only since 3 500 g are held: both gates stand, and of
/// the keep-back no more is to be given up than it takes.
#[tokio::test(flavor = "multi_thread")]
async fn a_request_that_waits_says_that_its_powder_is_held() {
    let mut app = lead().await;
    app.plan().await;
    let page = app.get("/line-up").await;
    let gate =
        "powder, 3\u{202f}500\u{a0}g of bronze CuAl10 held for other machines by keep-back 1";
    assert!(page.contains(gate), "{}", page.body);
    assert!(page.contains("opens: give up "), "{}", page.body);
    assert!(page.contains("of keep-back 1"), "{}", page.body);
}

/// Held anew it has the next number, stands in the journal, and counts from now on; advice before that holds
/// nothing and keeps what was typed.
#[tokio::test]
async fn somebody_keeps_powder_back_and_is_advised_how_much() {
    let mut app = lead().await;
    let advised = hold(&mut app, ("advise", "yes")).await;
    assert_eq!(advised.status, StatusCode::OK, "{}", advised.body);
    let nothing = "No approved recipe for these machines takes 316L stainless";
    assert!(advised.contains(nothing), "{}", advised.body);
    for kept in [
        "value=\"SP1\" checked",
        "value=\"SP2\" checked",
        "value=\"1.5\"",
        ">sewage must not stand</textarea>",
        "value=\"powder/SS316\" selected",
    ] {
        assert!(advised.contains(kept), "{kept}: {}", advised.body);
    }
    assert_eq!(held(&app).await.len(), 1);

    let answer = hold(&mut app, ("", "")).await;
    assert_eq!(answer.location(), PATH, "{}", answer.body);
    let page = app.get(PATH).await;
    let said = "1\u{202f}500\u{a0}g of 316L stainless for Sewage lift pump 1, Sewage lift pump 2";
    assert!(page.contains(said), "{}", page.body);
    let untaken = "No approved recipe for these machines takes 316L stainless: theirs take ";
    assert_eq!(page.body.matches(untaken).count(), 2, "{}", page.body);
    let live = held(&app).await;
    assert_eq!(live[1].number, 2);
    assert_eq!(live[1].grams, 1_500);
    assert_eq!(live[1].said_by, "Cell lead");
    let both: Vec<&str> = live[1].assets.iter().map(|it| it.as_str()).collect();
    assert_eq!(both, ["SP1", "SP2"]);
    let entry =
        "select json_extract(content, '$.powder') || ' ' || json_extract(content, '$.grams')
                 from journal where kind = 'keep-back.set' and subject_id = '2'";
    assert_eq!(text(&app, entry).await.as_deref(), Some("SS316 1500"));
    let whole = verify_journal(&app.state.db.read).await.expect("readable");
    assert!(whole.is_ok());
}

/// Four reports of damage to the feed pumps in 10.24 days, and 8.89 days until what the aircraft brings, the
/// trip after next, may be used. With the prior's half a failure in 30 days that is 4.5 in 40.24, so that with a
/// share of 8.89/49.13 = 0.181 none comes with (40.24/49.13)^4.5 = 0.407, one with 0.407 x 4.5 x 0.181 = 0.332,
/// two with 0.332 x 5.5/2 x 0.181 = 0.165: up to two with 0.904. The largest rebuild in bronze is the impeller's,
/// 4 475 g, and twice that 8 950.
#[tokio::test]
async fn advice_rests_on_what_is_on_record() {
    let mut app = lead().await;
    app.get(NEW).await;
    let fields = [
        ("held", "powder/CUAL10"),
        ("asset", "WP1"),
        ("asset", "WP2"),
        ("asset", "WP3"),
        ("advise", "yes"),
    ];
    let advised = app.post(NEW, &fields).await;
    for said in [
        "Advised: 8.95 kg.",
        "3.5 kg of it are held by keep-back 1: 5.45 kg more.",
        "no more than 2 failures come in nine of ten cases",
        "4 reports of damage in 10 d",
        "until the trip after next",
        "The rebuild that takes most takes 4\u{202f}475\u{a0}g of bronze CuAl10.",
    ] {
        assert!(advised.contains(said), "{said}: {}", advised.body);
    }
}

/// Each fault stands beside its field, what was typed elsewhere stays, and nothing is held.
#[tokio::test]
async fn a_fault_of_each_field_stands_beside_it() {
    let mut app = lead().await;
    for wrong in [
        ("held", ""),
        ("held", "powder/GOLD"),
        ("asset", "NOBODY"),
        ("kg", ""),
        ("kg", "0"),
        ("kg", "0.0001"),
        ("kg", "much"),
        ("kg", "1000.001"),
        ("reason", " "),
    ] {
        let answer = hold(&mut app, wrong).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{wrong:?}");
        let error = answer.field_error(wrong.0);
        assert!(error.is_some(), "{wrong:?}: {}", answer.body);
        let kept = match wrong.0 {
            "reason" => "value=\"1.5\"",
            _ => ">sewage must not stand</textarea>",
        };
        assert!(answer.contains(kept), "{wrong:?}: {}", answer.body);
    }
    app.get(NEW).await;
    let fields = [("held", "bank/N1"), ("kg", "2"), ("reason", "nobody named")];
    let answer = app.post(NEW, &fields).await;
    assert!(answer.field_error("asset").is_some(), "{}", answer.body);
    assert_eq!(held(&app).await.len(), 1);
}

/// The same form sent twice, as after a lost answer, holds once.
#[tokio::test]
async fn a_form_sent_twice_holds_once() {
    let mut app = lead().await;
    app.get(NEW).await;
    let fields = [
        ("once", "BBBBBBBBBBBBBBBBBBBBBB"),
        ("held", "bank/N2"),
        ("asset", "SP1"),
        ("kg", "2.5"),
        ("reason", "sewage must not stand"),
    ];
    for _ in 0..2 {
        let answer = app.post(NEW, &fields).await;
        assert_eq!(answer.location(), PATH, "{}", answer.body);
    }
    let live = held(&app).await;
    assert_eq!(live.len(), 2);
    assert_eq!(live[1].held, Held::Gas("N2".parse().expect("a code")));
    let page = app.get(PATH).await;
    assert!(
        page.contains("2.5\u{a0}kg of nitrogen in bank N2"),
        "{}",
        page.body
    );
    assert!(page.contains("absolute in the bank"), "{}", page.body);
}

/// 1 500 of 3 500 g given up leave 2 000, and the rest leaves nothing. Each is signed by the lead, with a
/// reason, and stays on the page; neither what was held nor what was given up can be changed.
#[tokio::test]
async fn giving_up_is_signed_and_stays_on_record() {
    let mut app = lead().await;
    let answer = give_up(&mut app, "1.5", "the crusher blocks the road", "3500").await;
    assert_eq!(answer.location(), PATH, "{}", answer.body);
    assert_eq!(held(&app).await[0].grams, 2_000);
    let signed =
        "select printed_name || ': ' || meaning from signature order by rowid desc limit 1";
    assert_eq!(
        text(&app, signed).await.as_deref(),
        Some("Cell lead: give-up")
    );
    let entry =
        "select json_extract(content, '$.grams') || ' left ' || json_extract(content, '$.left_g')
                 from journal where kind = 'keep-back.given-up'";
    assert_eq!(text(&app, entry).await.as_deref(), Some("1500 left 2000"));

    give_up(&mut app, "2", "bronze came by road", "2000").await;
    assert!(held(&app).await.is_empty());
    let page = app.get(PATH).await;
    for said in [
        "Nothing is kept back",
        "the crusher blocks the road",
        "bronze came by road",
        "Keep-back 1: 2\u{202f}000\u{a0}g of bronze CuAl10 for Feed pump 1, Feed pump 2, Feed pump 3: given up",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let gone = app.get(FIRST).await;
    assert_eq!(gone.status, StatusCode::NOT_FOUND);
    for change in [
        "update keep_back set milligrams = 1",
        "delete from keep_back_given_up",
        "update keep_back_asset set asset_id = asset_id",
    ] {
        let mut writer = app.state.db.write.acquire().await.expect("a writer");
        let refused = sqlx::query(change).execute(&mut *writer).await;
        assert!(refused.is_err(), "{change}");
    }
}

/// The answer to giving up was lost and the form is sent again, of a part and then of all that was left: each is
/// given up once, and has the same answer twice, though by then less is held, or nothing.
#[tokio::test]
async fn a_form_sent_twice_gives_up_once() {
    let mut app = lead().await;
    for (once, kg, held_g, left) in [
        ("BBBBBBBBBBBBBBBBBBBBBB", "2.5", "3500", 1_000),
        ("CCCCCCCCCCCCCCCCCCCCCC", "1", "1000", 0),
    ] {
        app.get(FIRST).await;
        let fields = [
            ("once", once),
            ("kg", kg),
            ("reason", "bronze came by road"),
            ("held_g", held_g),
        ];
        for _ in 0..2 {
            let answer = app.post(FIRST, &fields).await;
            assert_eq!(answer.location(), PATH, "{}", answer.body);
        }
        let live = held(&app).await;
        assert_eq!(live.iter().map(|it| it.grams).sum::<i64>(), left);
    }
    let times = "select count(*) from keep_back_given_up";
    assert_eq!(number(&app, times).await, Some(2));
}

/// No more than is held, not without a reason, and not of another amount than was looked at.
#[tokio::test]
async fn a_fault_in_giving_up_gives_nothing_up() {
    let mut app = lead().await;
    for (kg, reason, held_g, field) in [
        ("3.501", "bronze came", "3500", "kg"),
        ("0", "bronze came", "3500", "kg"),
        ("1", "", "3500", "reason"),
        ("1", "bronze came", "9000", "kg"),
    ] {
        let answer = give_up(&mut app, kg, reason, held_g).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        assert!(answer.field_error(field).is_some(), "{}", answer.body);
        let typed = format!("value=\"{kg}\"");
        assert!(answer.contains(&typed), "{typed}: {}", answer.body);
    }
    assert_eq!(held(&app).await[0].grams, 3_500);
    let none = "select count(*) from keep_back_given_up";
    assert_eq!(number(&app, none).await, Some(0));
}

/// The lead alone holds and gives up. The others read, have no button, and are refused by hand.
#[tokio::test]
async fn only_the_lead_holds_and_gives_up() {
    for role in [Role::Crew, Role::Checker, Role::Storekeeper, Role::Viewer] {
        let mut app = App::signed_in(role).await;
        let page = app.get(PATH).await;
        assert_eq!(page.status, StatusCode::OK);
        assert!(!page.contains("href=\"/line-up/keep-backs/"), "{role}");
        for path in [NEW, FIRST] {
            let answer = app.get(path).await;
            assert_eq!(answer.status, StatusCode::FORBIDDEN, "{role} {path}");
            let answer = app.post(path, &[]).await;
            assert_eq!(answer.status, StatusCode::FORBIDDEN, "{role} {path}");
        }
        assert_eq!(held(&app).await[0].grams, 3_500);
    }
}

/// Assumed to be given up it is set beside the order, and stored nowhere: what keeps every rule while it is held
/// does so then, so that nothing more is lost. One that is not held cannot be.
#[tokio::test(flavor = "multi_thread")]
async fn a_keep_back_may_be_assumed_to_be_given_up() {
    let mut app = lead().await;
    app.plan().await;
    let page = app.get("/line-up/what-if?given_up=1").await;
    let assumed = "Keep-back 1: 3\u{202f}500\u{a0}g of bronze CuAl10 for Feed pump 1, Feed pump 2, Feed pump 3: given up";
    assert!(page.contains(assumed), "{}", page.body);
    let answer = between(&page.body, "<h1>", "</h1>").expect("an answer");
    assert!(!answer.contains(" more."), "{answer}");
    let choice = ">1: 3\u{202f}500\u{a0}g of bronze CuAl10 for Feed pump 1 and 2 more</option>";
    assert!(page.contains(choice), "{}", page.body);
    assert_eq!(held(&app).await[0].grams, 3_500);
    for number in ["7", "0", "-1", "one"] {
        let page = app
            .get(&format!("/line-up/what-if?given_up={number}"))
            .await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        let told = page.field_error("given_up").unwrap_or_default();
        let fault = format!("&#39;{number}&#39; is no keep-back here; choose one of the list");
        assert!(told.contains(&fault), "{told}");
    }
}

/// Worked out beside the order, what holding costs stands on the pages of worth, of the line-up and of the
/// keep-backs; it is never below nothing.
#[tokio::test(flavor = "multi_thread")]
async fn what_holding_costs_is_worked_out_beside_the_order() {
    let mut app = lead().await;
    app.plan().await;
    app.get("/line-up/worth").await;
    app.post("/line-up/worth", &[]).await;
    app.state.worths.finished().await;
    let found = app.state.worths.shown().found.expect("worked out");
    assert_eq!(found.measured.holding.len(), 1);
    let page = app.get("/line-up/worth").await;
    assert!(page.contains("what holding costs now"), "{}", page.body);
    for path in ["/line-up", PATH] {
        let page = app.get(path).await;
        assert!(!page.contains("not worked out for this order"), "{path}");
        let says = [
            "Holding it costs",
            "What holding costs now is not measurable",
        ];
        assert!(says.iter().any(|said| page.contains(said)), "{}", page.body);
    }
    give_up(&mut app, "1", "bronze came by road", "3500").await;
    let page = app.get(PATH).await;
    let stale = "not worked out for what is held now";
    assert!(page.contains(stale), "{}", page.body);
    assert!(!page.contains("Holding it costs"), "{}", page.body);
}

/// How far it is planned stands beside the losses: 14 days reach past the aircraft, the trip after next.
#[tokio::test(flavor = "multi_thread")]
async fn the_line_up_says_how_far_it_reaches() {
    let mut app = lead().await;
    app.plan().await;
    let page = app.get("/line-up").await;
    let reach = "Planned 14 days ahead, past the trip after next: small aircraft, ";
    assert!(page.contains(reach), "{}", page.body);
}

/// With the second trip put off to day 30 the line-up reaches there, and its shifts with it.
#[tokio::test]
async fn the_plan_reaches_to_the_trip_after_next() {
    let app = lead().await;
    let later = "update delivery set latest_ms = null, expected_ms = expected_ms + 21 * 86400000 where code = 'AIR-3'";
    let mut writer = app.state.db.write.acquire().await.expect("a writer");
    sqlx::query(later).execute(&mut *writer).await.expect(later);
    drop(writer);
    let site = situation::now(&app.state).await.expect("a site");
    assert!(
        (30..=31).contains(&site.site.plan_days),
        "{}",
        site.site.plan_days
    );
    let last = site.shifts.last().expect("shifts").to;
    assert!(last > site.moment(29 * 1440), "{last}");
}
