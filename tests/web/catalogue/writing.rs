//! Recipes as they are written, checked, approved by another and taken out of use.

use axum::http::StatusCode;
use mendpost_core::catalogue::RecipeState;
use mendpost_core::lineup;
use mendpost_core::people::Role;
use mendpost_core::planner::own_plan;
use mendpost_server::change::verify_journal;
use mendpost_tests::{Answer, App, between, number, site, text};

use super::{signed_in, version, with};

const DRAFT: &str = "/recipes/BR-043/1";

/// The stage of a bowl gear: 1 200 g of bronze on compressed air.
const STAGE: &[(&str, &str)] = &[
    ("name", "spray the teeth"),
    ("powder", "CUAL10"),
    ("deposited_g", "1200"),
    ("one_lot", "no"),
    ("gas", "air"),
    ("pressure", "35"),
    ("temperature", "560"),
    ("feed", "45"),
    ("nozzle", "2.0 mm round"),
    ("standoff", "30"),
    ("traverse", "500"),
    ("spacing", "1,5"),
    ("efficiency", "58"),
    ("efficiency_sd", "3.5"),
    ("approval_builds", "4"),
    ("start_stop", "120"),
    ("coupon", "60"),
    ("handling", "40"),
    ("gas_only", "5"),
    ("crew", "1"),
];

const STEP: &[(&str, &str)] = &[
    ("kind", "cut"),
    ("name", "cut to size"),
    ("station", "mill"),
    ("minutes", "90"),
    ("crew", "1"),
];

/// Posts a form of a revision with the version that its page carries now.
async fn post(app: &mut App, page: &str, to: &str, fields: &[(&str, &str)]) -> Answer {
    let version = version(&app.get(page).await);
    let mut fields = fields.to_vec();
    fields.push(("version", &version));
    app.post(to, &fields).await
}

async fn saved(app: &mut App, page: &str, to: &str, fields: &[(&str, &str)]) {
    let answer = post(app, page, to, fields).await;
    assert_eq!(
        answer.status,
        StatusCode::SEE_OTHER,
        "{to}: {}",
        answer.body
    );
}

/// The draft of a recipe for the bowl gear, which has none, by the checker.
async fn started(checker: &mut App) {
    checker.get("/catalogue/BM-BOWLGEAR/recipe").await;
    let fields = [("code", "BR-043"), ("like", "")];
    let answer = checker.post("/catalogue/BM-BOWLGEAR/recipe", &fields).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    assert_eq!(answer.location(), DRAFT);
}

/// The same with all its operations.
async fn written(checker: &mut App) {
    started(checker).await;
    written_on(checker).await;
}

/// The state of a revision as it is stored.
async fn state(app: &App, revision: i64) -> Option<RecipeState> {
    let state: Option<String> =
        sqlx::query_scalar("select state from recipe where code = 'BR-043' and revision = ?")
            .bind(revision)
            .fetch_optional(&app.state.db.read)
            .await
            .expect("readable");
    state.map(|word| word.parse().expect("a state"))
}

async fn approve(app: &mut App, page: &str) -> Answer {
    let to = format!("{page}/approve");
    let fields = [
        ("expected", "wears like cast bronze; not tried to failure"),
        ("basis", "four coupons, cut and measured"),
    ];
    post(app, page, &to, &fields).await
}

/// From nothing to the line-up: written by the checker operation by operation, refused to the checker
/// for approval, signed by the lead, and the bowl gear that nobody could make gets its place. A figure
/// more is revision 2, whose difference is that figure; approved, it takes the place of revision 1.
#[tokio::test(flavor = "multi_thread")]
async fn a_recipe_from_nothing_to_a_place_in_the_line_up() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    let mut lead = signed_in(&app, Role::Lead).await;
    started(&mut checker).await;
    let empty = checker.get(DRAFT).await;
    assert!(empty.contains("Add the first operation of BR-043 revision 1."));
    assert!(empty.contains("Still open") && empty.contains("minutes, they are part of the time"));
    let early = post(&mut checker, DRAFT, &format!("{DRAFT}/propose"), &[]).await;
    assert_eq!(early.status, StatusCode::CONFLICT);

    written_on(&mut checker).await;
    let draft = checker.get(DRAFT).await;
    assert!(
        draft.contains("Propose BR-043 revision 1"),
        "{}",
        draft.body
    );
    assert!(draft.contains("enough in 95 % of builds"));
    saved(&mut checker, DRAFT, &format!("{DRAFT}/propose"), &[]).await;
    assert_eq!(state(&app, 1).await, Some(RecipeState::Proposed));

    let own = checker.get(DRAFT).await;
    assert!(own.contains("Have BR-043 revision 1 approved by somebody who wrote nothing of it."));
    let refused = approve(&mut checker, DRAFT).await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
    assert_eq!(state(&app, 1).await, Some(RecipeState::Proposed));

    let to_check = lead.get(&format!("{DRAFT}/approve")).await;
    assert!(to_check.contains("It is the first revision"));
    let signed = approve(&mut lead, DRAFT).await;
    assert_eq!(signed.status, StatusCode::SEE_OTHER, "{}", signed.body);
    assert_eq!(state(&app, 1).await, Some(RecipeState::Approved));
    let page = lead.get(DRAFT).await;
    assert!(page.contains("Build by BR-043 revision 1."));
    assert!(page.contains("wears like cast bronze") && page.contains("It may be built by."));
    assert!(page.contains("<dt>Expected</dt>") && page.contains("<dt>Rests on</dt>"));

    assert!(page.contains("R6 has it as a further way: plan again"));
    let told = text(
        &app,
        "select json_extract(content, '$.further_way_of') from journal where kind = 'recipe.approved'",
    );
    assert_eq!(told.await.as_deref(), Some("[\"R6\"]"));
    let problem = lineup::draft(&site(&app).await).problem;
    let r6 = problem.jobs.iter().position(|job| job.id == "R6");
    let numbered = own_plan(&problem, r6.as_slice(), &mut || false).expect("nobody stops it");
    assert_eq!(numbered.jobs.len(), 1, "R6 numbered first has its place");

    revised(&app, &mut checker, &mut lead).await;
    let whole = verify_journal(&app.state.db.read).await.expect("readable");
    assert!(whole.is_ok());
}

/// A way is added only where nobody has said by which ways the request may be served: sorted, it stays
/// as it was sorted; taken up again, it waits to be sorted anew.
#[tokio::test]
async fn an_approved_recipe_is_no_way_of_what_is_sorted() {
    let wait = ("sort", TRUE_PART);
    let refuse = ("decide/refuse", SAID);
    let reopen = ("decide/reopen", SAID);
    for (decisions, ways) in [
        (&[wait][..], 0),
        (&[wait, refuse, reopen], 1),
        (&[refuse, reopen, wait], 0),
    ] {
        let app = App::new().await;
        let mut checker = signed_in(&app, Role::Checker).await;
        let mut lead = signed_in(&app, Role::Lead).await;
        for (act, fields) in decisions {
            let to = format!("/requests/6/{act}");
            let page = lead.get(&to).await;
            let seen = between(&page.body, "name=\"seen\" value=\"", "\"");
            let seen = ("seen", seen.unwrap_or_default());
            let fields = [&[seen][..], fields].concat();
            let answer = lead.post(&to, &fields).await;
            assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
        }
        written(&mut checker).await;
        saved(&mut checker, DRAFT, &format!("{DRAFT}/propose"), &[]).await;
        let signed = approve(&mut lead, DRAFT).await;
        assert_eq!(signed.status, StatusCode::SEE_OTHER, "{}", signed.body);
        let found = "select count(*) from request_way where recipe_code = 'BR-043'";
        assert_eq!(number(&app, found).await, Some(ways), "{decisions:?}");
        let page = lead.get(DRAFT).await;
        assert_eq!(page.contains("as a further way"), ways == 1);
    }
}

const SAID: &[(&str, &str)] = &[("reason", "said by the crew")];

/// The bowl gear comes with the boat.
const TRUE_PART: &[(&str, &str)] = &[
    ("true_part", "yes"),
    ("delivery", "BOAT-7"),
    ("fit_hours", "3"),
    ("fit_crew", "2"),
    ("true_why", "ordered by the baker"),
];

/// Operations of the draft that was started.
async fn written_on(checker: &mut App) {
    let add = |what: &str, after: usize| format!("{DRAFT}/add/{what}/{after}");
    saved(checker, &add("stage", 0), &add("stage", 0), STAGE).await;
    saved(checker, &add("step", 1), &add("step", 1), STEP).await;
    for (after, kind) in [(2, "release"), (3, "carry"), (4, "fit"), (5, "first-run")] {
        let fields = with(STEP, &[("kind", kind), ("name", kind), ("station", "none")]);
        saved(checker, &add("step", after), &add("step", after), &fields).await;
    }
}

/// 20 degrees more are revision 2; nothing else has changed.
async fn revised(app: &App, checker: &mut App, lead: &mut App) {
    let closed = checker.get(&format!("{DRAFT}/operations/1")).await;
    assert_eq!(closed.status, StatusCode::CONFLICT);
    assert!(closed.contains("start a new revision"));

    let second = "/recipes/BR-043/2";
    let answer = post(lead, DRAFT, &format!("{DRAFT}/revise"), &[]).await;
    assert_eq!(answer.location(), second, "{}", answer.body);
    let hotter = with(STAGE, &[("temperature", "580"), ("was", "spray")]);
    let stage = format!("{second}/operations/1");
    saved(lead, &stage, &stage, &hotter).await;
    let page = lead.get(second).await;
    let changed = between(&page.body, "<th>BR-043 revision 1</th>", "</table>");
    let changed = changed.expect("a difference");
    assert!(
        changed.contains("560 °C") && changed.contains("580 °C"),
        "{changed}"
    );
    assert_eq!(changed.matches("<tr>").count(), 1, "{changed}");
    saved(lead, second, &format!("{second}/propose"), &[]).await;
    let refused = approve(lead, second).await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
    let signed = approve(checker, second).await;
    assert_eq!(signed.status, StatusCode::SEE_OTHER, "{}", signed.body);
    assert_eq!(state(app, 1).await, Some(RecipeState::Superseded));
    assert_eq!(state(app, 2).await, Some(RecipeState::Approved));
    let old = lead.get(DRAFT).await;
    assert!(old.contains("a later one took its place"));
    let stands = "select version from recipe where code = 'BR-043' and revision = 1";
    let told =
        "select json_extract(content, '$.version') from journal where kind = 'recipe.superseded'";
    assert_eq!(number(app, told).await, number(app, stands).await);
}

/// The lead moved an operation in the checker's draft: then the lead may not approve it either.
#[tokio::test]
async fn whoever_changed_a_line_of_it_is_an_author() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    let mut lead = signed_in(&app, Role::Lead).await;
    written(&mut checker).await;
    let to = format!("{DRAFT}/operations/3/move");
    saved(&mut lead, DRAFT, &to, &[("way", "up")]).await;
    saved(&mut lead, DRAFT, &to, &[("way", "up")]).await;
    saved(&mut checker, DRAFT, &format!("{DRAFT}/propose"), &[]).await;
    for author in [&mut checker, &mut lead] {
        assert_eq!(approve(author, DRAFT).await.status, StatusCode::FORBIDDEN);
    }
    let back = post(&mut lead, DRAFT, &format!("{DRAFT}/take-back"), &[]).await;
    assert_eq!(back.status, StatusCode::SEE_OTHER);
    assert_eq!(state(&app, 1).await, Some(RecipeState::Draft));
}

/// Writes to the database what no page would.
async fn set(app: &App, sql: &'static str) {
    let set = sqlx::query(sql).execute(&app.state.db.write).await;
    set.expect("written");
}

/// A file says that ÅSA BERG wrote it: that is Åsa Berg, capitals or not, also where SQL knows no capitals.
#[tokio::test]
async fn an_author_is_known_by_name_in_capitals_of_any_script() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    set(
        &app,
        "update person set name = 'Åsa Berg' where role = 'checker'",
    )
    .await;
    set(
        &app,
        "update recipe set written_by = 'ÅSA BERG' where code = 'BR-039'",
    )
    .await;
    let page = checker.get("/recipes/BR-039/1").await;
    let refused = "Have BR-039 revision 1 approved by somebody who wrote nothing of it.";
    assert!(page.contains(refused), "{}", page.body);
}

/// The machinist started it and is called Anna since; the lead, who wrote nothing of it, took the name over
/// and approves it. Who wrote it is on record, so the name decides nothing.
#[tokio::test]
async fn a_name_taken_over_makes_no_author() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    let mut lead = signed_in(&app, Role::Lead).await;
    written(&mut checker).await;
    saved(&mut checker, DRAFT, &format!("{DRAFT}/propose"), &[]).await;
    set(
        &app,
        "insert into former_name select id, name from person where role = 'checker'",
    )
    .await;
    set(
        &app,
        "update person set name = 'Anna' where role = 'checker'",
    )
    .await;
    set(
        &app,
        "update person set name = 'Machinist' where role = 'lead'",
    )
    .await;
    assert_eq!(
        approve(&mut checker, DRAFT).await.status,
        StatusCode::FORBIDDEN
    );
    let signed = approve(&mut lead, DRAFT).await;
    assert_eq!(signed.status, StatusCode::SEE_OTHER, "{}", signed.body);
}

/// Crew and storekeeper read recipes and write none.
#[tokio::test]
async fn only_lead_and_checker_write() {
    let app = App::new().await;
    for role in [Role::Crew, Role::Storekeeper, Role::Viewer] {
        let mut other = signed_in(&app, role).await;
        let page = other.get("/recipes/BR-039/1").await;
        assert_eq!(page.status, StatusCode::OK);
        assert!(!page.contains("/approve\"") && !page.contains("/withdraw\""));
        let form = other.get("/catalogue/BM-BOWLGEAR/recipe").await;
        assert_eq!(form.status, StatusCode::FORBIDDEN, "{role}");
    }
}

/// Every field of a stage says beside it what is wrong; what was typed stays, and nothing is stored.
#[tokio::test]
async fn a_fault_of_each_field_of_a_stage_stands_beside_it() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    started(&mut checker).await;
    let add = format!("{DRAFT}/add/stage/0");
    for (field, wrong) in [
        ("name", ""),
        ("powder", "GOLD"),
        ("deposited_g", "0"),
        ("deposited_g", "many"),
        ("volume_cm3", "160"),
        ("porosity", "2"),
        ("one_lot", "perhaps"),
        ("gas", "steam"),
        ("pressure", "0.5"),
        ("temperature", "1300"),
        ("feed", "0"),
        ("standoff", "0.5"),
        ("traverse", "fast"),
        ("spacing", "90"),
        ("preheat", "10"),
        ("passes", "0"),
        ("efficiency", "101"),
        ("efficiency_sd", "60"),
        ("approval_builds", "0"),
        ("start_stop", "-1"),
        ("coupon", "some"),
        ("handling", "2000"),
        ("gas_only", "41"),
        ("crew", "21"),
        ("after_min", "soon"),
        ("within_min", "0"),
        ("plate", "SPINDLE"),
        ("fixture", "RUN-OFF-60"),
        ("held_through", "1"),
    ] {
        let answer = post(&mut checker, &add, &add, &with(STAGE, &[(field, wrong)])).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        // A volume beside a mass is told at the mass, which is the one too many.
        let told_at = if field == "volume_cm3" {
            "deposited_g"
        } else {
            field
        };
        assert!(
            answer.field_error(told_at).is_some(),
            "{field}: {}",
            answer.body
        );
        assert!(
            answer.contains("value=\"2.0 mm round\""),
            "{field}: typed text is kept"
        );
    }
    assert_eq!(operations(&app).await, Some(0));
}

async fn operations(app: &App) -> Option<i64> {
    number(
        app,
        "select count(*) from recipe_operation o join recipe r on r.id = o.recipe_id
         where r.code = 'BR-043'",
    )
    .await
}

/// What is sent out has days, nobody and no station; what is done here has minutes.
#[tokio::test]
async fn a_step_is_done_here_or_sent_out() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    started(&mut checker).await;
    let add = format!("{DRAFT}/add/step/0");
    for (changed, field) in [
        (("kind", "spray"), "kind"),
        (("kind", "polish"), "kind"),
        (("station", ""), "station"),
        (("station", "oven"), "station"),
        (("minutes", ""), "minutes"),
        (("away_days", "3"), "away_days"),
        (("station", "out"), "crew"),
    ] {
        let answer = post(&mut checker, &add, &add, &with(STEP, &[changed])).await;
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{changed:?}"
        );
        assert!(answer.field_error(field).is_some(), "{changed:?}");
    }
    let out = [
        ("station", "out"),
        ("crew", "0"),
        ("minutes", ""),
        ("away_days", "3"),
    ];
    saved(&mut checker, &add, &add, &with(STEP, &out)).await;
    // Sprayed within two hours, and no sooner than after three: one of the two is wrong.
    let waits = [("after_min", "180"), ("within_min", "120")];
    let answer = post(&mut checker, &add, &add, &with(STEP, &waits)).await;
    assert_eq!(
        answer.field_error("within_min"),
        Some("120 is less than the 180 it waits first; give more"),
        "{}",
        answer.body
    );
    let page = checker.get(DRAFT).await;
    let told = "<td>sent out</td><td class=\"figure\">3 days</td>";
    assert!(page.contains(told), "{}", page.body);
    let part = checker.get("/catalogue/BM-BOWLGEAR").await;
    assert!(part.contains(told), "the part says the same: {}", part.body);
    let recipes = site(&app).await.recipes;
    let recipe = recipes.iter().find(|r| r.code.as_str() == "BR-043");
    let step = &recipe.expect("the draft").operations[0];
    assert_eq!((step.minutes, step.away_days), (3 * 1440, Some(3)));
}

/// A volume with pores becomes a mass by the powder's density: 160 cm³ of bronze with 2 % pores are
/// 160 x 7.6 x 0.98 = 1 191.7 g, rounded up. Both are kept.
#[tokio::test]
async fn what_must_stick_may_be_a_volume() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    started(&mut checker).await;
    let add = format!("{DRAFT}/add/stage/0");
    let volume = [
        ("deposited_g", ""),
        ("volume_cm3", "160"),
        ("porosity", "2"),
    ];
    saved(&mut checker, &add, &add, &with(STAGE, &volume)).await;
    let grams = number(
        &app,
        "select deposited_g from recipe_spray where volume_mm3 = 160000",
    );
    assert_eq!(grams.await, Some(1192));
    let form = checker.get(&format!("{DRAFT}/operations/1")).await;
    assert!(form.contains("name=\"volume_cm3\" inputmode=\"decimal\" value=\"160\""));
}

/// 'Reckon' works the typed figures out and saves nothing, not even an entry in the journal.
#[tokio::test]
async fn figures_are_reckoned_before_they_are_saved() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    started(&mut checker).await;
    let add = format!("{DRAFT}/add/stage/0");
    let journal = number(&app, "select max(sequence) from journal").await;
    let tried = with(STAGE, &[("feed", "20"), ("then", "reckon")]);
    let answer = post(&mut checker, &add, &add, &tried).await;
    assert_eq!(answer.status, StatusCode::OK);
    let takes = between(&answer.body, "<h2>What it takes here</h2>", "</section>");
    let takes = takes.expect("worked out");
    for word in ["Powder", "Gas", "Fuel", "Power", "deposition window today"] {
        assert!(takes.contains(word), "{word}: {takes}");
    }
    assert!(answer.contains("value=\"20\""), "typed text is kept");
    assert_eq!(operations(&app).await, Some(0));
    assert_eq!(
        number(&app, "select max(sequence) from journal").await,
        journal
    );
}

/// Two tablets with the stage open: the later save writes nothing, shows both temperatures, and saves
/// over only when asked to. Where the order was changed meanwhile it does not save over another step.
#[tokio::test]
async fn two_editors_overwrite_nothing_unseen() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    let mut lead = signed_in(&app, Role::Lead).await;
    written(&mut checker).await;
    let stage = format!("{DRAFT}/operations/1");
    let opened = version(&lead.get(&stage).await);
    let typed = |temperature| with(STAGE, &[("temperature", temperature), ("was", "spray")]);
    saved(&mut checker, &stage, &stage, &typed("570")).await;
    let mut late = typed("590");
    late.push(("version", &opened));
    let answer = lead.post(&stage, &late).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(
        answer.contains("570 °C") && answer.contains("590 °C") && answer.contains("Not saved.")
    );
    let stands = "select cast(max(temperature_c) as text) from recipe_spray s
                  join recipe r on r.id = s.recipe_id where r.code = 'BR-043'";
    assert_eq!(text(&app, stands).await.as_deref(), Some("570"));

    saved(
        &mut checker,
        DRAFT,
        &format!("{stage}/move"),
        &[("way", "down")],
    )
    .await;
    let answer = lead.post(&stage, &late).await;
    // A step stands there now; the stage is found again behind it, and shown beside what was typed.
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.contains("Choose which of the two stands as operation 2."));
    let second = format!("action=\"{DRAFT}/operations/2\"");
    assert!(
        answer.contains(&second) && answer.contains("590 °C"),
        "{}",
        answer.body
    );
    assert_eq!(text(&app, stands).await.as_deref(), Some("570"));
    let old = checker
        .post(&format!("{stage}/remove"), &[("version", &opened)])
        .await;
    assert_eq!(old.status, StatusCode::CONFLICT);
    assert_eq!(operations(&app).await, Some(6));
}

/// Two stages of one name: sprayed on steel is bronze first, then nickel. Their order was changed while
/// the first was open; what was typed for the bronze is not saved over the nickel.
#[tokio::test]
async fn stages_of_one_name_are_told_apart() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    let mut lead = signed_in(&app, Role::Lead).await;
    started(&mut checker).await;
    let nickel = with(STAGE, &[("powder", "NI625"), ("temperature", "900")]);
    for (after, stage) in [(0, STAGE), (1, &nickel)] {
        let add = format!("{DRAFT}/add/stage/{after}");
        saved(&mut checker, &add, &add, stage).await;
    }
    let first = format!("{DRAFT}/operations/1");
    let form = lead.get(&first).await;
    let opened = version(&form);
    let to = format!("{first}/move");
    saved(&mut checker, DRAFT, &to, &[("way", "down")]).await;
    let typed = [
        ("temperature", "590"),
        ("was", "spray"),
        ("version", &opened),
    ];
    let late = lead.post(&first, &with(STAGE, &typed)).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.contains("Choose which of the two stands as operation 2."));
    assert!(
        late.contains("560 °C") && !late.contains("900 °C"),
        "{}",
        late.body
    );
}

/// Somebody called the stage something else and gave it another powder while it was open: it is the same
/// operation, shown beside what was typed, and not added once more.
#[tokio::test]
async fn an_operation_called_otherwise_meanwhile_is_the_same() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    let mut lead = signed_in(&app, Role::Lead).await;
    written(&mut checker).await;
    let stage = format!("{DRAFT}/operations/1");
    let opened = version(&lead.get(&stage).await);
    let renamed = [("name", "build the teeth"), ("powder", "NI625")];
    saved(&mut checker, &stage, &stage, &with(STAGE, &renamed)).await;
    let typed = [("feed", "40"), ("was", "spray"), ("version", &opened)];
    let late = lead.post(&stage, &with(STAGE, &typed)).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.contains("Choose which of the two stands as operation 1."));
    for differs in [
        "<td>build the teeth</td><td>spray the teeth</td>",
        "45 g/min",
    ] {
        assert!(late.contains(differs), "{differs}: {}", late.body);
    }
    let now = version(&late);
    let mine = with(STAGE, &with(&typed, &[("version", &now)]));
    assert_eq!(lead.post(&stage, &mine).await.status, StatusCode::SEE_OTHER);
    assert_eq!(operations(&app).await, Some(6));
}

/// The stage holds the spindle until the cut, operation 2, ends. A step comes in before it meanwhile: the
/// cut is operation 3 then, and the spindle is held until that; also where the stage is still to be added.
#[tokio::test]
async fn a_fixture_is_held_until_the_same_operation_whatever_comes_in_before_it() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    let mut lead = signed_in(&app, Role::Lead).await;
    written(&mut checker).await;
    let stage = format!("{DRAFT}/operations/1");
    let another = format!("{DRAFT}/add/stage/0");
    let opened = version(&lead.get(&stage).await);
    let first = format!("{DRAFT}/add/step/0");
    saved(&mut checker, &first, &first, STEP).await;
    let held = [
        ("fixture", "SPINDLE"),
        ("held_through", "2"),
        ("version", &opened),
    ];
    let late = lead
        .post(&stage, &with(STAGE, &with(&held, &[("was", "spray")])))
        .await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.contains("Choose which of the two stands as operation 2."));
    assert!(
        late.contains("<option value=\"3\" selected>"),
        "{}",
        late.body
    );
    // With a fault in it the form is shown twice, and still counts the step in once.
    let faulty = with(&held, &[("was", "spray"), ("feed", "fast")]);
    let faulty = lead.post(&stage, &with(STAGE, &faulty)).await;
    assert!(faulty.contains("<option value=\"3\" selected>"));
    let counted = between(&faulty.body, "name=\"counted\" value=\"", "\"");
    let again = [
        ("held_through", "3"),
        ("was", "spray"),
        ("counted", counted.expect("a version")),
    ];
    let second = format!("{DRAFT}/operations/2");
    let again = lead.post(&second, &with(STAGE, &with(&held, &again))).await;
    assert!(again.contains("Choose which of the two stands as operation 2."));
    assert!(again.contains("<option value=\"3\" selected>"));
    // To be added as the first, held until the stage behind it ends: with the step between them that is
    // operation 3.
    let added = lead.post(&another, &with(STAGE, &held)).await;
    assert_eq!(added.status, StatusCode::CONFLICT);
    assert!(
        added.contains("<option value=\"3\" selected>"),
        "{}",
        added.body
    );
}

/// What was typed on an operation is shown again whatever became of the operation meanwhile: a stage
/// whose draft has become shorter, or was proposed; also with a fault in it, and also where it is only
/// reckoned. Nothing is saved, and what can be saved elsewhere is.
#[tokio::test]
async fn what_was_typed_is_never_lost() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    let mut lead = signed_in(&app, Role::Lead).await;
    started(&mut checker).await;
    for (after, name) in [(0, "rough"), (1, "fine")] {
        let add = format!("{DRAFT}/add/stage/{after}");
        saved(&mut checker, &add, &add, &with(STAGE, &[("name", name)])).await;
    }
    let last = format!("{DRAFT}/operations/2");
    let opened = version(&lead.get(&last).await);
    let typed = with(
        STAGE,
        &[
            ("name", "fine"),
            ("nozzle", "1.4 mm, my own"),
            ("was", "spray"),
            ("version", &opened),
        ],
    );
    let kept = "value=\"1.4 mm, my own\"";

    // Changed meanwhile, and a fault in what was typed: both are told, and only the fault can be put right.
    let hotter = [("name", "fine"), ("temperature", "570"), ("was", "spray")];
    saved(&mut checker, &last, &last, &with(STAGE, &hotter)).await;
    let faulty = lead.post(&last, &with(&typed, &[("feed", "fast")])).await;
    assert_eq!(faulty.status, StatusCode::CONFLICT);
    assert!(faulty.contains(kept) && faulty.contains("Not saved: somebody changed the recipe"));
    assert!(faulty.field_error("feed").is_some());
    assert_eq!(version(&faulty), opened, "what stands was not seen yet");

    // Taken out meanwhile: it is kept, and added again if that is wanted.
    saved(&mut checker, &last, &format!("{last}/remove"), &[]).await;
    let gone = lead.post(&last, &typed).await;
    assert_eq!(gone.status, StatusCode::CONFLICT);
    assert!(gone.contains(kept) && gone.contains("this operation was taken out meanwhile"));
    let add = format!("{DRAFT}/add/stage/1");
    assert!(gone.contains(&format!("action=\"{add}\"")), "{}", gone.body);
    let reckoned = lead.post(&last, &with(&typed, &[("then", "reckon")])).await;
    assert_eq!(reckoned.status, StatusCode::OK);
    assert!(reckoned.contains(kept) && reckoned.contains("deposition window today"));
    assert_eq!(operations(&app).await, Some(1));
    let now = version(&gone);
    let again = lead.post(&add, &with(&typed, &[("version", &now)])).await;
    assert_eq!(again.status, StatusCode::SEE_OTHER, "{}", again.body);

    // To be added behind an operation that is gone: at the end.
    let behind = format!("{DRAFT}/add/stage/2");
    let opened = version(&lead.get(&behind).await);
    saved(&mut checker, &last, &format!("{last}/remove"), &[]).await;
    let late = lead
        .post(&behind, &with(&typed, &[("version", &opened)]))
        .await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.contains(kept) && late.contains("This would be operation 2 of 2 now"));

    // Withdrawn meanwhile: nothing can be saved there, and what was typed can still be read.
    let first = format!("{DRAFT}/operations/1");
    let withdraw = format!("{DRAFT}/withdraw");
    saved(
        &mut checker,
        &withdraw,
        &withdraw,
        &[("reason", "begun by mistake")],
    )
    .await;
    for to in [&first, &behind] {
        let closed = lead.post(to, &typed).await;
        assert_eq!(closed.status, StatusCode::CONFLICT);
        assert!(closed.contains(kept) && closed.contains("start a new revision from it"));
        assert!(!closed.contains(">Save</b>"), "{}", closed.body);
    }
    let about = [("coupons", "two, bent"), ("version", opened.as_str())];
    let closed = lead.post(&format!("{DRAFT}/about"), &about).await;
    assert_eq!(closed.status, StatusCode::CONFLICT);
    assert!(closed.contains(">two, bent</textarea>"));
    assert_eq!(operations(&app).await, Some(1));
}

/// The writer takes the revision back while somebody writes down what the approval rests on: that is kept,
/// and signed once the revision is proposed again.
#[tokio::test]
async fn what_the_approver_wrote_is_kept_when_it_is_taken_back() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    let mut lead = signed_in(&app, Role::Lead).await;
    written(&mut checker).await;
    let propose = format!("{DRAFT}/propose");
    saved(&mut checker, DRAFT, &propose, &[]).await;
    let approve = format!("{DRAFT}/approve");
    let opened = version(&lead.get(&approve).await);
    saved(&mut checker, DRAFT, &format!("{DRAFT}/take-back"), &[]).await;
    let typed = |version| {
        [
            ("expected", "wears like cast bronze"),
            ("basis", "four coupons, cut and measured"),
            ("version", version),
        ]
    };
    let late = lead.post(&approve, &typed(&opened)).await;
    let kept = |answer: &Answer| {
        answer.status == StatusCode::CONFLICT
            && answer.contains("Not signed: ")
            && answer.contains(">four coupons, cut and measured</textarea>")
    };
    assert!(kept(&late), "{}", late.body);
    saved(&mut checker, DRAFT, &propose, &[]).await;
    let late = lead.post(&approve, &typed(&opened)).await;
    assert!(kept(&late), "{}", late.body);
    let seen = version(&late);
    let signed = lead.post(&approve, &typed(&seen)).await;
    assert_eq!(signed.status, StatusCode::SEE_OTHER, "{}", signed.body);
}

/// While somebody else's change is being written, figures are reckoned all the same: it only reads.
#[tokio::test]
async fn reckoning_waits_for_no_change() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    started(&mut checker).await;
    let add = format!("{DRAFT}/add/stage/0");
    saved(&mut checker, &add, &add, STAGE).await;
    let stage = format!("{DRAFT}/operations/1");
    checker.get(&stage).await;
    let writing = app.state.db.write.begin_with("begin immediate").await;
    let writing = writing.expect("a change");
    let tried = with(STAGE, &[("then", "reckon"), ("was", "spray")]);
    let part = "/catalogue/WP-SLEEVE/change";
    let form = [("name", "bearing sleeve"), ("take", "box")];
    for (to, fields) in [(add.as_str(), &tried[..]), (&stage, &tried), (part, &form)] {
        let answer = checker.post(to, fields);
        let answer = tokio::time::timeout(std::time::Duration::from_secs(2), answer).await;
        assert_eq!(answer.expect("no waiting").status, StatusCode::OK, "{to}");
    }
    drop(writing);
}

/// The request of BR-039 waits for its approval; withdrawn with a reason it stays shut, and the reason
/// is shown.
#[tokio::test]
async fn a_revision_is_withdrawn_with_a_reason() {
    let app = App::new().await;
    let mut lead = signed_in(&app, Role::Lead).await;
    let to = "/recipes/BR-039/1/withdraw";
    let blank = post(&mut lead, to, to, &[("reason", " ")]).await;
    assert_eq!(blank.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(blank.field_error("reason").is_some());
    saved(&mut lead, to, to, &[("reason", "coupon cracked")]).await;
    let page = lead.get("/recipes/BR-039/1").await;
    assert!(page.contains("it was withdrawn") && page.contains("Why: coupon cracked."));
    assert!(page.contains("nothing was built by it") && !page.contains("Plan again"));
    let again = lead.get(to).await;
    assert_eq!(again.status, StatusCode::CONFLICT);

    // What was in use is planned with no more.
    let to = "/recipes/AL-013/1/withdraw";
    saved(&mut lead, to, to, &[("reason", "cracks at the root")]).await;
    assert!(lead.get("/recipes/AL-013/1").await.contains("Plan again."));
}

/// A first draft that was withdrawn is nothing to hold the second against, and makes it no first one.
#[tokio::test]
async fn the_second_revision_is_not_called_the_first() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    let mut lead = signed_in(&app, Role::Lead).await;
    written(&mut checker).await;
    let withdraw = format!("{DRAFT}/withdraw");
    saved(
        &mut checker,
        &withdraw,
        &withdraw,
        &[("reason", "begun by mistake")],
    )
    .await;
    saved(&mut checker, DRAFT, &format!("{DRAFT}/revise"), &[]).await;
    let second = "/recipes/BR-043/2";
    saved(&mut checker, second, &format!("{second}/propose"), &[]).await;
    let page = lead.get(second).await;
    assert!(page.contains("Check BR-043 revision 2 and sign: none before it was approved."));
    let page = lead.get(&format!("{second}/approve")).await;
    assert!(page.contains("None before it was approved: there is nothing to hold it against."));
}

/// Metals, flags and words: kept, shown, and a flag that the part has beyond them shuts the recipe.
#[tokio::test]
async fn what_a_recipe_is_valid_for_is_said_and_honoured() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    written(&mut checker).await;
    let to = format!("{DRAFT}/about");
    let wrong = post(
        &mut checker,
        &to,
        &to,
        &[("metal", "GOLD"), ("coupons", "two")],
    )
    .await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.field_error("metal").is_some() && wrong.contains(">two</textarea>"));
    let fields = [
        ("metal", "ST"),
        ("metal", "CI"),
        ("flag", "carries-load"),
        ("coupons", "two, one bent"),
        ("inspection", "tooth by gauge"),
    ];
    saved(&mut checker, &to, &to, &fields).await;
    let page = checker.get(DRAFT).await;
    for said in ["grey cast iron", "two, one bent", "tooth by gauge"] {
        assert!(page.contains(said), "{said}");
    }
    assert!(
        page.contains("is not valid for: touches food or water"),
        "{}",
        page.body
    );
}
