//! Items as pages show them.

use askama::Template;
use axum::response::Response;
use mendpost_core::people::Act;
use mendpost_core::resupply::{Content, Counted, Item, Sheet};

use super::form::{Known, groups};
use super::queries::Listed;
use super::words::{self, WARNS};
use super::{PATH, lacks, path};
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::form::section::Fields;
use crate::page::{Layout, Screen, whole};
use crate::people::Visit;
use crate::resupply::form::FormPage;
use crate::version::Stale;

#[derive(Template)]
#[template(path = "resupply/items.html")]
pub struct ListPage {
    page: Layout,
    answer: String,
    warns: &'static str,
    rows: Vec<Row>,
    retired: Vec<(String, String, String)>,
    may_keep: bool,
}

struct Row {
    path: String,
    code: String,
    name: String,
    unit: String,
    content: String,
    mass: String,
    mark: &'static str,
    sheet: String,
    here: String,
    depot: String,
}

pub async fn list(visit: &Visit, all: &[Listed]) -> Result<ListPage, AppError> {
    let used = || all.iter().filter(|it| it.retired.is_none());
    let unread: Vec<&str> = used()
        .filter(|it| it.item.sheet == Sheet::NotRead)
        .map(|it| it.item.code.as_str())
        .collect();
    let answer = match (used().next().is_none(), unread.as_slice()) {
        (true, _) => "Add the first thing that the depot can send.".to_owned(),
        (false, []) => {
            "Keep these as the depot has them: lists are made of nothing else.".to_owned()
        }
        (false, unread) => format!(
            "Read the safety sheet of {}: until then it goes on no list.",
            unread.join(", ")
        ),
    };
    Ok(ListPage {
        page: visit.layout(Screen::Resupply, "Items").await?,
        answer,
        warns: WARNS,
        rows: used().map(|it| row(&it.item)).collect(),
        retired: all
            .iter()
            .filter_map(|it| {
                let reason = it.retired.clone()?;
                Some((path(&it.item.code), it.item.name.clone(), reason))
            })
            .collect(),
        may_keep: visit.may(Act::KeepItems),
    })
}

fn row(item: &Item) -> Row {
    let (mark, sheet) = words::sheet_state(&item.sheet);
    Row {
        path: path(&item.code),
        code: item.code.to_string(),
        name: item.name.clone(),
        unit: item.unit.clone(),
        content: words::content(&item.content),
        mass: words::mass(item.gross_g),
        mark,
        sheet,
        here: here(item),
        depot: depot(item),
    }
}

/// What was counted here of a consumable; empty for anything else.
fn here(item: &Item) -> String {
    match &item.content {
        Content::Consumable(used) => used
            .counted
            .as_ref()
            .map_or_else(|| "not counted".to_owned(), |it| whole(it.units)),
        _ => String::new(),
    }
}

fn depot(item: &Item) -> String {
    item.depot.map_or_else(|| "not known".to_owned(), whole)
}

#[derive(Template)]
#[template(path = "resupply/item.html")]
pub struct OnePage {
    page: Layout,
    answer: String,
    name: String,
    code: String,
    path: String,
    pairs: Vec<(&'static str, String)>,
    sheet: Vec<(&'static str, String)>,
    warns: &'static str,
    /// Units, by whom, when.
    counts: Vec<(String, String, String)>,
    is_consumable: bool,
    is_retired: bool,
    may_keep: bool,
}

pub async fn one(visit: &Visit, listed: &Listed, counts: &[Counted]) -> Result<OnePage, AppError> {
    let item = &listed.item;
    let layout = visit.layout(Screen::Resupply, item.code.as_str()).await?;
    let is_consumable = matches!(item.content, Content::Consumable(_));
    let answer = match (&listed.retired, lacks(item)) {
        (Some(reason), _) => format!(
            "Send for something else: {} is retired, {reason}",
            item.code
        ),
        (None, "") => format!("{} can be sent: {}.", item.code, item.name),
        (None, lacks) => lacks.to_owned(),
    };
    let mut pairs = pairs(item);
    let said = format!("{}, {}", listed.said_by, layout.moment(&listed.said_ms));
    pairs.push(("Said by", said));
    Ok(OnePage {
        answer,
        name: item.name.clone(),
        code: item.code.to_string(),
        path: path(&item.code),
        pairs,
        sheet: words::sheet(item),
        warns: WARNS,
        counts: counts
            .iter()
            .map(|it| {
                let when = layout.moment(&it.at.timestamp_millis());
                (whole(it.units), it.by.clone(), when)
            })
            .collect(),
        is_consumable,
        is_retired: listed.retired.is_some(),
        may_keep: visit.may(Act::KeepItems),
        page: layout,
    })
}

fn pairs(item: &Item) -> Vec<(&'static str, String)> {
    let [x, y, z] = item.size_mm;
    let stack = match item.stackable {
        true => "others may stand on it",
        false => "nothing may stand on it",
    };
    let mut pairs = vec![
        ("Unit of issue", item.unit.clone()),
        ("One unit is", words::content(&item.content)),
        ("Net", words::mass(item.net_g)),
        ("Gross", words::mass(item.gross_g)),
        ("Size", format!("{x} x {y} x {z} mm; {stack}")),
        ("The depot has", depot(item)),
    ];
    if !item.substitutes.is_empty() {
        let codes: Vec<&str> = item.substitutes.iter().map(|it| it.as_str()).collect();
        pairs.push(("Instead of it", codes.join(", ")));
    }
    pairs
}

pub async fn add(
    visit: &Visit,
    fields: &Fields,
    known: &Known,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let form = FormPage {
        page: visit.layout(Screen::Resupply, "Add an item").await?,
        answer: "Add what the depot can send.".to_owned(),
        reason: "By its stock number and unit of issue.".to_owned(),
        groups: groups(fields, true, known),
        version: String::new(),
        action: format!("{PATH}/new"),
        verb: "Add it",
        back: ("Add nothing", PATH.to_owned()),
        errors,
        stale: None,
    };
    form.answer()
}

pub async fn change(
    visit: &Visit,
    listed: &Listed,
    fields: &Fields,
    known: &Known,
    errors: FieldErrors,
    stale: Option<Stale>,
) -> Result<Response, AppError> {
    let code = &listed.item.code;
    let form = FormPage {
        page: visit.layout(Screen::Resupply, code.as_str()).await?,
        answer: format!("Say what holds of {code} from now on."),
        reason: match &listed.retired {
            Some(reason) => format!("It is retired: {reason}. Saved, it is sent for again."),
            None => "What was said before stays on record.".to_owned(),
        },
        groups: groups(fields, false, known),
        version: fields.get("version").cloned().unwrap_or_default(),
        action: format!("{}/change", path(code)),
        verb: "Save",
        back: ("Leave it as it is", path(code)),
        errors,
        stale,
    };
    form.answer()
}
