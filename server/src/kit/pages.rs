//! Plates and fixtures as pages show them.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::people::Act;
use mendpost_core::situation::{Kit, KitKind};

use super::{KitForm, PATH};
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::page::act::{ActPage, Field};
use crate::page::{Layout, Screen, page_with};
use crate::people::Visit;
use crate::version::Stale;

#[derive(Template)]
#[template(path = "kit/list.html")]
pub struct ListPage {
    page: Layout,
    answer: String,
    kit: Vec<Row>,
    may_count: bool,
    may_add: bool,
}

struct Row {
    code: String,
    name: String,
    kind: &'static str,
    count: i64,
    mark: &'static str,
}

fn kind(kind: KitKind) -> &'static str {
    match kind {
        KitKind::Plate => "plate, is used up",
        KitKind::Fixture => "fixture, comes back",
    }
}

pub async fn list(visit: &Visit, kit: Vec<Kit>) -> Result<ListPage, AppError> {
    let out: Vec<&str> = kit
        .iter()
        .filter(|kit| kit.count == 0)
        .map(|kit| kit.name.as_str())
        .collect();
    Ok(ListPage {
        page: visit.layout(Screen::Site, "Plates and fixtures").await?,
        answer: match (kit.is_empty(), out.as_slice()) {
            (true, _) => "Add the first plate or fixture, if a recipe needs one.".to_owned(),
            (false, []) => "Count plates after each build: every one listed is here.".to_owned(),
            (false, out) => format!("Get more of {}: none is here.", out.join(", ")),
        },
        kit: kit
            .into_iter()
            .map(|kit| Row {
                mark: if kit.count == 0 { "lost" } else { "ready" },
                code: kit.code.to_string(),
                name: kit.name,
                kind: kind(kit.kind),
                count: kit.count,
            })
            .collect(),
        may_count: visit.may(Act::CountKit),
        may_add: visit.may(Act::WriteRecipe),
    })
}

pub async fn add(visit: &Visit, form: &KitForm, errors: FieldErrors) -> Result<Response, AppError> {
    let kinds = KitKind::ALL
        .iter()
        .map(|of| (of.to_string(), kind(*of).to_owned()));
    let act = ActPage {
        page: visit.layout(Screen::Site, "Add a plate or fixture").await?,
        answer: "Add a plate or a fixture.".to_owned(),
        reason: "Recipes name it; the plan counts with how many there are.".to_owned(),
        pairs: Vec::new(),
        fields: vec![
            Field::text(
                "code",
                "Code",
                &form.code,
                "short, as it stands on it: SPINDLE-2",
            ),
            Field::text(
                "name",
                "Name",
                &form.name,
                "as the crew calls it, with its size",
            ),
            Field::choose(
                "kind",
                "What becomes of it",
                &form.kind,
                kinds.collect(),
                "",
            ),
            Field::amount(
                "count",
                "How many are here",
                &form.count,
                "pieces",
                "counted, not guessed",
            ),
        ],
        action: "/site/add-kit".to_owned(),
        verb: "Add it",
        detail: String::new(),
        back: ("Add nothing", PATH.to_owned()),
        ask: None,
        errors,
    };
    act.answer()
}

#[derive(Template)]
#[template(path = "kit/count.html")]
struct CountPage {
    page: Layout,
    answer: String,
    reason: String,
    action: String,
    form: KitForm,
    errors: FieldErrors,
    stale: Option<Stale>,
}

pub async fn count(
    visit: &Visit,
    kit: &Kit,
    form: KitForm,
    (status, errors, stale): (StatusCode, FieldErrors, Option<Stale>),
) -> Result<Response, AppError> {
    let counted = CountPage {
        page: visit.layout(Screen::Site, &kit.name).await?,
        answer: format!("Count {}.", kit.name),
        reason: format!("{}, {}.", kit.code, kind(kit.kind)),
        action: format!("{PATH}/{}", kit.code),
        form,
        errors,
        stale,
    };
    page_with(status, &counted)
}
