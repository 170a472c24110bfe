//! Sets as pages show them.

use askama::Template;
use axum::response::Response;
use mendpost_core::code::ItemCode;
use mendpost_core::people::Act;
use mendpost_core::resupply::Item;
use uuid::Uuid;

use super::queries::Set;
use super::{PATH, SetForm};
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::page::act::Field;
use crate::page::{Layout, Screen};
use crate::people::Visit;
use crate::resupply::form::{FormPage, Group};
use crate::resupply::item::queries::Listed;
use crate::version::Stale;

#[derive(Template)]
#[template(path = "resupply/sets.html")]
pub struct ListPage {
    page: Layout,
    answer: String,
    rows: Vec<Row>,
    may_keep: bool,
}

struct Row {
    number: i64,
    items: Vec<String>,
    why: String,
    said: String,
}

pub async fn list(visit: &Visit, sets: &[Set], items: &[Listed]) -> Result<ListPage, AppError> {
    let layout = visit.layout(Screen::Resupply, "Sets of items").await?;
    let name = |code: &ItemCode| {
        let found = items.iter().find(|it| it.item.code == *code);
        found.map_or_else(|| code.to_string(), |it| format!("{code} {}", it.item.name))
    };
    Ok(ListPage {
        answer: match sets.is_empty() {
            true => "Say what is of no use without something else, if anything is.".to_owned(),
            false => "Send each of a set, or none of it.".to_owned(),
        },
        rows: sets
            .iter()
            .map(|set| Row {
                number: set.number,
                items: set.items.iter().map(name).collect(),
                why: set.why.clone(),
                said: format!("{}, {}", set.said_by, layout.moment(&set.said_ms)),
            })
            .collect(),
        may_keep: visit.may(Act::KeepItems),
        page: layout,
    })
}

/// The form of a set, or of a new one.
pub async fn form(
    visit: &Visit,
    number: Option<i64>,
    items: &[(Uuid, Item)],
    form: &SetForm,
    (errors, stale): (FieldErrors, Option<Stale>),
) -> Result<Response, AppError> {
    let title = number.map_or_else(|| "New set".to_owned(), |number| format!("Set {number}"));
    let options = items.iter().map(|(_, item)| {
        let code = item.code.to_string();
        let ticked = form.item.contains(&code);
        (code.clone(), format!("{code} {}", item.name), ticked)
    });
    let mut fields = vec![
        Field::ticks("item", "Items", options.collect(), "two or more"),
        Field::area("why", "Why", &form.why, "what one of them is for the other"),
    ];
    if number.is_some() {
        let parted = vec![(
            "yes".to_owned(),
            "they go together no longer".to_owned(),
            !form.part.is_empty(),
        )];
        fields.push(Field::ticks("part", "Part it", parted, ""));
    }
    let page = FormPage {
        page: visit.layout(Screen::Resupply, &title).await?,
        answer: "Say which items go together.".to_owned(),
        reason: "Each of them at least once, or none.".to_owned(),
        groups: vec![Group {
            heading: "",
            words: "",
            fields,
        }],
        version: form.version.clone(),
        action: number.map_or_else(|| format!("{PATH}/new"), |it| format!("{PATH}/{it}")),
        verb: "Save",
        back: ("Leave it as it is", PATH.to_owned()),
        errors,
        stale,
    };
    page.answer()
}
