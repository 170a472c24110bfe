//! What those who may say yes have answered, as it is typed in, and what the next order makes of it.
//!
//! R15 is the hospital's fan hub, which can injure: it is not built before the owner's engineer says yes.
//! It is rebuilt by AL-013, which the machinist wrote. The clock stands at Wednesday 25 November, 15:40.

use axum::http::StatusCode;
use chrono::{DateTime, Utc};
use mendpost_core::catalogue::{About, NoYes, Who};
use mendpost_core::lineup::{Gate, IfYes, Place};
use mendpost_core::people::Role;
use mendpost_server::situation;
use mendpost_tests::{Answer, App, between, number, planned, text};

use super::journal_length;
use super::photos::{photo, sent};

const ANSWER: &str = "/requests/15/answer";

async fn checker() -> App {
    let mut app = App::new().await;
    app.sign_in(Role::Checker).await;
    app
}

/// The engineer's yes to building it, by radio.
const YES: [(&str, &str); 6] = [
    ("about", "build"),
    ("who", "owners-engineer"),
    ("name", "Hospital engineer"),
    ("said", "yes"),
    ("came", "radio"),
    ("words", "May be built"),
];

/// Sends the yes with some fields typed otherwise.
async fn send(app: &mut App, otherwise: &[(&'static str, &str)]) -> Answer {
    let mut fields: Vec<(&str, &str)> = YES.to_vec();
    for (name, value) in otherwise {
        fields.retain(|(known, _)| known != name);
        fields.push((name, value));
    }
    app.post(ANSWER, &fields).await
}

async fn record(app: &mut App, otherwise: &[(&'static str, &str)]) {
    let answer = send(app, otherwise).await;
    assert_eq!(answer.location(), "/requests/15", "{}", answer.body);
}

/// R15's place in the next order, or why there is no yes to building it.
async fn next(app: &App) -> Result<Place, NoYes> {
    let situation = situation::now(&app.state).await.expect("a site");
    let line_up = planned(&situation).line_up;
    let mut places = line_up.places.into_iter();
    if let Some(place) = places.find(|place| place.request.as_str() == "R15") {
        return Ok(place);
    }
    let mut waiting = line_up.waiting.iter();
    let waiting = waiting.find(|waiting| waiting.request.as_str() == "R15");
    let shut = &waiting.expect("it waits").ways[0].shut;
    let mut no_yes = shut.iter().filter_map(|shut| match &shut.gate {
        Gate::NoYes { about, who, why } => {
            assert_eq!((*about, *who), (About::Build, Who::OwnersEngineer));
            Some(why.clone())
        }
        _ => None,
    });
    Err(no_yes.next().unwrap_or_else(|| panic!("{shut:?}")))
}

fn at(utc: &str) -> DateTime<Utc> {
    utc.parse().expect("a time")
}

/// Without an answer it waits. The yes holds until Saturday 06:00, 19:00 on Friday in UTC: all spraying
/// is over by then.
#[tokio::test(flavor = "multi_thread")]
async fn a_yes_with_limits_and_an_end() {
    let mut app = checker().await;
    assert_eq!(next(&app).await.err(), Some(NoYes::Missing));
    let limits = "Half load for the first hour; look at it again after a week";
    record(
        &mut app,
        &[("until", "2026-11-28T06:00"), ("limits", limits)],
    )
    .await;
    let page = app.get("/requests/15").await;
    for told in [
        "Yes, until 28 Nov 2026 06:00",
        limits,
        "by radio or telephone",
        "Hospital engineer",
    ] {
        assert!(page.contains(told), "{told}: {}", page.body);
    }
    let place = next(&app).await.expect("a place");
    let ends = place.stages().map(|(_, stage)| stage.end).max();
    assert!(ends <= Some(at("2026-11-27T19:00:00Z")), "{ends:?}");
}

/// To revision 1 of AL-013 alone, which is the one that is built.
#[tokio::test(flavor = "multi_thread")]
async fn a_yes_to_one_revision() {
    let mut app = checker().await;
    record(&mut app, &[("only", "AL-013/1")]).await;
    let page = app.get("/requests/15").await;
    assert!(
        page.contains("Yes, for AL-013 rev 1 alone, without end"),
        "{}",
        page.body
    );
    assert!(next(&app).await.is_ok());
    sqlx::query("update recipe set revision = 2 where code = 'AL-013'")
        .execute(&app.state.db.write)
        .await
        .expect("revised");
    let limited = NoYes::Limited("AL-013".parse().expect("a code"), 1);
    assert_eq!(next(&app).await.err(), Some(limited));
}

/// Taken back, the yes counts no more; said again, it does.
#[tokio::test(flavor = "multi_thread")]
async fn a_no_takes_back_a_yes() {
    let mut app = checker().await;
    record(&mut app, &[]).await;
    app.wait_minutes(1);
    record(
        &mut app,
        &[
            ("said", "no"),
            ("words", "Not before I have seen the crack"),
        ],
    )
    .await;
    assert_eq!(next(&app).await.err(), Some(NoYes::Declined));
    assert!(
        app.get("/requests/15")
            .await
            .contains("Not before I have seen the crack")
    );
    app.wait_minutes(1);
    record(&mut app, &[]).await;
    assert!(next(&app).await.is_ok());
}

/// Expected tomorrow at 12:00, 01:00 in UTC: nothing is sprayed before, and the page says on what the
/// place counts. Answered, it counts on nothing more.
#[tokio::test(flavor = "multi_thread")]
async fn an_awaited_answer_and_then_the_answer() {
    let mut app = checker().await;
    record(
        &mut app,
        &[("said", "awaited"), ("expected", "2026-11-26T12:00")],
    )
    .await;
    let expected = at("2026-11-26T01:00:00Z");
    let place = next(&app).await.expect("a place");
    assert!(place.starts() >= expected);
    let to_build = |place: &Place| {
        let mut to_build = place.if_yes.iter().filter(|yes| yes.about == About::Build);
        to_build.next().cloned()
    };
    let counts_on = IfYes {
        about: About::Build,
        who: Who::OwnersEngineer,
        expected: Some(expected),
        why: None,
    };
    assert_eq!(to_build(&place), Some(counts_on));
    app.plan().await;
    let page = app.get("/requests/15").await;
    let only =
        "<b>Only</b> if the owner’s engineer says yes to building it, expected Thu 26 12:00.";
    assert!(page.contains(only), "{}", page.body);

    app.wait_minutes(1);
    record(&mut app, &[]).await;
    assert_eq!(to_build(&next(&app).await.expect("a place")), None);
}

/// Nobody said when: the line-up does not count on it.
#[tokio::test(flavor = "multi_thread")]
async fn an_awaited_answer_without_a_time() {
    let mut app = checker().await;
    record(
        &mut app,
        &[("said", "awaited"), ("words", "Asked for a yes")],
    )
    .await;
    assert_eq!(next(&app).await.err(), Some(NoYes::Missing));
    assert!(
        app.get("/requests/15")
            .await
            .contains("Not yet; nobody said when")
    );
}

/// A yes of yesterday is typed in after the no of today: the no is the newer word. Who typed it stands
/// beside the answer.
#[tokio::test(flavor = "multi_thread")]
async fn an_answer_typed_in_later() {
    let mut app = checker().await;
    record(&mut app, &[("said", "no")]).await;
    record(
        &mut app,
        &[("given", "2026-11-24T09:00"), ("came", "paper")],
    )
    .await;
    assert_eq!(next(&app).await.err(), Some(NoYes::Declined));
    let given = "select given_ms from answer a join request r on r.id = a.request_id
                 where r.number = 15 and a.said = 'yes'";
    let given_at = at("2026-11-23T22:00:00Z").timestamp_millis();
    assert_eq!(number(&app, given).await, Some(given_at));
    let typed_by = "select typed_by from answer a join request r on r.id = a.request_id
                    where r.number = 15 and a.said = 'yes'";
    assert_eq!(text(&app, typed_by).await.as_deref(), Some("Machinist"));
    let page = app.get("/requests/15").await;
    assert!(
        page.contains("given 24 Nov 2026 09:00, typed in by Machinist"),
        "{}",
        page.body
    );
}

/// Whoever wrote the recipe does not answer for it, in whatever capacity.
#[tokio::test(flavor = "multi_thread")]
async fn a_yes_of_the_author_does_not_count() {
    let mut app = checker().await;
    record(&mut app, &[("name", " machinist")]).await;
    let of_author = NoYes::OfAuthor("machinist".to_owned());
    assert_eq!(next(&app).await.err(), Some(of_author));
}

/// A line of the draft was the welder's: approved or not, the welder answers for it no more than the
/// machinist who started it.
#[tokio::test(flavor = "multi_thread")]
async fn a_yes_of_whoever_wrote_a_line_does_not_count() {
    let mut app = checker().await;
    let wrote_a_line = "insert into recipe_author (recipe_id, person_id)
                        select r.id, p.id from recipe r, person p
                        where r.code = 'AL-013' and p.role = 'crew' limit 1";
    sqlx::query(wrote_a_line)
        .execute(&app.state.db.write)
        .await
        .expect("written");
    let crew = "select p.name from recipe_author a join person p on p.id = a.person_id";
    let crew = text(&app, crew).await.expect("a name");
    record(&mut app, &[("name", &crew)]).await;
    assert_eq!(next(&app).await.err(), Some(NoYes::OfAuthor(crew)));
}

/// The files name the machinist as author. Called something else meanwhile, this is the same person
/// under the new name and the old one, neither says yes, and this person approves no draft of theirs.
#[tokio::test(flavor = "multi_thread")]
async fn an_author_by_another_name_is_still_the_author() {
    let mut app = checker().await;
    let mut lead = app.other_browser();
    lead.sign_in(Role::Lead).await;
    let number = number(&app, "select number from person where name = 'Machinist'").await;
    let page = format!("/site/people/{}", number.expect("the machinist"));
    let form = lead.get(&page).await;
    let version = between(&form.body, "name=\"version\" value=\"", "\"");
    let version = version.expect("a version").to_owned();
    let renamed = [
        ("name", "Ada Kehl"),
        ("role", "checker"),
        ("version", &version),
    ];
    let answer = lead.post(&page, &renamed).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    for name in ["Ada Kehl", "Machinist"] {
        record(&mut app, &[("name", name)]).await;
        let of_author = NoYes::OfAuthor(name.to_owned());
        assert_eq!(next(&app).await.err(), Some(of_author));
        app.wait_minutes(1);
    }
    let own = app.get("/recipes/BR-039/1").await;
    assert!(own.contains("Have BR-039 revision 1 approved by somebody who wrote nothing of it."));
}

/// The lead's yes is none of the engineer's.
#[tokio::test(flavor = "multi_thread")]
async fn a_yes_in_another_capacity_does_not_count() {
    let mut app = checker().await;
    record(&mut app, &[("who", "cell-lead")]).await;
    assert_eq!(next(&app).await.err(), Some(NoYes::Missing));
}

/// Every field typed wrongly: 422, the message beside it, what was typed kept, nothing stored.
#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one wrong answer below the other")]
async fn wrong_answers_are_told_beside_their_field_and_nothing_is_stored() {
    let mut app = checker().await;
    let (entries, answers) = (journal_length(&app).await, "select count(*) from answer");
    let before = number(&app, answers).await;
    let over =
        "that is over already: it is 25 Nov 2026 15:40; give a time to come, or leave it empty";
    let (long, longest) = ("x".repeat(81), "x".repeat(2001));
    let no_time = "&#39;soon&#39; is not a date and time; use year-month-day and hours:minutes, as 2026-11-25 14:40";
    type Case<'a> = (&'static str, &'a str, &'static str, &'a str);
    let cases: [Case<'_>; 17] = [
        (
            "about",
            "sale",
            "yes",
            "&#39;sale&#39; is not one of the choices; choose from the list",
        ),
        (
            "who",
            "mayor",
            "yes",
            "&#39;mayor&#39; is not one of the choices; choose from the list",
        ),
        (
            "came",
            "dream",
            "yes",
            "&#39;dream&#39; is not one of the choices; choose from the list",
        ),
        ("name", " ", "yes", "enter something here"),
        (
            "name",
            &long,
            "yes",
            "81 characters are too many; use at most 80",
        ),
        ("words", " ", "yes", "enter something here"),
        (
            "words",
            &longest,
            "yes",
            "2001 characters are too many; use at most 2000",
        ),
        (
            "limits",
            &longest,
            "yes",
            "2001 characters are too many; use at most 2000",
        ),
        (
            "given",
            "2026-11-25T15:41",
            "yes",
            "that is still to come: it is 25 Nov 2026 15:40; give when it was said",
        ),
        ("given", "soon", "yes", no_time),
        ("until", "2026-11-25T15:40", "yes", over),
        (
            "until",
            "2026-11-30T12:00",
            "no",
            "only where the answer is &#39;yes&#39;; leave it empty",
        ),
        ("expected", "2026-11-25T15:39", "awaited", over),
        (
            "expected",
            "2026-11-26T12:00",
            "yes",
            "only where the answer is &#39;not yet&#39;; leave it empty",
        ),
        (
            "only",
            "AL-013/1",
            "no",
            "only where the answer is &#39;yes&#39;; leave it empty",
        ),
        (
            "only",
            "BR-034/1",
            "yes",
            "that is no recipe of this part; choose from the list",
        ),
        (
            "paper",
            "00ff",
            "yes",
            "that is not with this request; choose from the list",
        ),
    ];
    for (field, typed, said, fault) in cases {
        let page = send(&mut app, &[("said", said), (field, typed)]).await;
        assert_eq!(
            page.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{field} {typed}"
        );
        assert_eq!(page.field_error(field), Some(fault), "{field} {typed}");
        assert!(page.contains(&format!("href=\"#{field}\"")), "a link to it");
        assert!(field == "name" || page.contains("value=\"Hospital engineer\""));
        let listed = ["about", "who", "came", "only", "paper"].contains(&field);
        assert!(listed || page.contains(typed), "{field} keeps {typed}");
    }
    let page = send(&mut app, &[("said", "perhaps")]).await;
    assert_eq!(
        page.field_error("said"),
        Some("say what was answered: yes, no, or nothing yet")
    );
    assert_eq!(journal_length(&app).await, entries);
    assert_eq!(number(&app, answers).await, before);
}

/// The crew hears a yes and does not record it: whoever checks does.
#[tokio::test(flavor = "multi_thread")]
async fn the_crew_records_no_answer() {
    for role in [Role::Crew, Role::Storekeeper, Role::Viewer] {
        let mut app = App::new().await;
        app.sign_in(role).await;
        assert_eq!(
            send(&mut app, &[]).await.status,
            StatusCode::FORBIDDEN,
            "{role}"
        );
        assert!(!app.get("/requests/15").await.contains(ANSWER));
    }
}

/// A yes that came on paper: its paper stands beside it on the request's page, in words and as a link to the
/// file, also after it was taken off the request. An answer without a paper shows none.
#[tokio::test(flavor = "multi_thread")]
async fn the_paper_of_an_answer_is_shown_beside_it() {
    let mut app = checker().await;
    let (letter, seal) = (photo([20, 90, 20]), photo([90, 20, 20]));
    for (name, caption, bytes) in [
        ("letter.jpg", "signed letter", &letter),
        ("seal.jpg", "", &seal),
    ] {
        let added = app
            .post_files(
                "/requests/15/photos",
                &[("caption", caption)],
                &[sent(name, bytes)],
            )
            .await;
        assert_eq!(added.status, StatusCode::SEE_OTHER, "{}", added.body);
    }
    let hash = "select lower(hex(hash)) from attached where file_name = 'letter.jpg'";
    let hash = text(&app, hash).await.expect("a letter");
    let link =
        |words: &str| format!("paper: <a href=\"/attachments/{hash}\">letter.jpg, {words}</a>");
    record(&mut app, &[]).await;
    assert!(!app.get("/requests/15").await.contains("paper: <a"));

    app.wait_minutes(1);
    record(&mut app, &[("came", "paper"), ("paper", &hash)]).await;
    let page = app.get("/requests/15").await;
    assert_eq!(page.body.matches("paper: <a").count(), 1);
    assert!(page.contains(&link("signed letter")), "{}", page.body);
    let served = app.get(&format!("/attachments/{hash}")).await;
    assert_eq!(served.status, StatusCode::OK);

    let id = "select lower(hex(id)) from attached where file_name = 'letter.jpg'";
    let id = text(&app, id).await.expect("an id");
    let off = [("reason", "hung on the wrong request")];
    let off = app.post(&format!("/attached/{id}/take-off"), &off).await;
    assert_eq!(off.status, StatusCode::SEE_OTHER, "{}", off.body);
    let page = app.get("/requests/15").await;
    assert!(
        page.contains(&link("signed letter, taken off since")),
        "{}",
        page.body
    );

    // The answers stay to be read once the request is closed.
    let withdrawn = [("reason", "the hospital hires a fan")];
    let withdrawn = app.post("/requests/15/decide/withdraw", &withdrawn).await;
    assert_eq!(
        withdrawn.status,
        StatusCode::SEE_OTHER,
        "{}",
        withdrawn.body
    );
    let page = app.get("/requests/15").await;
    assert!(page.contains("is withdrawn."), "{}", page.body);
    assert_eq!(page.body.matches("<b>Hospital engineer</b>").count(), 2);
    assert!(page.contains(&link("signed letter, taken off since")));
}
