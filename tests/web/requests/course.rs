//! A request from being sorted to being served: what may be done where it stands, and by whom.

use chrono::TimeDelta;
use mendpost_core::people::Role;
use mendpost_server::situation;
use mendpost_tests::{Answer, App, between, number};

use super::report;
use crate::keep_back::keep_bronze;

/// What an operation asks for where its recipe lists no dimension: how it was looked at for cracks, and what was
/// measured. The others ask for none of it.
pub(crate) const FOUND: [(&str, &str); 4] = [
    ("note", "as written"),
    ("method", "dye"),
    ("cracks", "none"),
    ("agent", "penetrant P-118"),
];

/// Enters what comes next as done: by a load of the furnace, or on the page of work.
pub(crate) async fn work_on(app: &mut App, request: i64) {
    let path = format!("/requests/{request}");
    let page = app.get(&format!("{path}/work")).await;
    if page.contains("its load enters it") {
        return heat(app, &[request]).await;
    }
    let answer = app.post(&format!("{path}/work"), &FOUND).await;
    assert_eq!(answer.location(), path, "{}", answer.body);
}

/// Two hours in the furnace, for parts that share a cycle.
pub(crate) async fn heat(app: &mut App, requests: &[i64]) {
    let numbers: Vec<String> = requests.iter().map(ToString::to_string).collect();
    let mut fields = vec![("station", "furnace"), ("set_c", "300")];
    fields.extend(numbers.iter().map(|number| ("part", number.as_str())));
    let answer = app.post("/furnace/open", &fields).await;
    let load = answer.location().to_owned();
    assert!(load.starts_with("/furnace/"), "{}", answer.body);
    let from = local(app).await;
    app.wait_minutes(121);
    let to = local(app).await;
    let chart = [
        ("actual_c", "298"),
        ("soak_from", from.as_str()),
        ("soak_to", to.as_str()),
        ("chart", "C-118"),
        ("operator", "Sprayer"),
    ];
    let answer = app.post(&format!("{load}/close"), &chart).await;
    assert_eq!(answer.location(), load, "{}", answer.body);
}

/// What the site's clock shows, as a field takes it.
pub(crate) async fn local(app: &App) -> String {
    let site = situation::now(&app.state).await.expect("a site");
    let now = site.now.with_timezone(&site.site.zone);
    now.format("%Y-%m-%dT%H:%M").to_string()
}

/// Sorts a request to be rebuilt by one recipe.
pub(crate) async fn sort(app: &mut App, request: i64, recipe: &str) {
    let path = format!("/requests/{request}/sort");
    let seen = seen(&app.get(&path).await);
    let fields = [
        ("seen", seen.as_str()),
        ("recipe", recipe),
        ("take", "yes"),
        ("why", "the powder is here and the part is simple"),
        ("true_part", "no"),
        ("stand_in", "no"),
    ];
    let answer = app.post(&path, &fields).await;
    assert_eq!(
        answer.location(),
        format!("/requests/{request}"),
        "{}",
        answer.body
    );
}

/// What a sorting form was opened at.
fn seen(page: &Answer) -> String {
    let seen = between(&page.body, "name=\"seen\" value=\"", "\"");
    seen.expect("a form to sort").to_owned()
}

async fn done(app: &App) -> Option<i64> {
    number(app, "select count(*) from work_done").await
}

/// A way without a reason, and no way at all, are told; what was typed is kept and nothing is stored.
#[tokio::test]
async fn each_way_takes_a_reason() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let page = app.get("/requests/8/sort").await;
    assert!(page.contains("Sort R8: say by which ways it may be served."));
    let none = [("recipe", "BR-035"), ("take", "no"), ("why", "")];
    let answer = app.post("/requests/8/sort", &none).await;
    assert_eq!(answer.status, 422);
    assert!(answer.field_error("true_part").is_some());
    let unsaid = [("recipe", "BR-035"), ("take", "yes"), ("why", "")];
    let answer = app.post("/requests/8/sort", &unsaid).await;
    assert!(answer.field_error("why0").is_some(), "{}", answer.body);
    let true_part = [
        ("true_part", "yes"),
        ("delivery", "none"),
        ("expected", "2020-01-01T00:00"),
        ("fit_hours", "a while"),
        ("fit_crew", "30"),
        ("true_why", ""),
    ];
    let answer = app.post("/requests/8/sort", &true_part).await;
    for field in ["expected", "fit_hours", "fit_crew", "true_why"] {
        assert!(answer.field_error(field).is_some(), "{field}");
    }
    assert!(answer.contains("a while"), "what was typed is kept");
    let stand_in = [("stand_in", "yes"), ("stand_in_recipe", "ZN-021")];
    let answer = app.post("/requests/8/sort", &stand_in).await;
    for field in [
        "stand_in_recipe",
        "off_by",
        "swap_hours",
        "second_build",
        "stand_in_why",
    ] {
        assert!(answer.field_error(field).is_some(), "{field}");
    }
    let decided = number(
        &app,
        "select count(*) from request_decision d join request r on r.id = d.request_id where r.number = 8",
    )
    .await;
    assert_eq!(decided, Some(0));
}

/// R8 may be rebuilt, or a stand-in may serve, or the true part that comes with the boat: all three stand
/// side by side, each with its reason, and the plan chooses.
#[tokio::test(flavor = "multi_thread")]
async fn several_ways_stand_side_by_side() {
    let mut app = App::new().await;
    app.sign_in(Role::Checker).await;
    let seen = seen(&app.get("/requests/8/sort").await);
    let fields = [
        ("seen", seen.as_str()),
        ("recipe", "BR-035"),
        ("take", "yes"),
        ("why", "bronze lies here"),
        ("true_part", "yes"),
        ("delivery", "BOAT-7"),
        ("fit_hours", "4"),
        ("fit_crew", "2"),
        ("true_why", "ordered by the waterworks"),
        ("stand_in", "yes"),
        ("stand_in_recipe", "BR-035"),
        ("off_by", "2027-01-31T12:00"),
        ("swap_hours", "6"),
        ("second_build", "900"),
        ("stand_in_why", "half load until the true one is in"),
    ];
    let answer = app.post("/requests/8/sort", &fields).await;
    assert_eq!(answer.location(), "/requests/8", "{}", answer.body);
    let page = app.get("/requests/8").await;
    assert!(page.contains("Stand-in by BR-035 rev 2"), "{}", page.body);
    assert!(page.contains("True part on order"));
    assert!(page.contains("rebuild by BR-035: bronze lies here"));
    app.plan().await;
    assert!(app.get("/requests/8").await.contains("chosen by order"));
}

/// Nobody has sorted R8 yet, so no work is entered for it; R15 is sorted and lacks its yes.
#[tokio::test]
async fn work_begins_when_it_is_sorted_and_allowed() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let page = app.get("/requests/8/work").await;
    assert!(page.contains("nobody has sorted this request yet"));
    let answer = app.post("/requests/8/work", &[]).await;
    assert_eq!(answer.status, 422);
    sort(&mut app, 15, "AL-013").await;
    let page = app.get("/requests/15/work").await;
    assert!(page.contains("authority, no yes to build"), "{}", page.body);
    let answer = app.post("/requests/15/work", &[]).await;
    assert_eq!(answer.status, 422);
    assert_eq!(done(&app).await, Some(0));
}

/// R8 is of a feed pump, for which bronze is kept back: nothing is in its way. Of 17 600 g its impeller takes 4 475
/// and leaves 13 125; with 14 kg kept back for a lift pump the page says so before it is begun, and the crew decides.
#[tokio::test]
async fn work_that_takes_what_is_kept_back_for_others_says_so() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    sort(&mut app, 8, "BR-035").await;
    let page = app.get("/requests/8/work").await;
    assert!(!page.contains("kept back for other"), "{}", page.body);
    keep_bronze(&mut app, "14", "SP1", "sewage must not stand").await;
    let page = app.get("/requests/8/work").await;
    for said in [
        "Spraying takes 4\u{202f}475\u{a0}g of bronze CuAl10 and leaves 13\u{202f}125\u{a0}g",
        "less than the 14\u{202f}000\u{a0}g kept back for other machines",
        "Keep-back 2: 14\u{202f}000\u{a0}g of bronze CuAl10 for Sewage lift pump 1.",
        "href=\"/line-up/keep-backs\"",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let answer = app.post("/requests/8/work", &[]).await;
    assert_eq!(answer.location(), "/requests/8", "{}", answer.body);
}

/// The lead sprays R8 and cannot release it; the checker does. After its first run it is served, and
/// what was done of it stays to be read.
#[tokio::test(flavor = "multi_thread")]
async fn from_blasting_to_the_first_run() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    sort(&mut app, 8, "BR-035").await;
    let steps: Vec<String> = sqlx::query_scalar(
        "select o.kind from recipe_operation o join recipe r on r.id = o.recipe_id
         where r.code = 'BR-035' and r.revision = 2 order by o.position",
    )
    .fetch_all(&app.state.db.read)
    .await
    .expect("its operations");
    for kind in steps.iter().take_while(|kind| *kind != "release") {
        assert_ne!(kind, "release");
        work_on(&mut app, 8).await;
    }
    let page = app.get("/requests/8").await;
    assert!(page.contains("Measured and checked"));
    let refused = app.get("/requests/8/work").await;
    assert!(
        refused.contains("you sprayed this part"),
        "{}",
        refused.body
    );
    assert_eq!(
        app.post("/requests/8/work", &[("limit", "full")])
            .await
            .status,
        422
    );
    app.sign_in(Role::Checker).await;
    let answer = app.post("/requests/8/work", &[]).await;
    assert!(answer.field_error("limit").is_some());
    let interim = [("limit", "date"), ("owner", ""), ("plan", "")];
    let answer = app.post("/requests/8/work", &interim).await;
    for field in ["off_by", "owner", "plan"] {
        assert!(answer.field_error(field).is_some(), "{field}");
    }
    let answer = app.post("/requests/8/work", &[("limit", "full")]).await;
    assert_eq!(answer.location(), "/requests/8", "{}", answer.body);
    assert!(
        app.get("/requests/8")
            .await
            .contains("I did not build this part")
    );
    let after = steps.iter().skip_while(|kind| *kind != "release").skip(1);
    for kind in after {
        let answer = app.post("/requests/8/work", &[]).await;
        assert_eq!(answer.location(), "/requests/8", "{kind}: {}", answer.body);
    }
    let page = app.get("/requests/8").await;
    assert!(page.contains("is served"), "{}", page.body);
    assert!(page.contains("as written"));
    assert_eq!(
        done(&app).await,
        Some(i64::try_from(steps.len()).expect("few"))
    );
    assert_eq!(outcomes(&app).await, (1, 0));
}

/// Blasted seven hours ago and masked six, both entered only now: its recipe has it sprayed within four hours,
/// so it is blasted and masked again, and sprayed after that.
#[tokio::test(flavor = "multi_thread")]
async fn what_waited_too_long_is_done_again() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    sort(&mut app, 8, "BR-035").await;
    let site = situation::now(&app.state).await.expect("a site");
    let ago = |hours| {
        let ended = (site.now - TimeDelta::hours(hours)).with_timezone(&site.site.zone);
        ended.format("%Y-%m-%dT%H:%M").to_string()
    };
    let answer = app.post("/requests/8/work", &[("ended", &ago(7))]).await;
    assert_eq!(answer.location(), "/requests/8", "{}", answer.body);
    // What waits too long is not taken for what is done again, unless somebody says so.
    let answer = app.post("/requests/8/work", &[]).await;
    assert_eq!(
        answer.field_error("what"),
        Some("say which of the two was done")
    );
    // Masking was to begin within two hours; an hour ago was too late, and eight ago too early.
    for (begun, told) in [
        (String::new(), ""),
        (ago(1), "it was to begin by"),
        (ago(8), "what comes before it was done"),
    ] {
        let fields = [("what", "in-time"), ("begun", &*begun), ("ended", &*ago(0))];
        let answer = app.post("/requests/8/work", &fields).await;
        let fault = answer.field_error("begun").expect("a fault");
        assert!(fault.contains(told), "{fault}");
    }
    let (begun, ended) = (ago(6), ago(7));
    let fields = [("what", "in-time"), ("begun", &*begun), ("ended", &*ended)];
    let answer = app.post("/requests/8/work", &fields).await;
    assert!(answer.field_error("ended").is_some(), "{}", answer.body);
    let fields = [("what", "in-time"), ("begun", &*begun), ("ended", &*begun)];
    let answer = app.post("/requests/8/work", &fields).await;
    assert_eq!(answer.location(), "/requests/8", "{}", answer.body);
    let page = app.get("/requests/8/work").await;
    assert!(
        page.contains("Blast to clean metal for R8."),
        "{}",
        page.body
    );
    assert!(
        page.contains("spray waited longer than 4 h"),
        "{}",
        page.body
    );
    // A page that was opened before somebody else entered the same is told.
    let stale = [("what", "again"), ("position", "1")];
    for (next, fields) in [
        ("Mask, fix, mount coupon for R8.", &stale[..]),
        ("Spray for R8.", &[("position", "2")][..]),
    ] {
        let answer = app.post("/requests/8/work", fields).await;
        assert_eq!(answer.location(), "/requests/8", "{}", answer.body);
        let page = app.get("/requests/8/work").await;
        assert!(page.contains(next), "{}", page.body);
        assert!(!page.contains("waited longer"));
    }
    // Blasted and masked just now, it may be sprayed in time, or later with both done again: two ways by one
    // recipe, told apart by their names.
    let page = app.get("/requests/8").await;
    for name in [
        "rev 2, going on in time<",
        "rev 2, again from ‘blast to clean metal’ on<",
    ] {
        assert_eq!(page.body.matches(name).count(), 1, "{name}: {}", page.body);
    }
    let answer = app.post("/requests/8/work", &stale[1..]).await;
    assert!(answer.field_error("note").is_some(), "{}", answer.body);
    assert_eq!(done(&app).await, Some(4));
}

/// A part that was let go with an end is an interim part, and asks for its successor at once.
#[tokio::test(flavor = "multi_thread")]
async fn a_release_with_an_end_asks_for_the_successor() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    let mut lead = app.other_browser();
    lead.sign_in(Role::Lead).await;
    sort(&mut lead, 8, "BR-035").await;
    loop {
        let page = app.get("/requests/8/work").await;
        if page.contains("a checker or the lead releases a part") {
            break;
        }
        work_on(&mut app, 8).await;
    }
    let before = number(&app, "select count(*) from request").await;
    let fields = [
        ("limit", "date"),
        ("off_by", "2027-01-31T12:00"),
        ("owner", "Waterworks engineer"),
        (
            "plan",
            "The waterworks crew takes it off when the true one is in",
        ),
    ];
    let answer = lead.post("/requests/8/work", &fields).await;
    assert_eq!(answer.location(), "/requests/8", "{}", answer.body);
    let after = number(&app, "select count(*) from request").await;
    assert_eq!(after, before.map(|n| n + 1));
    let interim = lead.get("/interim").await;
    assert!(interim.contains("Waterworks engineer"), "{}", interim.body);
}

/// Builds by BR-035 that were released, and that were sent back after spraying.
async fn outcomes(app: &App) -> (i64, i64) {
    let site = situation::now(&app.state).await.expect("a site");
    let code = "BR-035".parse().expect("a code");
    let seen = site.outcomes.get(&code).copied().unwrap_or_default();
    (seen.passed, seen.failed)
}

/// A crack is found after cutting: the request goes back to be sorted, what was done counts no more, and
/// stays on record.
#[tokio::test(flavor = "multi_thread")]
async fn sent_back_it_begins_anew() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    sort(&mut app, 8, "BR-035").await;
    for _ in 0..3 {
        app.post("/requests/8/work", &[]).await;
    }
    let reason = [("reason", "a crack from the bore, found with dye")];
    let answer = app.post("/requests/8/decide/send-back", &reason).await;
    assert_eq!(answer.location(), "/requests/8", "{}", answer.body);
    let page = app.get("/requests/8/work").await;
    assert!(page.contains("1 of"), "it begins with the first operation");
    assert_eq!(done(&app).await, Some(3));
    assert_eq!(outcomes(&app).await, (0, 1), "sprayed, and sent back");
}

/// R7 holds pressure: the lead refuses it with a reason; it is no longer asked for, and can be taken up
/// again. What stands refused cannot be sorted.
#[tokio::test]
async fn a_refused_request_may_be_taken_up_again() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let empty = app.post("/requests/7/decide/refuse", &[]).await;
    assert!(empty.field_error("reason").is_some());
    let reason = [("reason", "holds 9 bar; the pressure inspector decides")];
    app.post("/requests/7/decide/refuse", &reason).await;
    let page = app.get("/requests/7").await;
    assert!(page.contains("is refused"), "{}", page.body);
    assert!(page.contains("the pressure inspector decides"));
    assert!(!app.get("/requests").await.contains("/requests/7\""));
    assert_eq!(app.get("/requests/7/sort").await.status, 409);
    let again = [("reason", "the inspector sends a written plan")];
    app.post("/requests/7/decide/reopen", &again).await;
    assert!(app.get("/requests").await.contains("/requests/7\""));
}

/// The crew enters work; it does not sort, refuse or release.
#[tokio::test]
async fn sorting_is_the_checkers_and_the_leads() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    assert_eq!(app.get("/requests/8/sort").await.status, 403);
    assert_eq!(app.post("/requests/8/decide/refuse", &[]).await.status, 403);
    assert_eq!(app.get("/requests/8/work").await.status, 200);
    app.sign_in(Role::Storekeeper).await;
    assert_eq!(app.get("/requests/8/work").await.status, 403);
}

/// Two sort R8 at once: the second is told, and the first one's ways stand.
#[tokio::test]
async fn what_was_sorted_meanwhile_is_not_written_over() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let opened = seen(&app.get("/requests/8/sort").await);
    sort(&mut app, 8, "BR-035").await;
    let late = [
        ("seen", opened.as_str()),
        ("true_part", "yes"),
        ("delivery", "BOAT-7"),
        ("fit_hours", "4"),
        ("fit_crew", "2"),
        ("true_why", "ordered"),
    ];
    assert_eq!(app.post("/requests/8/sort", &late).await.status, 409);
    let ways = "select count(*) from request_way w join request r on r.id = w.request_id
                where r.number = 8 and kind = 'recipe'";
    assert_eq!(number(&app, ways).await, Some(1));
}

/// Sorted as a stand-in and nothing else, the part does not go out to stay; the date that was sorted
/// stands in the form. While it is out the request is not begun anew.
#[tokio::test(flavor = "multi_thread")]
async fn a_stand_in_goes_out_with_an_end() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    let mut lead = app.other_browser();
    lead.sign_in(Role::Lead).await;
    let seen = seen(&lead.get("/requests/8/sort").await);
    let fields = [
        ("seen", seen.as_str()),
        ("stand_in", "yes"),
        ("stand_in_recipe", "BR-035"),
        ("off_by", "2027-01-31T12:00"),
        ("swap_hours", "6"),
        ("second_build", "900"),
        ("stand_in_why", "half load until the true one is in"),
    ];
    let answer = lead.post("/requests/8/sort", &fields).await;
    assert_eq!(answer.location(), "/requests/8", "{}", answer.body);
    while !app
        .get("/requests/8/work")
        .await
        .contains("a checker or the lead releases a part")
    {
        work_on(&mut app, 8).await;
    }
    let page = lead.get("/requests/8/work").await;
    assert!(page.contains("2027-01-31T12:00"), "{}", page.body);
    let stays = lead.post("/requests/8/work", &[("limit", "full")]).await;
    assert!(
        stays
            .field_error("limit")
            .is_some_and(|fault| fault.contains("sorted as a stand-in"))
    );
    let ends = [
        ("limit", "date"),
        ("off_by", "2027-01-31T12:00"),
        ("owner", "Waterworks engineer"),
        ("plan", "taken off when the true one is in"),
    ];
    let answer = lead.post("/requests/8/work", &ends).await;
    assert_eq!(answer.location(), "/requests/8", "{}", answer.body);
    let reason = [("reason", "cracked")];
    let back = lead.post("/requests/8/decide/send-back", &reason).await;
    assert!(
        back.field_error("reason")
            .is_some_and(|fault| fault.contains("is still out for it")),
        "{}",
        back.body
    );
}

/// Its tag hangs on another part by now: that is told, and the request stays withdrawn.
#[tokio::test]
async fn a_request_is_not_taken_up_again_with_a_tag_that_hangs_elsewhere() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    assert_eq!(report(&mut app, &[]).await.status, 303);
    let reason = [("reason", "nobody asks for it")];
    app.post("/requests/38/decide/withdraw", &reason).await;
    let other = [("asset", "GS4"), ("tag", "A-0417")];
    assert_eq!(report(&mut app, &other).await.status, 303);
    let answer = app.post("/requests/38/decide/reopen", &reason).await;
    assert_eq!(answer.status, 422);
    assert!(
        answer
            .field_error("reason")
            .is_some_and(|fault| fault.contains("tag A-0417 hangs on R39")),
        "{}",
        answer.body
    );
    assert!(app.get("/requests/38").await.contains("is withdrawn"));
}
