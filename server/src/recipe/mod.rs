//! Recipes as they are written: a draft operation by operation, proposed, approved by somebody else,
//! and taken out of use.

mod about;
mod add;
mod approve;
mod field;
mod follow;
mod form;
mod limits;
mod operation;
pub mod queries;
mod rows;
mod save;
mod show;
mod spent;
mod start;
mod state;
mod takes;

use mendpost_core::catalogue::Recipe;
use mendpost_core::people::Act;

use crate::routes::Routes;

pub use queries::of_part;
pub use rows::{Row, rows};

pub fn routes() -> Routes {
    Routes::default()
        .get("/catalogue/{part}/recipe", Act::WriteRecipe, start::blank)
        .post("/catalogue/{part}/recipe", Act::WriteRecipe, start::start)
        .get("/recipes/{code}/{revision}", Act::Look, show::show)
        .get(
            "/recipes/{code}/{revision}/about",
            Act::WriteRecipe,
            about::open,
        )
        .post(
            "/recipes/{code}/{revision}/about",
            Act::WriteRecipe,
            about::save,
        )
        .get(
            "/recipes/{code}/{revision}/limits",
            Act::WriteRecipe,
            limits::open,
        )
        .post(
            "/recipes/{code}/{revision}/limits",
            Act::WriteRecipe,
            limits::save,
        )
        .get(ADD, Act::WriteRecipe, add::blank)
        .post(ADD, Act::WriteRecipe, add::add)
        .get(OPERATION, Act::WriteRecipe, operation::open)
        .post(OPERATION, Act::WriteRecipe, operation::save)
        .post(
            "/recipes/{code}/{revision}/operations/{position}/move",
            Act::WriteRecipe,
            operation::shift,
        )
        .post(
            "/recipes/{code}/{revision}/operations/{position}/remove",
            Act::WriteRecipe,
            operation::remove,
        )
        .post(
            "/recipes/{code}/{revision}/propose",
            Act::WriteRecipe,
            state::propose,
        )
        .post(
            "/recipes/{code}/{revision}/take-back",
            Act::WriteRecipe,
            state::take_back,
        )
        .get(
            "/recipes/{code}/{revision}/withdraw",
            Act::WriteRecipe,
            state::ask_why,
        )
        .post(
            "/recipes/{code}/{revision}/withdraw",
            Act::WriteRecipe,
            state::withdraw,
        )
        .post(
            "/recipes/{code}/{revision}/revise",
            Act::WriteRecipe,
            start::revise,
        )
        .get(
            "/recipes/{code}/{revision}/approve",
            Act::ApproveRecipe,
            approve::show,
        )
        .post(
            "/recipes/{code}/{revision}/approve",
            Act::ApproveRecipe,
            approve::approve,
        )
}

const OPERATION: &str = "/recipes/{code}/{revision}/operations/{position}";
const ADD: &str = "/recipes/{code}/{revision}/add/{what}/{after}";

/// The address of a revision.
pub fn path(recipe: &Recipe) -> String {
    format!("/recipes/{}/{}", recipe.code, recipe.revision)
}

fn named(recipe: &Recipe) -> String {
    format!("{} revision {}", recipe.code, recipe.revision)
}
