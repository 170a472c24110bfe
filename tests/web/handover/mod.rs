//! A shift change: told, heard, kept, carried over.

mod carried;
mod heard;
mod shift;
mod tampered;
mod told;

use std::collections::BTreeMap;

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, between};

const WRITE: &str = "/handover/write";
const FIRST: &str = "/handovers/1";

/// What a form is filled with, by the names of its fields.
type Fields = BTreeMap<String, String>;

/// The sprayer's browser, with a shift that is on.
async fn on_shift() -> App {
    let mut app = App::signed_in(Role::Crew).await;
    let why = [("why", "the first shift with this book")];
    let answer = app.post("/handover/open", &why).await;
    assert_eq!(answer.location(), "/handover", "{}", answer.body);
    app
}

/// Another browser, of somebody of that role.
async fn other(app: &App, role: Role) -> App {
    let mut other = app.other_browser();
    other.sign_in(role).await;
    other
}

/// The names of all fields in a page, in its order.
fn names(page: &Answer) -> Vec<String> {
    let names = page.body.split(" name=\"").skip(1);
    let names = names.filter_map(|rest| rest.split('"').next());
    names.map(str::to_owned).collect()
}

/// What the page has in a line of text.
fn value(page: &Answer, name: &str) -> String {
    let field = between(&page.body, &format!("id=\"{name}\""), ">").unwrap_or_default();
    between(field, "value=\"", "\"")
        .unwrap_or_default()
        .to_owned()
}

/// Every field of a quiet shift answered: read at 15:35 in one round, nothing off, two who know the cell come.
fn answered(page: &Answer) -> Fields {
    let mut fields = Fields::new();
    for name in names(page) {
        let (key, asks) = name.rsplit_once('_').unwrap_or(("", &name));
        let said = match (key, asks) {
            (_, "shift" | "base") => {
                between(&page.body, &format!("name=\"{name}\" value=\""), "\"")
                    .unwrap_or_default()
                    .to_owned()
            }
            ("", "round") => "15:35".to_owned(),
            (_, "word") => first_word(page, &name),
            (_, "reading") => "as usual".to_owned(),
            (_, "next") => value(page, &name),
            (_, "parked") => "bench 4, red tag".to_owned(),
            (_, "not") => "a finished part".to_owned(),
            (_, "seen" | "agrees") => "yes".to_owned(),
            (_, "off") | ("people", "alone" | "tired" | "new-hand" | "long-away" | "hurt") => {
                "no".to_owned()
            }
            ("could", "bite") => "dust may blow in at the door".to_owned(),
            ("people", "words") => "sprayer goes, lead comes".to_owned(),
            _ => continue,
        };
        fields.insert(name, said);
    }
    fields
}

/// The first word that a place may be in: a usual one.
fn first_word(page: &Answer, name: &str) -> String {
    let list = between(&page.body, &format!("<select id=\"{name}\""), "</select>");
    let options = list.unwrap_or_default().split("<option value=\"");
    options
        .skip(2)
        .find_map(|it| it.split('"').next())
        .unwrap_or_default()
        .to_owned()
}

async fn send(app: &mut App, path: &str, fields: &Fields) -> Answer {
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(name, value)| (&**name, &**value))
        .collect();
    app.post(path, &fields).await
}

/// Tells the handover of the shift, with some fields answered otherwise.
async fn tell(app: &mut App, otherwise: &[(&str, &str)]) -> Answer {
    let page = app.get(WRITE).await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.body);
    let mut fields = answered(&page);
    for (name, value) in otherwise {
        fields.insert((*name).to_owned(), (*value).to_owned());
    }
    fields.insert("act".to_owned(), "tell".to_owned());
    send(app, WRITE, &fields).await
}

/// A handover that waits, told by the sprayer, and the lead's browser.
async fn told(otherwise: &[(&str, &str)]) -> (App, App) {
    let mut giver = on_shift().await;
    let answer = tell(&mut giver, otherwise).await;
    assert_eq!(answer.location(), FIRST, "{}", answer.body);
    let receiver = other(&giver, Role::Lead).await;
    (giver, receiver)
}

/// All that a receiver enters: each line ticked, each fact seen as told, read back.
fn all_heard(page: &Answer) -> Fields {
    let mut fields = Fields::new();
    for name in names(page) {
        let said = match name.rsplit_once('_') {
            Some((_, "heard" | "agrees")) => "yes",
            Some((_, "seen")) => "as told",
            Some((_, "again")) => "as before",
            Some(("read", "back")) => "nobody starts the mill without its guard",
            _ if name == "talked" => "yes",
            _ => continue,
        };
        fields.insert(name, said.to_owned());
    }
    fields
}

/// Hears a handover, with some fields otherwise; an empty value leaves the field out.
async fn hear(app: &mut App, path: &str, otherwise: &[(&str, &str)]) -> Answer {
    let page = app.get(path).await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.body);
    let mut fields = all_heard(&page);
    for (name, value) in otherwise {
        match *value {
            "" => fields.remove(*name),
            value => fields.insert((*name).to_owned(), value.to_owned()),
        };
    }
    send(app, &format!("{path}/hear"), &fields).await
}
