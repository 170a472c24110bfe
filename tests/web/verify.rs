//! Whether a site's data are what its journal says: tampering is found, and told where it stands.

mod flipped;
mod tables;

use axum::http::StatusCode;
use mendpost_core::journal::code::HeadCode;
use mendpost_core::journal::{Entry, Hash, Stored, Subject};
use mendpost_core::people::Role;
use mendpost_server::change::{head, stored_after};
use mendpost_server::verify::{Fault, Verified, verify};
use mendpost_tests::{App, between};
use sqlx::{AssertSqlSafe, Connection, SqliteConnection};

/// The demonstration after some hours: an order computed and accepted, a lot stopped, another released, one
/// whose release waits for its second signature, a yes recorded, a request refused, powder counted, and a clock
/// that was put a day on.
async fn some_hours() -> App {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    app.plan().await;
    let newest = app.get("/line-up/accept").await;
    let number = between(&newest.body, "name=\"number\" value=\"", "\"").expect("an order");
    let number = number.to_owned();
    done(&mut app, "/line-up/accept", &[("number", &number)]).await;
    done(&mut app, "/powder/L0415/hold", &[("reason", "damp smell")]).await;
    for lot in ["L0411", "L0408"] {
        let path = format!("/powder/{lot}/release");
        let page = app.get(&path).await;
        let seen = between(&page.body, "name=\"certificate\" value=\"", "\"").unwrap_or_default();
        let fields = [
            ("certificate", &*seen.to_owned()),
            ("reason", "seals whole"),
        ];
        done(&mut app, &path, &fields).await;
    }
    let yes = [
        ("about", "release"),
        ("who", "owners-engineer"),
        ("name", "Waterworks engineer"),
        ("said", "yes"),
        ("came", "mail"),
        ("words", "May be fitted"),
    ];
    done(&mut app, "/requests/8/answer", &yes).await;
    done(
        &mut app,
        "/requests/15/decide/refuse",
        &[("reason", "not here")],
    )
    .await;
    app.wait_minutes(26 * 60);
    app.sign_in(Role::Lead).await;
    read_fuel(&mut app, "410").await;
    app
}

async fn done(app: &mut App, path: &str, fields: &[(&str, &str)]) {
    let answer = app.post(path, fields).await;
    assert_eq!(
        answer.status,
        StatusCode::SEE_OTHER,
        "{path}: {}",
        answer.body
    );
}

/// Enters a reading, which no table but its own shows; that is not replayed.
async fn read_fuel(app: &mut App, litres: &str) {
    done(app, "/cell/reading", &[("fuel", litres)]).await;
}

/// Changes what is stored behind the service's back, as somebody with the file and a tool can, looks at what
/// `verify` makes of it, and puts everything back.
pub(crate) async fn tampered(
    app: &App,
    statements: &[&str],
    codes: &[HeadCode],
) -> Result<Verified, Fault> {
    let mut writer = app.state.db.write.acquire().await.expect("the writer");
    run(&mut writer, "pragma foreign_keys = off").await;
    run(&mut writer, "pragma ignore_check_constraints = on").await;
    let mut trial = writer.begin().await.expect("a transaction");
    let triggers = without_triggers(&mut trial).await;
    for statement in statements {
        run(&mut trial, statement).await;
    }
    for trigger in triggers {
        run(&mut trial, &trigger).await;
    }
    let found = verify(&mut trial, codes).await;
    trial.rollback().await.expect("undone");
    run(&mut writer, "pragma ignore_check_constraints = off").await;
    run(&mut writer, "pragma foreign_keys = on").await;
    found
}

async fn run(connection: &mut SqliteConnection, statement: &str) {
    sqlx::query(AssertSqlSafe(statement.to_owned()))
        .execute(connection)
        .await
        .unwrap_or_else(|error| panic!("{statement}: {error}"));
}

/// Drops all triggers; the statements that make them again.
async fn without_triggers(connection: &mut SqliteConnection) -> Vec<String> {
    let triggers: Vec<(String, String)> =
        sqlx::query_as("select name, sql from sqlite_schema where type = 'trigger'")
            .fetch_all(&mut *connection)
            .await
            .expect("a schema");
    for (name, _) in &triggers {
        run(connection, &format!("drop trigger {name}")).await;
    }
    triggers.into_iter().map(|(_, sql)| sql).collect()
}

/// What is told of it.
fn told(found: Result<Verified, Fault>) -> String {
    found.expect_err("it was tampered with").to_string()
}

async fn code_now(app: &App) -> HeadCode {
    let mut reading = app.state.db.read.acquire().await.expect("a connection");
    let (sequence, hash) = head(&mut reading).await.expect("a head");
    HeadCode::new(sequence, hash)
}

/// A clean site verifies, with the code that its page shows; the list of what is not replayed comes from the
/// database itself.
#[tokio::test(flavor = "multi_thread")]
async fn a_site_that_nobody_tampered_with_verifies() {
    let mut app = some_hours().await;
    let code = code_now(&app).await;
    let found = tampered(&app, &[], &[code]).await.expect("whole");
    assert_eq!(found.code(), code);
    let page = app.get("/journal").await;
    assert!(page.contains(&code.to_string()), "{}", page.body);
    let rows = |table: &str| {
        let met = found.replayed.iter().find(|met| met.table == table);
        met.map(|met| (met.rows, met.in_part))
    };
    // The site's files hold 19 lots, 36 requests with one more for the interim part, and 11 answers.
    assert_eq!(rows("lot"), Some((19, 0)));
    assert_eq!(rows("request"), Some((37, 0)));
    assert_eq!(rows("answer"), Some((12, 0)));
    assert_eq!(rows("lineup_accepted"), Some((1, 0)));
    assert_eq!(rows("signature"), Some((4, 0)));
    assert_eq!(rows("signing"), Some((1, 0)));
    assert_eq!(rows("journal_step"), Some((1, 0)));
    let left: Vec<&str> = found.left.iter().map(|left| left.table.as_str()).collect();
    for table in ["person", "reading", "recipe", "_sqlx_migrations"] {
        assert!(left.contains(&table), "{table} in {left:?}");
    }
    for table in [
        "journal",
        "movement",
        "lot",
        "answer",
        "lineup",
        "signature",
    ] {
        assert!(!left.contains(&table), "{table} in {left:?}");
    }
    let request = found.left.iter().find(|left| left.table == "request");
    let columns = &request.expect("in part").columns;
    assert!(columns.contains(&"description".to_owned()) && !columns.contains(&"state".to_owned()));
    // A table that joins lists itself.
    let found = tampered(&app, &["create table new_thing (what text)"], &[]).await;
    assert_eq!(
        told(found),
        "the database has the table new_thing, unlike one that this program makes"
    );
}

/// Three readings are cut off the end, with what they wrote: the rest is a whole journal, and only a code that
/// was written down between them tells.
#[tokio::test(flavor = "multi_thread")]
async fn a_cut_tail_is_found_with_an_earlier_code_alone() {
    let mut app = App::signed_in(Role::Lead).await;
    let before = code_now(&app).await;
    read_fuel(&mut app, "410").await;
    let between = code_now(&app).await;
    read_fuel(&mut app, "405").await;
    let last = code_now(&app).await;
    let cut = [
        &*format!(
            "delete from answered where journal_sequence > {}",
            before.sequence()
        ),
        &*format!("delete from journal where sequence > {}", before.sequence()),
    ];
    let found = tampered(&app, &cut, &[before]).await.expect("whole");
    assert_eq!(found.code(), before);
    assert_eq!(
        told(tampered(&app, &cut, &[last, between]).await),
        format!(
            "the journal ends at {}, and code {between} names entry {}: its tail was cut",
            before.sequence(),
            before.sequence() + 1
        )
    );
}

/// Somebody changes what a reading said and seals it and all entries after it anew. The chain holds; a code
/// from before the change fits still, and every later one tells.
#[tokio::test(flavor = "multi_thread")]
async fn a_rewritten_chain_is_found_with_an_earlier_code_alone() {
    let mut app = App::signed_in(Role::Lead).await;
    let before = code_now(&app).await;
    read_fuel(&mut app, "410").await;
    let paper = code_now(&app).await;
    read_fuel(&mut app, "405").await;
    let mut statements = Vec::new();
    let (mut rewritten, mut previous) = (Vec::new(), Hash::START);
    for mut entry in entries(&app).await {
        if entry.sequence == paper.sequence() {
            let content = entry.content.to_string();
            assert!(content.contains("410"), "{content}");
            entry.content = content.replace("410", "450").parse().expect("JSON");
        }
        let (stored, hash) = Stored::seal(previous, entry).expect("small numbers");
        previous = hash;
        rewritten.push(stored);
    }
    for stored in rewritten
        .iter()
        .skip_while(|it| it.sequence < paper.sequence())
    {
        statements.push(format!(
            "update journal set content = cast(x'{}' as text), previous_hash = x'{}', hash = x'{}' where sequence = {}",
            hex(&stored.content),
            hex(&stored.previous),
            hex(&stored.hash),
            stored.sequence
        ));
    }
    let statements: Vec<&str> = statements.iter().map(String::as_str).collect();
    let found = tampered(&app, &statements, &[])
        .await
        .expect("a chain that holds");
    tampered(&app, &statements, &[before])
        .await
        .expect("nothing changed before it");
    let now = HeadCode::new(paper.sequence(), sealed(&rewritten, paper.sequence()));
    assert_ne!(found.head, code_of_tail(&app).await);
    assert_eq!(
        told(tampered(&app, &statements, &[before, paper]).await),
        format!(
            "journal {} has the code {now}, and {paper} was given: the journal was written anew at or before it",
            paper.sequence()
        )
    );
}

async fn code_of_tail(app: &App) -> Hash {
    let mut reading = app.state.db.read.acquire().await.expect("a connection");
    head(&mut reading).await.expect("a head").1
}

fn sealed(journal: &[Stored], sequence: i64) -> Hash {
    let stored = journal.iter().find(|it| it.sequence == sequence);
    let hash = stored.map(|it| it.hash.clone()).expect("an entry");
    Hash(hash.try_into().expect("32 bytes"))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// All stored rows.
async fn rows(app: &App) -> Vec<Stored> {
    let mut reading = app.state.db.read.acquire().await.expect("a connection");
    let mut rows: Vec<Stored> = Vec::new();
    loop {
        let last = rows.last().map_or(0, |row| row.sequence);
        let more = stored_after(&mut reading, last).await.expect("entries");
        if more.is_empty() {
            return rows;
        }
        rows.extend(more);
    }
}

async fn entries(app: &App) -> Vec<Entry> {
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    let rows = rows(app).await.into_iter();
    rows.map(|row| Entry {
        sequence: row.sequence,
        time: row.time,
        actor: text(row.actor),
        kind: text(row.kind),
        subject: Subject {
            kind: text(row.subject_kind),
            id: text(row.subject_id),
        },
        content: text(row.content).parse().expect("JSON"),
    })
    .collect()
}

/// Where copies are listed, the code of each one's last entry stands beside its number.
#[tokio::test(flavor = "multi_thread")]
async fn copies_are_listed_with_their_codes() {
    let mut app = App::signed_in(Role::Lead).await;
    read_fuel(&mut app, "410").await;
    let code = code_now(&app).await;
    done(&mut app, "/site/backup", &[]).await;
    let page = app.get("/site/backup").await;
    assert!(page.contains(&code.to_string()), "{}", page.body);
}
