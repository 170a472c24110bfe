//! Trips as pages show them.

use askama::Template;
use axum::response::Response;
use mendpost_core::people::Act;
use mendpost_core::resupply::Trip;

use super::form::groups;
use super::queries::Listed;
use super::{PATH, path};
use crate::error::AppError;
use crate::form::section::Fields;
use crate::form::{FieldErrors, plain_decimal};
use crate::page::{Layout, Screen, whole};
use crate::people::Visit;
use crate::receive::delivery_path;
use crate::resupply::form::FormPage;
use crate::resupply::item::{queries as items, words};
use crate::version::Stale;

#[derive(Template)]
#[template(path = "resupply/trips.html")]
pub struct ListPage {
    page: Layout,
    answer: String,
    rows: Vec<Row>,
    may_keep: bool,
}

struct Row {
    path: String,
    code: String,
    name: String,
    mark: &'static str,
    word: String,
    when: String,
    mode: String,
    payload: String,
    closes: String,
}

pub async fn list(visit: &Visit, all: &[Listed]) -> Result<ListPage, AppError> {
    let layout = visit.layout(Screen::Resupply, "Trips").await?;
    let next = all.iter().find(|it| it.is_expected());
    let untold = all.iter().find(|it| it.is_expected() && it.said.is_none());
    let answer = match (next, untold) {
        (None, _) => "Announce the next trip: no list is made without one.".to_owned(),
        (_, Some(untold)) => format!("Say what {} may carry: nobody has.", untold.code),
        (Some(next), None) => {
            format!(
                "{} {} comes next, {}.",
                next.code,
                next.name,
                layout.moment(&next.expected_ms)
            )
        }
    };
    Ok(ListPage {
        answer,
        rows: all.iter().map(|it| row(&layout, it)).collect(),
        may_keep: visit.may(Act::KeepItems),
        page: layout,
    })
}

fn row(page: &Layout, listed: &Listed) -> Row {
    let trip = listed.said.as_ref().map(|said| &said.trip);
    let (mark, word) = match (listed.state.as_str(), trip) {
        ("expected", Some(_)) => ("ready", "expected".to_owned()),
        ("expected", None) => ("hold", "nobody said what it may carry".to_owned()),
        ("arrived", _) => ("done", "arrived".to_owned()),
        (other, _) => ("lost", other.to_owned()),
    };
    Row {
        path: path(&listed.code),
        code: listed.code.to_string(),
        name: listed.name.clone(),
        mark,
        word,
        when: page.moment(&listed.expected_ms),
        mode: trip.map_or_else(String::new, |it| it.mode.to_string()),
        payload: trip.map_or_else(String::new, |it| words::mass(it.payload_g)),
        closes: trip.map_or_else(String::new, |it| page.moment(&it.closes.timestamp_millis())),
    }
}

#[derive(Template)]
#[template(path = "resupply/trip.html")]
pub struct OnePage {
    page: Layout,
    answer: String,
    code: String,
    name: String,
    path: String,
    delivery: String,
    pairs: Vec<(&'static str, String)>,
    /// Address, item, and how many units.
    must_go: Vec<(String, String, String)>,
    may_change: bool,
    is_expected: bool,
}

pub async fn one(
    visit: &Visit,
    listed: &Listed,
    all: &[items::Listed],
) -> Result<OnePage, AppError> {
    let layout = visit.layout(Screen::Resupply, listed.code.as_str()).await?;
    let name = |code: &mendpost_core::code::ItemCode| {
        let found = all.iter().find(|it| it.item.code == *code);
        found.map_or_else(String::new, |it| it.item.name.clone())
    };
    let trip = listed.said.as_ref().map(|said| &said.trip);
    let answer = match (trip, listed.is_expected()) {
        (_, false) => format!(
            "{} is {}: nothing is said of it any more.",
            listed.code, listed.state
        ),
        (None, true) => format!("Say what {} may carry: nobody has.", listed.code),
        (Some(trip), true) => format!(
            "Load at most {} by {}.",
            words::mass(trip.mass_limit_g()),
            layout.moment(&trip.closes.timestamp_millis())
        ),
    };
    let mut pairs = trip.map_or_else(Vec::new, |trip| pairs(&layout, trip));
    if let Some(said) = &listed.said {
        pairs.push((
            "Said by",
            format!("{}, {}", said.by, layout.moment(&said.ms)),
        ));
    }
    Ok(OnePage {
        answer,
        code: listed.code.to_string(),
        name: listed.name.clone(),
        path: path(&listed.code),
        delivery: delivery_path(listed.code.as_str()),
        pairs,
        must_go: trip.map_or_else(Vec::new, |trip| {
            let lines = trip.must_go.iter();
            let line = |(code, units): &(mendpost_core::code::ItemCode, i64)| {
                let shown = format!("{code} {}", name(code));
                (super::super::item::path(code), shown, whole(*units))
            };
            lines.map(line).collect()
        }),
        may_change: visit.may(Act::KeepItems) && listed.is_expected(),
        is_expected: listed.is_expected(),
        page: layout,
    })
}

fn pairs(page: &Layout, trip: &Trip) -> Vec<(&'static str, String)> {
    let at = |time: chrono::DateTime<chrono::Utc>| page.moment(&time.timestamp_millis());
    let goods = match trip.dangerous {
        true => "taken, as far as the rules of its mode let it; the master or pilot decides",
        false => "not taken",
    };
    let mut pairs = vec![
        ("By", trip.mode.to_string()),
        ("Payload", words::mass(trip.payload_g)),
        (
            "Stays free",
            format!("{} %", plain_decimal(trip.reserve_permille, 1)),
        ),
        ("List at most", words::mass(trip.mass_limit_g())),
        ("Room", format!("{} l", plain_decimal(trip.volume_ml, 3))),
        ("Longest piece", format!("{} mm", whole(trip.longest_mm))),
        ("Heaviest piece", words::mass(trip.heaviest_g)),
        ("Dangerous goods", goods.to_owned()),
        ("List closes", at(trip.closes)),
        ("Earliest", at(trip.earliest)),
        ("Usual", at(trip.usual)),
        ("Latest", at(trip.latest)),
    ];
    if !trip.takes_back.is_empty() {
        pairs.push(("Takes back", trip.takes_back.clone()));
    }
    pairs
}

pub async fn add(
    visit: &Visit,
    fields: &Fields,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let form = FormPage {
        page: visit.layout(Screen::Resupply, "New trip").await?,
        answer: "Announce a trip.".to_owned(),
        reason: "It stands on the list of deliveries too, by the same code.".to_owned(),
        groups: groups(fields, true),
        version: String::new(),
        action: format!("{PATH}/new"),
        verb: "Announce it",
        back: ("Announce nothing", PATH.to_owned()),
        errors,
        stale: None,
    };
    form.answer()
}

pub async fn change(
    visit: &Visit,
    listed: &Listed,
    fields: &Fields,
    errors: FieldErrors,
    stale: Option<Stale>,
) -> Result<Response, AppError> {
    let code = &listed.code;
    let form = FormPage {
        page: visit.layout(Screen::Resupply, code.as_str()).await?,
        answer: format!("Say what holds of {code} from now on."),
        reason: "Its delivery comes when it says here.".to_owned(),
        groups: groups(fields, false),
        version: fields.get("version").cloned().unwrap_or_default(),
        action: format!("{}/change", path(code)),
        verb: "Save",
        back: ("Leave it as it is", path(code)),
        errors,
        stale,
    };
    form.answer()
}
