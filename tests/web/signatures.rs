//! What named people sign: asked again, on record in their words, and by two where it takes two.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::change::{Actor, Change};
use mendpost_server::config::Config;
use mendpost_server::people;
use mendpost_server::people::passphrase::NewPassphrase;
use mendpost_server::routes::Routes;
use mendpost_tests::{Answer, App, between};

const PASSPHRASE: &str = "copper over steel";
const OTHER: &str = "bronze over iron";

/// The demonstration's machines and lots as a real site: people have passphrases and must use them.
async fn real() -> App {
    let app = App::with(Config::default(), Routes::default()).await;
    for (name, role, passphrase) in [
        ("Ada", Role::Storekeeper, PASSPHRASE),
        ("Bo", Role::Checker, OTHER),
        ("Cy", Role::Crew, OTHER),
        ("Di", Role::Lead, OTHER),
    ] {
        let new = NewPassphrase::new(passphrase, &[]).expect("hard to guess");
        let hash = app.state.passphrases.hash(new).await.expect("a hash");
        let mut change = Change::begin(&app.state, Actor::Mendpost)
            .await
            .expect("the writer is free");
        people::add(&mut change, name, role, Some(&hash))
            .await
            .expect("a new name");
        change.commit().await.expect("journalled");
    }
    app
}

async fn signed_in(app: &App, name: &str, passphrase: &str) -> App {
    let mut browser = app.other_browser();
    browser.get("/sign-in").await;
    let fields = [
        ("name", name),
        ("passphrase", passphrase),
        ("next", "/site"),
    ];
    let answer = browser.post("/sign-in", &fields).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{name}");
    browser.get("/site").await;
    browser
}

async fn text(app: &App, query: &'static str) -> String {
    let found: Option<String> = sqlx::query_scalar(query)
        .fetch_optional(&app.state.db.read)
        .await
        .expect(query);
    found.unwrap_or_default()
}

async fn lot_state(app: &App, lot: &str) -> String {
    sqlx::query_scalar("select state from lot where code = ?")
        .bind(lot)
        .fetch_one(&app.state.db.read)
        .await
        .expect("a lot")
}

const LAST: &str = "select kind || ' ' || content from journal order by sequence desc limit 1";

async fn release(app: &mut App, lot: &str, passphrase: &str) -> Answer {
    let page = app.get(&format!("/powder/{lot}/release")).await;
    let seen = between(&page.body, "name=\"certificate\" value=\"", "\"");
    let seen = seen.unwrap_or_default().to_owned();
    let fields = [
        ("certificate", seen.as_str()),
        ("reason", "certificate CB-4433, seals whole"),
        ("sign_passphrase", passphrase),
    ];
    app.post(&format!("/powder/{lot}/release"), &fields).await
}

/// L0411 waits in quarantine. The storekeeper is asked again who she is; only then it is released, and
/// what she said stands with her printed name on its page and in the journal.
#[tokio::test]
async fn a_release_asks_again_and_stands_on_record() {
    let app = real().await;
    let mut ada = signed_in(&app, "Ada", PASSPHRASE).await;
    for (typed, fault) in [
        ("", "enter your passphrase, or your PIN of this device"),
        (
            OTHER,
            "name and passphrase do not belong together; try again",
        ),
        (
            "4711",
            "no PIN of yours is set on this device; enter your passphrase",
        ),
    ] {
        let answer = release(&mut ada, "L0411", typed).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert_eq!(answer.field_error("sign_passphrase"), Some(fault));
        assert!(
            answer.contains("certificate CB-4433, seals whole"),
            "what was typed stays"
        );
        assert!(!answer.contains(OTHER), "but not the passphrase");
        assert_eq!(lot_state(&app, "L0411").await, "quarantine");
    }
    let answer = release(&mut ada, "L0411", PASSPHRASE).await;
    assert_eq!(answer.location(), "/powder/L0411", "{}", answer.body);
    assert_eq!(lot_state(&app, "L0411").await, "released");

    let page = ada.get("/powder/L0411").await;
    assert!(page.contains("SIGNED"));
    assert!(page.contains("I have checked certificate, label and seals of this lot."));
    assert!(page.contains("<b>Ada</b>, storekeeper"));
    let entry = text(&app, LAST).await;
    assert!(entry.starts_with("lot.released {"), "{entry}");
    assert!(entry.contains(r#""how":"passphrase""#) && entry.contains(r#""printed_name":"Ada""#));
    assert!(!entry.contains(PASSPHRASE));
}

/// L0408 is on hold. One signature releases nothing; the same person cannot give the other; a colleague
/// at the same tablet can, by name and passphrase.
#[tokio::test]
async fn a_lot_on_hold_takes_two_people() {
    let app = real().await;
    let mut ada = signed_in(&app, "Ada", PASSPHRASE).await;
    let answer = release(&mut ada, "L0408", PASSPHRASE).await;
    let signing = answer.location().to_owned();
    assert_eq!(signing, "/signatures/1", "{}", answer.body);
    assert_eq!(lot_state(&app, "L0408").await, "hold", "one is not enough");
    assert!(
        ada.get("/now")
            .await
            .contains("Release lot L0408 from hold: waits for a second signature.")
    );
    assert!(
        ada.get(&signing)
            .await
            .contains("Ask somebody else to sign")
    );

    for (name, passphrase, fault) in [
        (
            "Ada",
            PASSPHRASE,
            "you have signed this already; the other signature must be somebody else",
        ),
        ("", PASSPHRASE, "you have signed this already"),
        (
            "Bo",
            PASSPHRASE,
            "name and passphrase do not belong together",
        ),
        (
            "Nobody",
            OTHER,
            "name and passphrase do not belong together",
        ),
        (
            "Cy",
            OTHER,
            "a crew may not release a lot; ask somebody whose role may",
        ),
    ] {
        let fields = [("name", name), ("sign_passphrase", passphrase)];
        let answer = ada.post(&signing, &fields).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{name}");
        assert!(answer.contains(fault), "{name}: {}", answer.body);
        assert_eq!(lot_state(&app, "L0408").await, "hold", "{name}");
    }
    let fields = [("name", "Bo"), ("sign_passphrase", OTHER)];
    let answer = ada.post(&signing, &fields).await;
    assert_eq!(answer.location(), "/powder/L0408", "{}", answer.body);
    assert_eq!(lot_state(&app, "L0408").await, "released");
    let page = ada.get("/powder/L0408").await;
    assert!(page.contains("<b>Ada</b>, storekeeper") && page.contains("<b>Bo</b>, checker"));
    let entry = text(&app, LAST).await;
    assert!(
        entry.starts_with("lot.released {") && entry.contains(r#""signing":1"#),
        "{entry}"
    );
    assert!(
        !app.other_browser()
            .get("/now")
            .await
            .contains("second signature")
    );

    let again = ada.post(&signing, &fields).await;
    assert!(
        again.contains("everybody needed has signed this already"),
        "{}",
        again.body
    );
}

/// The second person signs at a tablet of their own, and may withdraw nothing that is not theirs.
#[tokio::test]
async fn the_second_signs_in_a_session_of_their_own() {
    let app = real().await;
    let mut ada = signed_in(&app, "Ada", PASSPHRASE).await;
    release(&mut ada, "L0408", PASSPHRASE).await;
    let mut bo = signed_in(&app, "Bo", OTHER).await;
    assert!(
        bo.get("/signatures")
            .await
            .contains("Release lot L0408 from hold")
    );
    assert!(
        bo.get("/signatures/1")
            .await
            .contains("Sign: release lot L0408 from hold.")
    );
    assert_eq!(
        bo.post("/signatures/1/withdraw", &[]).await.status,
        StatusCode::FORBIDDEN
    );
    let again = release(&mut bo, "L0408", OTHER).await;
    assert_eq!(
        again.status,
        StatusCode::CONFLICT,
        "it is signed once already"
    );
    let answer = bo
        .post("/signatures/1", &[("sign_passphrase", OTHER)])
        .await;
    assert_eq!(answer.location(), "/powder/L0408", "{}", answer.body);
    assert_eq!(lot_state(&app, "L0408").await, "released");
}

/// Taken back before the second signature, nothing happens, and it can be signed anew.
#[tokio::test]
async fn what_waits_can_be_withdrawn() {
    let app = real().await;
    let mut ada = signed_in(&app, "Ada", PASSPHRASE).await;
    release(&mut ada, "L0408", PASSPHRASE).await;
    let mut lead = signed_in(&app, "Di", OTHER).await;
    assert_eq!(
        lead.post("/signatures/1/withdraw", &[]).await.location(),
        "/powder/L0408"
    );
    let mut bo = signed_in(&app, "Bo", OTHER).await;
    let answer = bo
        .post("/signatures/1", &[("sign_passphrase", OTHER)])
        .await;
    assert!(answer.contains("this was withdrawn; nothing is left to sign"));
    assert_eq!(lot_state(&app, "L0408").await, "hold");
    assert!(
        !ada.get("/powder/L0408")
            .await
            .contains("<b>Ada</b>, storekeeper"),
        "it does not count"
    );
    assert_eq!(
        release(&mut ada, "L0408", PASSPHRASE).await.location(),
        "/signatures/2"
    );
}

/// Anybody of the crew may stop a lot, without a signature but not without a reason. A crew member
/// releases none.
#[tokio::test]
async fn stopping_is_easy_and_releasing_is_not() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    let empty = app.post("/powder/L0415/hold", &[("reason", " ")]).await;
    assert_eq!(empty.field_error("reason"), Some("enter something here"));
    assert_eq!(lot_state(&app, "L0415").await, "released");
    let answer = app
        .post("/powder/L0415/hold", &[("reason", "damp smell at the cap")])
        .await;
    assert_eq!(answer.location(), "/powder/L0415");
    assert_eq!(lot_state(&app, "L0415").await, "hold");
    assert!(
        app.get("/powder/L0415")
            .await
            .contains("Damp smell at the cap")
    );
    let refused = app
        .post("/powder/L0415/release", &[("reason", "fine")])
        .await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
    let twice = app.post("/powder/L0415/hold", &[("reason", "again")]).await;
    assert_eq!(twice.status, StatusCode::CONFLICT);
}

/// L0410 is rejected: no signature brings it back.
#[tokio::test]
async fn a_rejected_lot_stays_rejected() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let answer = release(&mut app, "L0410", "").await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.contains("there is nothing to release"));
    assert_eq!(lot_state(&app, "L0410").await, "rejected");
}

/// The container holds less than the book says: the gap is booked with its reason, as a movement, and
/// on hand is the sum again. A count that agrees books nothing and is on record all the same.
#[tokio::test]
async fn a_count_sets_the_book_by_a_movement() {
    let mut app = App::new().await;
    app.sign_in(Role::Storekeeper).await;
    let container: String = sqlx::query_scalar(
        "select c.code from container c join lot l on l.id = c.lot_id where l.code = 'L0415' order by c.code limit 1",
    )
    .fetch_one(&app.state.db.read)
    .await
    .expect("a container");
    let on_hand = async |app: &App| -> i64 {
        sqlx::query_scalar("select milligrams from container_now where code = ?")
            .bind(&container)
            .fetch_one(&app.state.db.read)
            .await
            .expect("a sum")
    };
    let before = on_hand(&app).await;
    let weighed = format!("{}", before / 1000 - 250);
    let page = app.get("/powder/L0415/count").await;
    let book = mendpost_tests::between(&page.body, "name=\"book\" value=\"", "\"")
        .expect("the book as shown")
        .to_owned();
    let count = |grams: &str, reason: &'static str| {
        vec![
            ("container", container.clone()),
            ("grams", grams.to_owned()),
            ("reason", reason.to_owned()),
            ("book", book.clone()),
        ]
    };
    fn lent<'a>(fields: &'a [(&'static str, String)]) -> Vec<(&'static str, &'a str)> {
        fields
            .iter()
            .map(|(name, value)| (*name, value.as_str()))
            .collect()
    }

    let answer = app
        .post("/powder/L0415/count", &lent(&count(&weighed, "")))
        .await;
    assert!(
        answer
            .field_error("reason")
            .is_some_and(|fault| fault.contains("say why it is 250 g less"))
    );
    let answer = app
        .post("/powder/L0415/count", &lent(&count("much", "spilt")))
        .await;
    assert!(answer.field_error("grams").is_some());
    assert_eq!(on_hand(&app).await, before, "nothing was booked");

    let answer = app
        .post(
            "/powder/L0415/count",
            &lent(&count(&weighed, "spilt at the feeder")),
        )
        .await;
    assert_eq!(answer.location(), "/powder/L0415", "{}", answer.body);
    assert_eq!(on_hand(&app).await, before - 250_000);
    let page = app.get("/powder/L0415").await;
    assert!(page.contains("I have weighed what is there.") && page.contains("spilt at the feeder"));

    // The book that was looked at is no longer the book.
    let answer = app
        .post("/powder/L0415/count", &lent(&count(&weighed, "again")))
        .await;
    assert!(
        answer.contains("the book changed while you weighed"),
        "{}",
        answer.body
    );
}

/// Request 15 waits for a yes. It is recorded in full with its limits, signed by who heard it, and the
/// gate is open in the next plan.
#[tokio::test(flavor = "multi_thread")]
async fn a_recorded_yes_opens_the_gate() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    assert!(app.get("/requests/15").await.contains("None on record."));
    let faulty = app
        .post("/requests/15/answer", &[("until", "2020-01-01T00:00")])
        .await;
    for field in ["about", "who", "said", "came", "name", "words", "until"] {
        assert!(faulty.field_error(field).is_some(), "{field}");
    }
    let fields = [
        ("who", "owners-engineer"),
        ("name", "Power station engineer"),
        ("about", "build"),
        ("said", "yes"),
        ("came", "radio"),
        ("words", "May be built; run at half load for an hour first"),
    ];
    let answer = app.post("/requests/15/answer", &fields).await;
    assert_eq!(answer.location(), "/requests/15", "{}", answer.body);
    let page = app.get("/requests/15").await;
    assert!(page.contains("run at half load for an hour first"));
    assert!(page.contains("I have heard or read this answer"));
    app.plan().await;
    assert!(!app.get("/requests/15").await.contains("says yes first"));
    let yeses: i64 = sqlx::query_scalar(
        "select count(*) from answer a join request r on r.id = a.request_id where r.number = 15",
    )
    .fetch_one(&app.state.db.read)
    .await
    .expect("a count");
    assert_eq!(yeses, 1);
}

/// A PIN signs on the device where it was set, inside a session of its owner; it opens no session, and
/// after five wrong tries it is dead until the passphrase is used.
#[tokio::test]
async fn a_pin_signs_on_its_device_only() {
    let app = real().await;
    let mut ada = signed_in(&app, "Ada", PASSPHRASE).await;
    for (passphrase, pin, again, field) in [
        (OTHER, "4711", "4711", "passphrase"),
        ("4711", "4711", "4711", "passphrase"),
        (PASSPHRASE, "471", "471", "pin"),
        (PASSPHRASE, "1234", "1234", "pin"),
        (PASSPHRASE, "4711", "4712", "pin_again"),
    ] {
        let fields = [
            ("passphrase", passphrase),
            ("pin", pin),
            ("pin_again", again),
        ];
        let answer = ada.post("/account/pin", &fields).await;
        assert!(
            answer.field_error(field).is_some(),
            "{pin} {again}: {}",
            answer.body
        );
    }
    let fields = [
        ("passphrase", PASSPHRASE),
        ("pin", "4711"),
        ("pin_again", "4711"),
    ];
    let answer = ada.post("/account/pin", &fields).await;
    assert_eq!(answer.location(), "/account/pin", "{}", answer.body);
    assert!(
        answer
            .header("set-cookie")
            .is_some_and(|cookie| cookie.contains("SameSite=Strict"))
    );
    assert!(!text(&app, LAST).await.contains("4711"));

    let mut elsewhere = signed_in(&app, "Ada", PASSPHRASE).await;
    let answer = release(&mut elsewhere, "L0411", "4711").await;
    assert!(
        answer
            .field_error("sign_passphrase")
            .is_some_and(|fault| fault.starts_with("no PIN of yours"))
    );

    // The fifth wrong one kills it; the right one comes too late.
    for left in [
        "4 more tries",
        "3 more tries",
        "2 more tries",
        "one more try",
        "five wrong tries",
    ] {
        let answer = release(&mut ada, "L0411", "1199").await;
        assert!(
            answer
                .field_error("sign_passphrase")
                .is_some_and(|fault| fault.contains(left)),
            "{left}"
        );
    }
    let answer = release(&mut ada, "L0411", "4711").await;
    assert!(
        answer
            .field_error("sign_passphrase")
            .is_some_and(|fault| fault.contains("five wrong tries"))
    );
    assert!(
        ada.get("/account/pin")
            .await
            .contains("Sign once with your passphrase.")
    );
    assert_eq!(
        release(&mut ada, "L0411", PASSPHRASE).await.location(),
        "/powder/L0411"
    );
    assert!(ada.get("/powder/L0401/release").await.contains("Your PIN"));
    assert_eq!(
        release(&mut ada, "L0401", "4711").await.location(),
        "/powder/L0401"
    );
    assert!(text(&app, LAST).await.contains(r#""how":"pin""#));

    let mut stranger = ada.other_browser();
    stranger.set_cookie("device", ada.cookie("device").expect("enrolled"));
    stranger.get("/sign-in").await;
    let answer = stranger
        .post("/sign-in", &[("name", "Ada"), ("passphrase", "4711")])
        .await;
    assert_eq!(
        answer.status,
        StatusCode::UNPROCESSABLE_ENTITY,
        "a PIN opens nothing"
    );
    let mut bo = signed_in(&app, "Bo", OTHER).await;
    bo.set_cookie("device", ada.cookie("device").expect("enrolled"));
    bo.post("/powder/L0415/hold", &[("reason", "damp")]).await;
    let answer = release(&mut bo, "L0415", "4711").await;
    assert!(
        answer.field_error("sign_passphrase").is_some(),
        "nor does it sign for a colleague"
    );

    ada.post("/account/pin/remove", &[]).await;
    assert!(ada.get("/account/pin").await.contains("not yet"));
}

/// Whoever has a new passphrase may have lost the device too: PINs go with the old one.
#[tokio::test]
async fn a_new_passphrase_voids_the_pins() {
    let app = real().await;
    let mut ada = signed_in(&app, "Ada", PASSPHRASE).await;
    let fields = [
        ("passphrase", PASSPHRASE),
        ("pin", "4711"),
        ("pin_again", "4711"),
    ];
    ada.post("/account/pin", &fields).await;
    let new = "seven crates of nickel";
    let fields = [
        ("passphrase", PASSPHRASE),
        ("new-passphrase", new),
        ("again-passphrase", new),
    ];
    let answer = ada.post("/account/passphrase", &fields).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    ada.get("/account").await;
    let answer = release(&mut ada, "L0411", "4711").await;
    assert!(
        answer
            .field_error("sign_passphrase")
            .is_some_and(|fault| fault.starts_with("no PIN of yours"))
    );
    assert_eq!(
        release(&mut ada, "L0411", new).await.location(),
        "/powder/L0411"
    );
}

/// Guessing at a passphrase while signing is slowed down like guessing at sign-in.
#[tokio::test]
async fn guessing_while_signing_is_slowed_down() {
    let app = real().await;
    let mut ada = signed_in(&app, "Ada", PASSPHRASE).await;
    for _ in 0..3 {
        release(&mut ada, "L0411", "some other passphrase").await;
    }
    let answer = release(&mut ada, "L0411", PASSPHRASE).await;
    assert!(
        answer
            .field_error("sign_passphrase")
            .is_some_and(|fault| fault.starts_with("too many tries"))
    );
    app.wait_minutes(1);
    assert_eq!(
        release(&mut ada, "L0411", PASSPHRASE).await.location(),
        "/powder/L0411"
    );
}

/// A signature is what it is: the database itself refuses to change or remove one.
#[tokio::test]
async fn signatures_cannot_be_changed() {
    let mut app = App::new().await;
    app.sign_in(Role::Checker).await;
    release(&mut app, "L0411", "").await;
    release(&mut app, "L0408", "").await;
    for statement in [
        "update signature set printed_name = 'Nobody'",
        "delete from signature",
        "update signing set content = '{}'",
        "delete from signing",
    ] {
        let refused = sqlx::query(statement).execute(&app.state.db.write).await;
        assert!(refused.is_err(), "{statement}");
    }
}
