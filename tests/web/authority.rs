//! Who says yes: the table of what each thing that a part does asks for, and a site's own rules.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, between, number, text};

const TABLE: &str = "/site/authority";
const PRESSURE: &str = "/site/authority/holds-pressure";

/// The row of the table that begins with these words.
fn row<'a>(page: &'a Answer, name: &str) -> &'a str {
    let rows = page.body.split("<tr>");
    let rows = rows.map(|row| row.split("</tr>").next().unwrap_or(row));
    let mut rows = rows.filter(|row| row.contains(&format!("<b>{name}</b>")));
    rows.next()
        .unwrap_or_else(|| panic!("{name}: {}", page.body))
}

/// What the inspector's agreement asks for: his written yes before it is built, and to release it.
fn asks(version: &str) -> Vec<(&'static str, String)> {
    [
        ("build", "ask"),
        ("to_build", "pressure-inspector"),
        ("build_written", "yes"),
        ("to_release", "pressure-inspector"),
        ("release_written", "yes"),
        (
            "reason",
            "Agreement with the inspector, letter of 20 Nov 2026",
        ),
        ("version", version),
    ]
    .map(|(name, value)| (name, value.to_owned()))
    .to_vec()
}

async fn send(app: &mut App, path: &str, fields: &[(&'static str, String)]) -> Answer {
    let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
    app.post(path, &fields).await
}

/// Sends it, and once more with the box ticked that names what is less than usual.
async fn send_confirmed(app: &mut App, fields: &[(&'static str, String)]) -> Answer {
    let asked = send(app, PRESSURE, fields).await;
    let box_of = between(&asked.body, "name=\"confirm\" value=\"", "\"");
    let mut fields = fields.to_vec();
    fields.push(("confirm", box_of.expect("a box").replace("&#39;", "'")));
    send(app, PRESSURE, &fields).await
}

async fn rules(app: &App) -> i64 {
    let count = number(app, "select count(*) from flag_rule").await;
    count.expect("a count")
}

/// The gates of R7, the pump lid that holds pressure, in the next order.
async fn gates_of_r7(app: &mut App) -> Vec<String> {
    app.get("/line-up").await;
    app.plan().await;
    let page = app.get("/requests/7").await;
    let gates = page.body.split("class=\"gate-mark").skip(1);
    gates
        .filter_map(|rest| between(rest, "</svg>", "<br>"))
        .map(ToOwned::to_owned)
        .collect()
}

/// Common practice, no source: the ten usual rules, and beside them what Mendpost is not.
#[tokio::test(flavor = "multi_thread")]
async fn the_table_shows_the_usual_rules() {
    let mut app = App::signed_in(Role::Crew).await;
    let page = app.get(TABLE).await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(page.contains("Follow the usual rules: this site has set none of its own."));
    assert!(page.contains("Mendpost records a yes and never gives one."));
    for (name, told) in [
        ("Form only", ["The crew may build it", "A checker or lead"]),
        ("Guard", ["The crew may build it", "who did not build it"]),
        (
            "Touches food or water",
            ["The crew may build it", "The owner’s engineer"],
        ),
        ("Carries load", ["Nobody’s", "in writing"]),
        ("Can injure", ["Not before a yes", "The owner’s engineer"]),
        (
            "Lifts",
            [
                "A trial piece only",
                "The owner’s engineer and the lifting examiner",
            ],
        ),
        (
            "Holds pressure",
            ["Not built here", "The licensed pressure inspector"],
        ),
        (
            "Steers or brakes",
            ["Not built here", "The body licensed for that field"],
        ),
        (
            "Works where the air can explode",
            ["Not built here", "alone may decide, elsewhere"],
        ),
        (
            "Use not known",
            ["Not built here", "Say what the part does"],
        ),
    ] {
        let row = row(&page, name);
        for words in told.iter().chain(&["usual"]) {
            assert!(row.contains(words), "{name}: {words} in {row}");
        }
        assert!(!row.contains("href"), "the crew sets no rule: {row}");
    }
    for from in ["/site", "/requests/7", "/catalogue/WP-LID"] {
        let page = app.get(from).await;
        assert!(page.contains("href=\"/site/authority\""), "{from}");
    }
}

/// The inspector has agreed to give written plans. R7 was 'not built here'; asked for instead, it waits
/// for his yes, and that on paper opens it: what is left is powder, gas and time, if anything.
#[tokio::test(flavor = "multi_thread")]
async fn an_inspectors_agreement_turns_a_refusal_into_a_question() {
    let mut app = App::signed_in(Role::Lead).await;
    let refused = "authority, not built here: it holds pressure";
    assert!(gates_of_r7(&mut app).await.contains(&refused.to_owned()));

    let saved = send_confirmed(&mut app, &asks("0")).await;
    assert_eq!(saved.status, StatusCode::SEE_OTHER, "{}", saved.body);
    let page = app.get(TABLE).await;
    assert!(
        page.contains("Follow the usual rules but one"),
        "{}",
        page.body
    );
    let own = row(&page, "Holds pressure");
    assert!(
        own.contains("the site’s own") && own.contains("Not before a yes"),
        "{own}"
    );
    assert!(
        own.contains("Cell lead, 25 Nov 2026 15:40: Agreement with the inspector"),
        "{own}"
    );

    let no_yes = "authority, no yes to build".to_owned();
    let gates = gates_of_r7(&mut app).await;
    assert!(
        gates.contains(&no_yes) && !gates.contains(&refused.to_owned()),
        "{gates:?}"
    );

    let answer = [
        ("about", "build"),
        ("who", "pressure-inspector"),
        ("name", "Inspector of the harbour district"),
        ("said", "yes"),
        ("came", "paper"),
        (
            "words",
            "Build as drawn; I see the crack check and the pressure test",
        ),
    ];
    app.get("/requests/7/answer").await;
    let signed = app.post("/requests/7/answer", &answer).await;
    assert_eq!(signed.status, StatusCode::SEE_OTHER, "{}", signed.body);
    let gates = gates_of_r7(&mut app).await;
    assert!(
        gates.iter().all(|gate| !gate.starts_with("authority")),
        "{gates:?}"
    );
}

/// What is signed stands in the journal with before, after and reason.
#[tokio::test(flavor = "multi_thread")]
async fn a_rule_is_signed_and_in_the_journal() {
    let mut app = App::signed_in(Role::Lead).await;
    send_confirmed(&mut app, &asks("0")).await;
    let entry = "select content from journal where kind = 'rule.set'";
    let content = text(&app, entry).await.expect("an entry");
    let content: serde_json::Value = serde_json::from_str(&content).expect("JSON");
    assert_eq!(content["before"]["build"], "refuse");
    assert_eq!(content["after"]["build"], "ask");
    assert_eq!(content["after"]["to_build"][0], "pressure-inspector");
    assert_eq!(content["by"], "Cell lead");
    assert_eq!(content["signatures"][0]["printed_name"], "Cell lead");
    let meaning = "select meaning from signature where subject_id = 'holds-pressure'";
    assert_eq!(text(&app, meaning).await.as_deref(), Some("set-rule"));
    let rows = "select count(*) from flag_rule r join journal j on j.sequence = r.journal_sequence
                where j.kind = 'rule.set' and r.flag = 'holds-pressure'";
    assert_eq!(number(&app, rows).await, Some(1));
}

/// Pressure asked about instead of refused is less: told in both words, and saved only with the box that
/// names it. A box ticked for one rule does not do for a laxer one.
#[tokio::test(flavor = "multi_thread")]
async fn less_than_usual_is_told_and_answered_for() {
    let mut app = App::signed_in(Role::Lead).await;
    let told = send(&mut app, PRESSURE, &asks("0")).await;
    assert_eq!(told.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(
        told.field_error("confirm"),
        Some("this asks for less than usual; tick it if you answer for that")
    );
    let usual = "Usual: Not built here: the licensed pressure inspector alone may decide; released when the \
                 licensed pressure inspector says yes in writing.";
    assert!(told.contains(usual), "{}", told.body);
    let here = "not built before the licensed pressure inspector says yes in writing; released when the \
                licensed pressure inspector says yes in writing";
    assert!(
        told.contains(&format!("I answer for less: {here}.")),
        "{}",
        told.body
    );
    assert!(
        told.contains("letter of 20 Nov 2026"),
        "what was typed is kept"
    );
    assert_eq!(rules(&app).await, 0);

    let mut laxer = asks("0");
    laxer.retain(|(name, _)| *name != "build_written");
    laxer.push(("confirm", here.to_owned()));
    let told = send(&mut app, PRESSURE, &laxer).await;
    assert_eq!(
        told.status,
        StatusCode::UNPROCESSABLE_ENTITY,
        "{}",
        told.body
    );
    assert_eq!(rules(&app).await, 0);

    // More than usual needs no box: a guard is released on the engineer's word.
    let more = [
        ("build", "crew"),
        ("to_release", "owners-engineer"),
        ("reason", "Wish of the owner"),
        ("version", "0"),
    ];
    app.get("/site/authority/guard").await;
    let saved = app.post("/site/authority/guard", &more).await;
    assert_eq!(saved.status, StatusCode::SEE_OTHER, "{}", saved.body);
}

/// Every field typed wrongly: 422, the message beside it, what was typed kept, nothing stored.
#[tokio::test(flavor = "multi_thread")]
async fn wrong_entries_are_told_beside_their_field() {
    let mut app = App::signed_in(Role::Lead).await;
    app.get(PRESSURE).await;
    let long = "x".repeat(401);
    let cases: [(&str, Option<&str>, &str); 9] = [
        ("build", None, "choose one of the four"),
        (
            "build",
            Some("maybe"),
            "&#39;maybe&#39; is not one of the choices; choose from the list",
        ),
        (
            "to_build",
            None,
            "tick whose yes it takes; everybody ticked must give it",
        ),
        (
            "to_build",
            Some("mayor"),
            "one of these is not in the list; tick from the list",
        ),
        (
            "to_release",
            Some("mayor"),
            "one of these is not in the list; tick from the list",
        ),
        ("reason", None, "enter something here"),
        ("reason", Some("  "), "enter something here"),
        (
            "reason",
            Some(&long),
            "401 characters are too many; use at most 400",
        ),
        (
            "confirm",
            Some("whatever"),
            "this asks for less than usual; tick it if you answer for that",
        ),
    ];
    for (field, typed, fault) in cases {
        let mut fields = asks("0");
        fields.retain(|(name, _)| *name != field);
        fields.extend(typed.map(|typed| (field, typed.to_owned())));
        let page = send(&mut app, PRESSURE, &fields).await;
        assert_eq!(
            page.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{field} {typed:?}"
        );
        assert_eq!(page.field_error(field), Some(fault), "{typed:?}");
        assert!(page.contains(&format!("href=\"#{field}\"")), "a link to it");
        let kept = "value=\"ask\" checked";
        assert!(field == "build" || page.contains(kept), "{}", page.body);
    }
    for (build, fault) in [
        (
            "crew",
            "nobody is asked before it is built; untick, or choose ‘not before a yes’",
        ),
        (
            "trial",
            "nobody is asked before it is built; untick, or choose ‘not before a yes’",
        ),
    ] {
        let mut fields = asks("0");
        fields[0].1 = build.to_owned();
        let page = send(&mut app, PRESSURE, &fields).await;
        assert_eq!(page.field_error("to_build"), Some(fault), "{build}");
    }
    let refuses_for_nobody = [("build", "refuse"), ("reason", "none"), ("version", "0")];
    let page = app.post(PRESSURE, &refuses_for_nobody).await;
    assert_eq!(
        page.field_error("to_build"),
        Some("tick who alone may decide, so that the crew can ask")
    );
    assert_eq!(rules(&app).await, 0);
}

/// Saving what stands already says so.
#[tokio::test(flavor = "multi_thread")]
async fn a_rule_that_changes_nothing_is_not_stored() {
    let mut app = App::signed_in(Role::Lead).await;
    let mut same = asks("0");
    same[0].1 = "refuse".to_owned();
    app.get(PRESSURE).await;
    let page = send(&mut app, PRESSURE, &same).await;
    assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        page.contains("that is what stands already"),
        "{}",
        page.body
    );
    assert_eq!(rules(&app).await, 0);
}

/// What nobody has spoken about is opened by saying what the part does, not by a rule.
#[tokio::test(flavor = "multi_thread")]
async fn the_rule_for_the_unknown_is_not_set() {
    let mut app = App::signed_in(Role::Lead).await;
    let page = app.get(TABLE).await;
    assert!(!page.contains("/site/authority/unknown"));
    assert!(page.contains("href=\"/site/authority/lifts\""));
    let path = "/site/authority/unknown";
    assert_eq!(app.get(path).await.status, StatusCode::CONFLICT);
    app.get(TABLE).await;
    let sent = send(&mut app, path, &asks("0")).await;
    assert_eq!(sent.status, StatusCode::CONFLICT);
    assert!(
        sent.contains("say in the catalogue what the part does"),
        "{}",
        sent.body
    );
    assert_eq!(
        app.get("/site/authority/flies").await.status,
        StatusCode::NOT_FOUND
    );
    assert_eq!(rules(&app).await, 0);
}

/// Rules are the lead's: everybody else reads them.
#[tokio::test(flavor = "multi_thread")]
async fn nobody_but_the_lead_sets_a_rule() {
    for role in [Role::Crew, Role::Checker, Role::Storekeeper, Role::Viewer] {
        let mut app = App::signed_in(role).await;
        assert_eq!(app.get(TABLE).await.status, StatusCode::OK, "{role}");
        assert_eq!(
            app.get(PRESSURE).await.status,
            StatusCode::FORBIDDEN,
            "{role}"
        );
        app.get(TABLE).await;
        let sent = send(&mut app, PRESSURE, &asks("0")).await;
        assert_eq!(sent.status, StatusCode::FORBIDDEN, "{role}");
        assert_eq!(rules(&app).await, 0);
    }
}

/// Two tablets opened the usual rule; one asks for a yes, the other for two. The second writes nothing
/// until it has seen the first.
#[tokio::test(flavor = "multi_thread")]
async fn two_tablets_do_not_overwrite_each_other() {
    let mut first = App::signed_in(Role::Lead).await;
    let mut second = first.other_browser();
    second.sign_in(Role::Lead).await;
    send_confirmed(&mut first, &asks("0")).await;
    let mut two = asks("0");
    two.push(("to_build", "owners-engineer".to_owned()));
    second.get(PRESSURE).await;
    let shown = send_confirmed(&mut second, &two).await;
    assert_eq!(shown.status, StatusCode::CONFLICT, "{}", shown.body);
    let row = "<td>Yes to build</td><td>the licensed pressure inspector</td><td>the owner’s engineer and \
               the licensed pressure inspector</td><td>differs</td>";
    assert!(shown.contains(row), "{}", shown.body);
    assert!(shown.contains("Cell lead saved this"));
    assert_eq!(rules(&first).await, 1);
    let version = between(&shown.body, "name=\"version\" value=\"", "\"");
    let over = {
        let mut over = two.clone();
        over.retain(|(name, _)| *name != "version");
        over.push(("version", version.expect("a version").to_owned()));
        send_confirmed(&mut second, &over).await
    };
    assert_eq!(over.status, StatusCode::SEE_OTHER, "{}", over.body);
    assert_eq!(rules(&first).await, 2);
}
