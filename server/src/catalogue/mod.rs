//! The catalogue: which parts this cell can make, by which approved recipe, and what they take here,
//! and builds weighed, from which the efficiency of each stage is learned.

mod list;
mod one;
mod part;
pub mod queries;
pub mod store;
mod strike;
mod weighed;

use axum::extract::{Path, Query, State};
use axum::response::Response;
use mendpost_core::catalogue::Part;
use mendpost_core::people::Act;
use mendpost_core::situation::Situation;
use serde::Deserialize;

use crate::AppState;
use crate::attachment::{Holder, Photos};
use crate::error::AppError;
use crate::page::{Screen, page};
use crate::people::Visit;
use crate::routes::Routes;
use crate::shape::{self, ShapeSection};
use crate::{recipe, situation};
use queries::Which;

pub fn routes() -> Routes {
    Routes::default()
        .get("/catalogue", Act::Look, show)
        .get("/catalogue/new", Act::WriteRecipe, part::blank)
        .post("/catalogue/new", Act::WriteRecipe, part::add)
        .get("/catalogue/{part}", Act::Look, show_part)
        .get("/catalogue/{part}/change", Act::WriteRecipe, part::open)
        .post("/catalogue/{part}/change", Act::WriteRecipe, part::save)
        .get("/catalogue/{part}/retire", Act::WriteRecipe, part::ask_why)
        .post("/catalogue/{part}/retire", Act::WriteRecipe, part::retire)
        .post(
            "/catalogue/{part}/bring-back",
            Act::WriteRecipe,
            part::bring_back,
        )
        .get("/catalogue/{part}/weigh", Act::WeighBuild, weighed::show)
        .post("/catalogue/{part}/weigh", Act::WeighBuild, weighed::enter)
        .get(STRIKE, Act::WeighBuild, strike::show)
        .post(STRIKE, Act::WeighBuild, strike::strike)
}

const STRIKE: &str = "/catalogue/{part}/weighed/{number}/strike";

/// The address of a part.
fn path(part: &str) -> String {
    format!("/catalogue/{part}")
}

pub fn part_of<'a>(situation: &'a Situation, code: &str) -> Result<&'a Part, AppError> {
    let mut parts = situation.parts.iter();
    let part = parts.find(|p| p.code.as_str() == code);
    part.ok_or_else(|| AppError::NotFound {
        what: format!("part {code} in the catalogue"),
    })
}

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let layout = visit.layout(Screen::Catalogue, "Catalogue").await?;
    let may_write = visit.may(Act::WriteRecipe);
    let pictures = shape::queries::small_of_parts(&state.db.read).await?;
    page(&list::ListPage::new(
        layout, &situation, pictures, may_write,
    ))
}

#[derive(Deserialize)]
struct Choice {
    /// So many weighed builds that are newer are left out.
    #[serde(default)]
    from: u32,
}

/// So many weighed builds stand on the page of a part.
const MOST: u32 = 50;

async fn show_part(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
    Query(choice): Query<Choice>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let part = part_of(&situation, &code)?;
    let from = choice.from;
    let which = Which::Page {
        from,
        most: MOST + 1,
    };
    let mut weighed = queries::weighed_of(&state.db.read, &code, which).await?;
    let most = usize::try_from(MOST).unwrap_or(usize::MAX);
    let older =
        (weighed.len() > most).then(|| format!("{}?from={}#weighed", path(&code), from + MOST));
    weighed.truncate(most);
    let row = part::row_of(&state.db.read, &code).await?;
    let holder = Holder::part(&state.db.read, &code).await?;
    let holder = holder.ok_or(sqlx::Error::RowNotFound)?;
    let beside = one::Beside {
        older,
        may_weigh: visit.may(Act::WeighBuild),
        may_write: visit.may(Act::WriteRecipe),
        version: row.version,
        retired_reason: row.retired_reason.unwrap_or_default(),
        revisions: recipe::of_part(&state.db.read, &code).await?,
        photos: Photos::load(&state, &visit, &holder).await?,
    };
    let kept = shape::queries::of_part(&state.db.read, &code).await?;
    let off = shape::queries::taken_off(&state.db.read, &code).await?;
    let layout = visit.layout(Screen::Catalogue, &code).await?;
    let given = (kept.as_ref(), off.as_ref());
    let shape = ShapeSection::new(&visit, &layout, &situation, part, given);
    page(&one::PartPage::new(
        layout, &situation, part, &weighed, beside, shape,
    ))
}
