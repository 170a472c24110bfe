//! Assets and capabilities that are no longer in use, and new names: records go by the code, which stays.

use axum::http::StatusCode;
use mendpost_core::lineup::loss_now;
use mendpost_core::people::Role;
use mendpost_server::situation;
use mendpost_tests::{Answer, App, between, number, text};

use crate::sheets::{fault, import, send};

const JOURNAL: &str = "select count(*) from journal";

/// The newest entry about assets or capabilities.
const LAST: &str = "select kind || ' ' || subject_id || ' ' || content from journal
                    where subject_kind in ('asset', 'capability') order by sequence desc limit 1";

fn version(page: &Answer) -> String {
    let version = between(&page.body, "name=\"version\" value=\"", "\"");
    version.expect("a form with a version").to_owned()
}

/// Opens a form of an asset or a capability and sends it with one field more.
async fn sent(app: &mut App, path: &str, field: (&str, &str)) -> Answer {
    let opened = version(&app.get(path).await);
    app.post(path, &[field, ("version", &opened)]).await
}

async fn retire(app: &mut App, path: &str, reason: &str) -> Answer {
    sent(app, &format!("{path}/retire"), ("reason", reason)).await
}

async fn bring_back(app: &mut App, path: &str) -> Answer {
    let opened = version(&app.get(path).await);
    app.post(&format!("{path}/bring-back"), &[("version", &opened)])
        .await
}

fn is_done(answer: &Answer) {
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
}

async fn rate(app: &App) -> i64 {
    let situation = situation::now(&app.state).await.expect("a situation");
    loss_now(&situation).iter().map(|l| l.loss_per_hour).sum()
}

/// What is needed of power without set 1: three sets, of which two must run.
async fn take_set_1_out_of_power(app: &mut App) {
    let to = "/site/needs/POWER/change";
    let opened = version(&app.get(to).await);
    let fields = [
        ("asset", "GS2"),
        ("asset", "GS3"),
        ("asset", "GS4"),
        ("must_run", "2"),
        ("low", ""),
        ("low", ""),
        ("low", ""),
        ("low", ""),
        ("likely", "0"),
        ("likely", "6"),
        ("likely", "70"),
        ("likely", "160"),
        ("high", ""),
        ("high", ""),
        ("high", ""),
        ("high", ""),
        ("said_by", "Harbour master"),
        ("said_at", "2026-11-25T15:00"),
        ("version", opened.as_str()),
    ];
    is_done(&app.post(to, &fields).await);
}

/// A capability is called otherwise from now on. Of two who had its form open the second is told, and the
/// form of its figures, opened before, is older than what stands too.
#[tokio::test]
async fn a_capability_is_named_anew_and_keeps_its_code() {
    let mut app = App::signed_in(Role::Lead).await;
    let to = "/site/needs/WATER/name";
    let opened = version(&app.get(to).await);
    assert!(
        app.get("/site/needs/WATER")
            .await
            .contains(&format!("href=\"{to}\""))
    );
    let blank = app.post(to, &[("name", ""), ("version", &opened)]).await;
    assert_eq!(blank.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(blank.field_error("name").is_some());
    let same = app
        .post(to, &[("name", "fresh water"), ("version", &opened)])
        .await;
    assert_eq!(same.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(same.contains("Nothing is changed"), "{}", same.body);
    is_done(
        &app.post(to, &[("name", "drinking supply"), ("version", &opened)])
            .await,
    );
    let entry = text(&app, LAST).await.expect("an entry");
    assert_eq!(
        entry,
        "capability.named WATER {\"before\":\"fresh water\",\"name\":\"drinking supply\",\"version\":2}"
    );
    assert!(
        app.get("/site/needs")
            .await
            .contains("<b>Drinking supply</b>")
    );

    let late = app
        .post(to, &[("name", "water"), ("version", &opened)])
        .await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(
        late.contains("Cell lead changed this capability") && late.contains("drinking supply"),
        "{}",
        late.body
    );
    let figures = [
        ("asset", "WP1"),
        ("must_run", "1"),
        ("likely", "0"),
        ("likely", "9"),
    ];
    let figures = figures.into_iter().chain([
        ("low", ""),
        ("low", ""),
        ("high", ""),
        ("high", ""),
        ("said_by", "Waterworks engineer"),
        ("said_at", "2026-11-25T15:00"),
        ("version", opened.as_str()),
    ]);
    let figures: Vec<(&str, &str)> = figures.collect();
    let late = app.post("/site/needs/WATER/change", &figures).await;
    assert_eq!(late.status, StatusCode::CONFLICT, "{}", late.body);
    // What is said next is the version after the name's, and what was said before still stands there.
    is_done(&sent_figures(&mut app, &figures).await);
    let versions =
        "select group_concat(n.version) from need n join capability c on c.id = n.capability_id
                    where c.code = 'WATER'";
    assert_eq!(text(&app, versions).await.as_deref(), Some("1,3"));
}

async fn sent_figures(app: &mut App, figures: &[(&str, &str)]) -> Answer {
    let to = "/site/needs/WATER/change";
    let opened = version(&app.get(to).await);
    let mut figures = figures.to_vec();
    figures.retain(|(name, _)| *name != "version");
    figures.push(("version", &opened));
    app.post(to, &figures).await
}

/// Feed pump 1 has two open requests and counts for water: it stays, and the page says why before anybody
/// has typed a reason.
#[tokio::test]
async fn what_is_still_counted_on_is_not_retired() {
    let mut app = App::signed_in(Role::Lead).await;
    let told = "Feed pump 1 cannot be retired yet. Open for it: R8, R9; close or withdraw that first. \
                It counts for fresh water; say there what is needed without it, or retire that first. \
                Held for it: keep-back 1; give that up first.";
    let page = app.get("/site/assets/WP1/retire").await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(page.contains(told), "{}", page.body);
    let entries = number(&app, JOURNAL).await;
    let refused = retire(&mut app, "/site/assets/WP1", "scrapped").await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        refused.contains(told) && refused.contains(">scrapped</textarea>"),
        "what was typed is kept: {}",
        refused.body
    );
    // The winch serves the crossing and nothing else; the craft also lands stores.
    let refused = retire(&mut app, "/site/needs/FERRY", "bridge built").await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        refused.contains("Open, and of no use to anything else: R29 for RW1; close or withdraw"),
        "{}",
        refused.body
    );
    assert_eq!(number(&app, JOURNAL).await, entries);
}

/// An interim part is in the bowser: it is taken off before the bowser goes.
#[tokio::test]
async fn an_asset_with_an_interim_part_in_it_stays() {
    let mut app = App::signed_in(Role::Lead).await;
    let entered = crate::interim::enter(&mut app, &[("asset", "WB1")]).await;
    is_done(&entered);
    let page = app.get("/site/assets/WB1/retire").await;
    assert!(
        page.contains("In it now: I2; enter that it is off first."),
        "{}",
        page.body
    );
}

/// Its machine was given away with the part off it: the part still comes back, and is judged.
#[tokio::test]
async fn an_interim_part_comes_back_from_a_retired_machine() {
    let mut app = App::signed_in(Role::Lead).await;
    let fan = [("code", "VF1"), ("name", "ventilation fan")];
    is_done(&app.post("/site/add-asset", &fan).await);
    is_done(&crate::interim::enter(&mut app, &[("asset", "VF1")]).await);
    let off = [("at", ""), ("meter", ""), ("machine", "stands")];
    is_done(&app.post("/interim/2/off", &off).await);
    let withdrawn = [("reason", "the fan goes")];
    is_done(&app.post("/requests/38/decide/withdraw", &withdrawn).await);
    is_done(&retire(&mut app, "/site/assets/VF1", "given away").await);
    let back = [("fate", "kept"), ("wear", "none to be seen"), ("at", "")];
    is_done(&app.post("/interim/2/return", &back).await);
    assert!(app.get("/interim/2").await.contains("none to be seen"));
}

/// Set 1 goes once power is said without it. It is offered nowhere any more and cannot be reported, what
/// stands on record of it stays, and it comes back.
#[tokio::test(flavor = "multi_thread")]
async fn an_asset_is_retired_and_brought_back() {
    let mut app = App::signed_in(Role::Lead).await;
    take_set_1_out_of_power(&mut app).await;
    let path = "/site/assets/GS1";
    assert!(
        app.get(path)
            .await
            .contains("href=\"/site/assets/GS1/retire\"")
    );
    let blank = retire(&mut app, path, "").await;
    assert_eq!(blank.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(blank.field_error("reason").is_some());
    is_done(&retire(&mut app, path, "burnt out").await);
    let entry = text(&app, LAST).await.expect("an entry");
    assert_eq!(
        entry,
        "asset.retired GS1 {\"before\":null,\"reason\":\"burnt out\",\"version\":2}"
    );

    let page = app.get(path).await;
    assert!(
        page.contains("Generating set 1 is retired."),
        "{}",
        page.body
    );
    assert!(
        page.contains("burnt out") && page.contains("<td>listed"),
        "its record stays"
    );
    let list = app.get("/site/needs").await;
    let row = list.body.find("href=\"/site/assets/GS1\"").expect("a row");
    let retired = list
        .body
        .find("<summary>Retired</summary>")
        .expect("a list of retired ones");
    assert!(retired < row, "only among the retired");
    for offers in [
        "/requests/new",
        "/interim/new",
        "/site/add-need",
        "/catalogue/new",
    ] {
        let page = app.get(offers).await;
        assert!(page.contains("\"GS2\""), "{offers}: {}", page.body);
        assert!(!page.contains("\"GS1\""), "{offers} offers it");
    }
    for (to, fields) in [
        (
            "/site/assets/GS1/report/down",
            &[("at", ""), ("version", "2")],
        ),
        (
            "/site/assets/GS1/name",
            &[("name", "set 1"), ("version", "2")],
        ),
        (
            "/site/assets/GS1/retire",
            &[("reason", "again"), ("version", "2")],
        ),
    ] {
        let refused = app.post(to, fields).await;
        assert_eq!(refused.status, StatusCode::CONFLICT, "{to}");
        assert!(
            refused.contains("bring it back on its page first"),
            "{to}: {}",
            refused.body
        );
    }
    let again = [("code", "GS1"), ("name", "set")];
    let taken = app.post("/site/add-asset", &again).await;
    let told = taken.field_error("code").expect("told");
    assert!(told.contains("which is retired; bring that back"), "{told}");

    is_done(&bring_back(&mut app, path).await);
    assert!(app.get(path).await.contains("brought back into use"));
    assert!(app.get("/requests/new").await.contains("\"GS1\""));
    assert_eq!(
        number(&app, "select version from asset where code = 'GS1'").await,
        Some(3)
    );
}

/// The hub fits sets 1 to 4. Changed while set 1 is retired, it still fits set 1 when that comes back.
#[tokio::test]
async fn a_part_still_fits_what_is_retired() {
    let mut app = App::signed_in(Role::Lead).await;
    take_set_1_out_of_power(&mut app).await;
    is_done(&retire(&mut app, "/site/assets/GS1", "sent home").await);
    let to = "/catalogue/GS-FANHUB/change";
    let opened = version(&app.get(to).await);
    let fields = [
        ("name", "fan hub"),
        ("asset", "GS2"),
        ("asset", "GS3"),
        ("x", "380"),
        ("y", "380"),
        ("z", "150"),
        ("mass", "8.6"),
        ("allowance", "1.5"),
        ("flag", "carries-load"),
        ("version", &opened),
    ];
    is_done(&app.post(to, &fields).await);
    let fits = "select group_concat(code, ' ') from (select a.code from part_asset f
                join asset a on a.id = f.asset_id join part p on p.id = f.part_id
                where p.code = 'GS-FANHUB' order by a.code)";
    assert_eq!(text(&app, fits).await.as_deref(), Some("GS1 GS2 GS3"));
}

/// The sheet of parts is for another site too, which has no set 1: taken out while it is retired, it does not
/// name it. Brought in here, with a name changed, the part fits set 1 as before.
#[tokio::test]
async fn a_sheet_of_parts_names_no_retired_asset() {
    let mut app = App::signed_in(Role::Lead).await;
    take_set_1_out_of_power(&mut app).await;
    is_done(&retire(&mut app, "/site/assets/GS1", "sent home").await);
    let sheet = app.get("/site/sheets/parts/parts.csv").await.body;
    assert!(
        sheet.contains("GS2 GS3 GS4") && !sheet.contains("GS1"),
        "{sheet}"
    );
    let same = send(&mut app, "parts", &[("parts", sheet.as_bytes())]).await;
    assert!(
        same.contains("Change nothing: all of it stands already."),
        "{}",
        same.body
    );
    let renamed = sheet.replace("alternator fan hub", "fan hub");
    let preview = send(&mut app, "parts", &[("parts", renamed.as_bytes())]).await;
    is_done(&import(&mut app, "parts", &preview).await);
    let fits = "select p.name || ': ' || group_concat(a.code, ' ' order by a.code) from part p
                join part_asset f on f.part_id = p.id join asset a on a.id = f.asset_id
                where p.code = 'GS-FANHUB'";
    assert_eq!(
        text(&app, fits).await.as_deref(),
        Some("fan hub: GS1 GS2 GS3 GS4")
    );
}

/// Landing stores lost 14 points an hour while the craft is down. Needed no more it loses nothing, and the
/// line-up does without it; the craft's request stays, for the crossing.
#[tokio::test(flavor = "multi_thread")]
async fn a_retired_capability_loses_nothing() {
    let mut app = App::signed_in(Role::Lead).await;
    let before = rate(&app).await;
    let path = "/site/needs/LANDING";
    is_done(&retire(&mut app, path, "the quay takes them").await);
    assert_eq!(rate(&app).await, before - 14);
    app.plan().await;
    let problem = "select problem from lineup order by number desc limit 1";
    let problem = text(&app, problem).await.expect("a problem");
    assert!(problem.contains("\"FERRY\"") && !problem.contains("\"LANDING\""));
    let page = app.get(path).await;
    assert!(
        page.contains("Landing stores on the beach is retired."),
        "{}",
        page.body
    );
    assert!(
        page.contains("<td>0, 14"),
        "what was said of it stays: {}",
        page.body
    );
    assert!(!app.get("/site/assets/LC1").await.contains("landing stores"));
    for to in ["/site/needs/LANDING/change", "/site/needs/LANDING/name"] {
        assert_eq!(app.get(to).await.status, StatusCode::CONFLICT, "{to}");
    }
    // Somebody opened its page before it was brought back, and taps the button after.
    let mut other = app.other_browser();
    other.sign_in(Role::Lead).await;
    let opened = version(&other.get(path).await);
    is_done(&bring_back(&mut app, path).await);
    assert_eq!(rate(&app).await, before);
    let to = format!("{path}/bring-back");
    let late = other.post(&to, &[("version", &opened)]).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
}

/// Another named it while the form to retire it was open: nothing is written, and who did is told.
#[tokio::test]
async fn a_late_form_retires_nothing() {
    let mut app = App::signed_in(Role::Lead).await;
    let to = "/site/needs/LANDING/retire";
    let opened = version(&app.get(to).await);
    is_done(&sent(&mut app, "/site/needs/LANDING/name", ("name", "beach")).await);
    let fields = [("reason", "no longer needed"), ("version", opened.as_str())];
    let late = app.post(to, &fields).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(
        late.contains("Cell lead changed this capability"),
        "{}",
        late.body
    );
    assert!(late.contains(">no longer needed</textarea>"));
    let reason = "select retired_reason from capability where code = 'LANDING'";
    assert_eq!(text(&app, reason).await, None);
    // Looked at again, the same form goes through.
    let fields = [("reason", "no longer needed"), ("version", &version(&late))];
    is_done(&app.post(to, &fields).await);
}

/// Stores are landed by a second craft too, then neither is needed. The craft goes last, so it comes back
/// first.
#[tokio::test]
async fn what_gave_it_is_brought_back_first() {
    let mut app = App::signed_in(Role::Lead).await;
    let asset = "code,name,down_from,back\nLC2,landing craft 2,,\n";
    let preview = send(&mut app, "assets", &[("assets", asset.as_bytes())]).await;
    is_done(&import(&mut app, "assets", &preview).await);
    let capability = "code,name,assets,must_run,loss_per_hour,said_by,said_at\n\
                      TRIPS,trips to the island,LC2,1,0 3,Harbour master,2026-11-25 10:00\n";
    let preview = send(
        &mut app,
        "capabilities",
        &[("capabilities", capability.as_bytes())],
    )
    .await;
    is_done(&import(&mut app, "capabilities", &preview).await);
    is_done(&retire(&mut app, "/site/needs/TRIPS", "season over").await);
    is_done(&retire(&mut app, "/site/assets/LC2", "laid up").await);
    let refused = bring_back(&mut app, "/site/needs/TRIPS").await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(
        refused.contains("retired too: landing craft 2, LC2; bring that back first"),
        "{}",
        refused.body
    );
    is_done(&bring_back(&mut app, "/site/assets/LC2").await);
    is_done(&bring_back(&mut app, "/site/needs/TRIPS").await);
}

/// A request that was refused is not taken up again for a machine that is gone.
#[tokio::test]
async fn no_request_is_taken_up_again_for_a_retired_machine() {
    let mut app = App::signed_in(Role::Lead).await;
    app.get("/requests/32").await;
    let refusal = [("reason", "bought new")];
    is_done(&app.post("/requests/32/decide/refuse", &refusal).await);
    is_done(&retire(&mut app, "/site/assets/WB1", "scrapped").await);
    let again = [("reason", "asked for again")];
    let refused = app.post("/requests/32/decide/reopen", &again).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    let told = refused.field_error("reason").expect("told");
    assert!(
        told.contains("water bowser is retired (scrapped); bring it back first"),
        "{told}"
    );
    is_done(&bring_back(&mut app, "/site/assets/WB1").await);
    is_done(&app.post("/requests/32/decide/reopen", &again).await);
}

/// Sheets hold what is in use. One that was taken out before names the retired ones still: the row is told
/// with what to do, and so is a capability that counts on one; a part may go on fitting it.
#[tokio::test]
async fn sheets_leave_retired_ones_alone() {
    let mut app = App::signed_in(Role::Lead).await;
    let before = app.get("/site/sheets/assets/assets.csv").await;
    let needs = app.get("/site/sheets/capabilities/capabilities.csv").await;
    let parts = app.get("/site/sheets/parts/parts.csv").await;
    take_set_1_out_of_power(&mut app).await;
    is_done(&retire(&mut app, "/site/assets/GS1", "burnt out").await);
    is_done(&retire(&mut app, "/site/needs/LANDING", "no longer needed").await);

    let out = app.get("/site/sheets/assets/assets.csv").await;
    assert!(before.contains("\nGS1,") && !out.contains("\nGS1,"));
    let out = app.get("/site/sheets/capabilities/capabilities.csv").await;
    assert!(needs.contains("\nLANDING,") && !out.contains("\nLANDING,"));
    let list = app.get("/site/sheets").await;
    assert!(
        list.contains("38") && list.contains("22"),
        "39 and 23 but one: {}",
        list.body
    );

    let told = fault(&mut app, "assets", &[("assets", &before.bytes)]).await;
    let remedy = "is retired (burnt out); bring it back on its page first, or leave it out";
    assert!(told.ends_with(&format!("code | GS1 {remedy}")), "{told}");
    let power = "code,name,assets,must_run,loss_per_hour,said_by,said_at\n\
                 POWER,power,GS1 GS2 GS3 GS4,3,0 6 70 160 300,Harbour master,2026-11-25 15:30\n";
    let told = fault(
        &mut app,
        "capabilities",
        &[("capabilities", power.as_bytes())],
    )
    .await;
    assert_eq!(told, format!("2 | assets | GS1 {remedy}"));
    assert!(parts.contains("GS1 GS2 GS3 GS4"), "{}", parts.body);
    let heavier = parts.body.replace(",8600,", ",8650,");
    let preview = send(&mut app, "parts", &[("parts", heavier.as_bytes())]).await;
    assert!(
        preview.contains("mass_g: 8600 → <b>8650</b>"),
        "{}",
        preview.body
    );
}
