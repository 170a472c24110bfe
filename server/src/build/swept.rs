//! What was swept up behind a build, weighed after its end.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::powder::Reason;
use mendpost_core::powder::book::{Place, take};
use mendpost_core::quantity::Milligrams;
use serde::Deserialize;
use serde_json::json;

use super::finish::{held_for_gap, insert_swept};
use super::mark::found;
use super::path;
use super::queries::{self, Build, End};
use crate::AppState;
use crate::book::{self, Line};
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, MOST_WEIGHED_MG, Posted, decimal};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, grams_exact};
use crate::people::{Visit, Who};

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct SweptForm {
    swept: String,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<i64>,
) -> Result<Response, AppError> {
    let build = queries::build(&state.db.read, number).await?;
    let build = build.ok_or_else(|| AppError::NotFound {
        what: format!("build {number}"),
    })?;
    let end = queries::end(&state.db.read, build.id).await?;
    let end = not_swept(number, end)?;
    swept_page(
        &visit,
        &build,
        &end,
        SweptForm::default(),
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<i64>,
    Posted(form): Posted<SweptForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let build = found(&mut change, number).await?;
    let end = queries::end(change.connection(), build.id).await?;
    let mut end = not_swept(number, end)?;
    let mut errors = FieldErrors::default();
    let swept = errors.check("swept", decimal(&form.swept, 3, 0..=MOST_WEIGHED_MG));
    let most = end.fed_mg - end.coupon_mg;
    if swept.is_some_and(|swept| swept > most) {
        errors.add(
            "swept",
            format!(
                "no more than {} can be left of what was fed; weigh again",
                grams_exact(most)
            ),
        );
    }
    let (Some(swept), true) = (swept, errors.is_empty()) else {
        drop(change);
        return swept_page(&visit, &build, &end, form, errors).await;
    };
    let lots = queries::lots(change.connection(), build.id).await?;
    let at_ms = change.now();
    let mut left = queries::left_in(change.connection(), build.id).await?;
    let taken = take(&mut left, Milligrams(swept))
        .map_err(|fault| AppError::Conflict(fault.to_string()))?;
    let lines: Vec<Line> = taken
        .into_iter()
        .map(|(lot, mass)| Line {
            movement: book::movement(
                &lot,
                Place::Build(number),
                Place::Waste,
                mass.0,
                Reason::Sweep,
            ),
            note: "",
            at_ms,
        })
        .collect();
    let content = json!({ "swept_mg": swept });
    let subject = Subject::new("build", number);
    let entry = book::record(&mut change, "build.swept", subject, content, &lines).await?;
    insert_swept(&mut change, &build, swept, &who, entry).await?;
    end.swept_mg = Some(swept);
    let lots: Vec<_> = lots.into_iter().map(|(lot, _)| lot).collect();
    let gap = (end.balance().unexplained(), end.watch_mg, end.stop_mg);
    let held = held_for_gap(&mut change, number, &lots, gap).await?;
    let text = format!("Swept up: {}, journal {entry}.{held}", grams_exact(swept));
    change
        .finish(&who, &path(number), Notice::done("SAVED", text))
        .await
}

/// The end of a build that still waits for this.
fn not_swept(number: i64, end: Option<End>) -> Result<End, AppError> {
    match end {
        Some(end) if end.swept_mg.is_none() => Ok(end),
        Some(_) => Err(AppError::Conflict(format!(
            "what was swept up behind build {number} is on record already"
        ))),
        None => Err(AppError::Conflict(format!(
            "build {number} is under way; finish it first"
        ))),
    }
}

async fn swept_page(
    visit: &Visit,
    build: &Build,
    end: &End,
    form: SweptForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let number = build.number;
    let act = ActPage {
        page: visit
            .layout(Screen::Requests, &format!("Build {number}"))
            .await?,
        answer: format!("Weigh what was swept up behind build {number}."),
        reason: "With what the collector gave of it. No dry sweeping, no ordinary vacuum."
            .to_owned(),
        pairs: vec![
            (
                "Build",
                format!("{number}: {} {}", build.asset, build.part_name),
            ),
            ("Fed", grams_exact(end.fed_mg)),
            ("Part weighs more", grams_exact(end.part_mg)),
            ("Coupons weigh more", grams_exact(end.coupon_mg)),
        ],
        fields: vec![Field::amount(
            "swept",
            "Swept up",
            &form.swept,
            "g",
            "0 if nothing was found",
        )],
        action: format!("{}/swept", path(number)),
        verb: "Book it",
        detail: "as waste of the build".to_owned(),
        back: ("Not yet", path(number)),
        ask: None,
        errors,
    };
    act.answer()
}
