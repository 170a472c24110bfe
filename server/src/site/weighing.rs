//! How far weighing and book may differ before somebody looks, and before a lot is held.

use axum::extract::State;
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use serde_json::json;
use sqlx::SqliteExecutor;

use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::figures::{About, Figure, FiguresForm, Values, both, change, kept, show};
use crate::form::{FieldErrors, Posted};
use crate::page::{Layout, Notice, Screen};
use crate::people::{Visit, Who};
use crate::version::{Stale, is_current};

pub(super) const PATH: &str = "/site/weighing";

const COUNT: usize = 4;

/// In the order in which they are typed and kept.
const FIGURES: [Figure; COUNT] = [
    figure(
        "division_g",
        "division_mg",
        "The scale’s division",
        "g",
        "the smallest step that it shows; each weighing may say another",
        3,
        (1, 1_000_000),
    ),
    figure(
        "divisions",
        "divisions",
        "Divisions that two weighings may differ by",
        "",
        "added to both lines",
        0,
        (0, 100),
    ),
    figure(
        "watch_percent",
        "watch_permille",
        "Watch line",
        "%",
        "of what was drawn; beyond it somebody looks",
        1,
        (0, 1000),
    ),
    figure(
        "stop_percent",
        "stop_permille",
        "Stop line",
        "%",
        "of what was drawn; beyond it the lot is held until two have counted again",
        1,
        (0, 1000),
    ),
];

const fn figure(
    name: &'static str,
    kept: &'static str,
    label: &'static str,
    unit: &'static str,
    hint: &'static str,
    places: usize,
    range: (i64, i64),
) -> Figure {
    Figure {
        name,
        kept,
        label,
        unit,
        hint,
        places,
        range,
        needed: true,
    }
}

pub(super) async fn look(
    State(state): State<AppState>,
    visit: Visit,
) -> Result<Response, AppError> {
    let (values, version) = load(&state.db.read).await?;
    let reason = match version {
        1 => "Not said yet: common practice, no source.",
        _ => "Builds, counts and the feeder are judged by this.",
    };
    let answer = "Say how far weighing and book may differ.";
    show(
        layout(&visit).await?,
        (answer.to_owned(), reason.to_owned()),
        about(),
        (&FIGURES, &values),
        visit.may(Act::SetUpSite),
        None,
    )
}

pub(super) async fn open(
    State(state): State<AppState>,
    visit: Visit,
) -> Result<Response, AppError> {
    let (values, version) = load(&state.db.read).await?;
    let form = FiguresForm::of(&FIGURES, &values, version);
    form_page(&visit, form, FieldErrors::default(), None).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<FiguresForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let after = form.parse(&FIGURES, &mut errors);
    if let [_, _, Some(watch), Some(stop)] = after
        && stop < watch
    {
        errors.add(
            "stop_percent",
            "the stop line lies at the watch line or beyond it",
        );
    }
    if !errors.is_empty() {
        return form_page(&visit, form, errors, None).await;
    }
    let subject = Subject::new("weighing", 1);
    let mut change = Change::begin(&state, &who).await?;
    let (before, version) = load(change.connection()).await?;
    if !is_current(&form.version, version) {
        drop(change);
        let fields = both(&FIGURES, &before, &after);
        let stale = Stale::of(&state.db.read, &subject, version, fields).await?;
        return form_page(&visit, form, errors, Some(stale)).await;
    }
    update(change.connection(), &after).await?;
    let content = json!({
        "version": version + 1,
        "before": kept(&FIGURES, &before),
        "after": kept(&FIGURES, &after),
    });
    let journal = change.journal("weighing.changed", subject, content).await?;
    let text = format!(
        "how far weighing and book may differ, journal {journal}. What was judged before stays as it was."
    );
    change.finish(&who, PATH, Notice::done("SAVED", text)).await
}

async fn layout(visit: &Visit) -> Result<Layout, AppError> {
    visit.layout(Screen::Site, "Weighing").await
}

fn about() -> About {
    About {
        title: "Weighing".to_owned(),
        path: PATH.to_owned(),
        back: ("Site", Screen::Site.path().to_owned()),
    }
}

async fn form_page(
    visit: &Visit,
    form: FiguresForm,
    errors: FieldErrors,
    stale: Option<Stale>,
) -> Result<Response, AppError> {
    let reason = "Two weighings with a division of 10 g are uncertain by about 8 g (k = 2).";
    change(
        layout(visit).await?,
        (about(), reason),
        &FIGURES,
        form,
        errors,
        stale,
    )
}

/// The figures, and the version that a form of them carries.
async fn load(executor: impl SqliteExecutor<'_>) -> Result<(Values<COUNT>, i64), sqlx::Error> {
    let row = sqlx::query!(
        "select division_mg, divisions, watch_permille, stop_permille, version from weighing"
    )
    .fetch_one(executor)
    .await?;
    let values = [
        row.division_mg,
        row.divisions,
        row.watch_permille,
        row.stop_permille,
    ];
    Ok((values.map(Some), row.version))
}

async fn update(
    executor: impl SqliteExecutor<'_>,
    values: &Values<COUNT>,
) -> Result<(), sqlx::Error> {
    let [division, divisions, watch, stop] = *values;
    sqlx::query!(
        "update weighing set division_mg = ?, divisions = ?, watch_permille = ?, stop_permille = ?,
           version = version + 1",
        division,
        divisions,
        watch,
        stop,
    )
    .execute(executor)
    .await?;
    Ok(())
}
