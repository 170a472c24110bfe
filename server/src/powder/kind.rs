//! What a powder is made of: figures of the solid metal, by which volume becomes mass and the deposition
//! window is worked out; and how long it may stand open.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use serde_json::json;
use sqlx::SqliteExecutor;

use crate::AppState;
use crate::certificate::limits;
use crate::change::Change;
use crate::error::AppError;
use crate::figures::{About, Figure, FiguresForm, Values, both, change, kept, show};
use crate::form::{FieldErrors, Posted};
use crate::page::{Layout, Notice, Screen};
use crate::people::{Visit, Who};
use crate::version::{Stale, is_current};
use crate::words::certificate as words;

/// Of the solid metal: all of them are told, or none.
pub const METAL: [Figure; 5] = [
    figure(
        "density_kg_m3",
        "Density of the solid",
        "kg/m³",
        (500, 25_000),
        "makes volume into mass",
    ),
    figure(
        "strength_mpa",
        "Tensile strength",
        "MPa",
        (1, 3000),
        "of the solid at room temperature",
    ),
    figure(
        "melting_c",
        "Melting begins",
        "°C",
        (100, 4000),
        "the solidus of an alloy",
    ),
    figure(
        "cp_j_kg_k",
        "Heat capacity",
        "J/(kg K)",
        (50, 5000),
        "of the solid at room temperature",
    ),
    figure(
        "size_um",
        "Middle grain size",
        "µm",
        (1, 200),
        "D50 by volume, as the certificate has it",
    ),
];

const COUNT: usize = METAL.len() + 1;

/// All that the page has.
const FIGURES: [Figure; COUNT] = {
    let [density, strength, melting, cp, size] = METAL;
    let open = figure(
        "open_limit_min",
        "May stand open",
        "min",
        (1, 100_000),
        "in all, until a draw of it asks for two people; without it nothing is asked",
    );
    [density, strength, melting, cp, size, open]
};

const fn figure(
    name: &'static str,
    label: &'static str,
    unit: &'static str,
    range: (i64, i64),
    hint: &'static str,
) -> Figure {
    Figure {
        name,
        kept: name,
        label,
        unit,
        hint,
        places: 0,
        range,
        needed: false,
    }
}

/// A powder as its figures stand.
struct Kind {
    name: String,
    values: Values<COUNT>,
    version: i64,
}

/// The address of a powder's figures.
pub fn path(code: &str) -> String {
    format!("/powder/kinds/{code}")
}

/// What it asks of the certificates of its lots.
#[derive(Template)]
#[template(path = "powder/asks-for.html")]
struct AsksFor {
    /// Who said so, when, and why.
    said: Option<String>,
    lines: Vec<(String, String)>,
    /// Where it is changed.
    change: Option<String>,
}

pub(super) async fn look(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let kind = load(&mut *reading, &code).await?;
    let said = limits::of_powder(&mut reading, &code).await?;
    drop(reading);
    let may_change = visit.may(Act::WriteRecipe);
    let layout = layout(&visit, &code).await?;
    let asks = AsksFor {
        said: said
            .by
            .as_ref()
            .map(|by| format!("{}, {}: {}", by.name, layout.moment(&by.at_ms), by.reason)),
        lines: words::limits(&said.limits),
        change: may_change.then(|| limits::path(&code)),
    };
    let metal = &kind.values[..METAL.len()];
    let said = match metal.iter().any(Option::is_none) {
        true => (
            format!("Tell what {} is made of.", kind.name),
            "Volume becomes mass, and the deposition window is worked out, as soon as all five of the metal are told."
                .to_owned(),
        ),
        false => (
            format!("Reckon {} by these figures.", kind.name),
            "From the maker or a handbook; a recipe keeps the grams that it was written with.".to_owned(),
        ),
    };
    let about = about(&code, &kind);
    let figures = (&FIGURES, &kind.values);
    show(layout, said, about, figures, may_change, Some(&asks))
}

pub(super) async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let kind = load(&state.db.read, &code).await?;
    let form = FiguresForm::of(&FIGURES, &kind.values, kind.version);
    form_page(&visit, (&code, &kind), form, FieldErrors::default(), None).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<FiguresForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let after = form.parse(&FIGURES, &mut errors);
    let metal = || METAL.iter().zip(&after);
    if metal().any(|(_, value)| value.is_some()) {
        for (figure, _) in metal().filter(|(_, value)| value.is_none()) {
            errors.add(
                figure.name,
                "needed beside the others of the metal; give all five or none",
            );
        }
    }
    if !errors.is_empty() {
        let kind = load(&state.db.read, &code).await?;
        return form_page(&visit, (&code, &kind), form, errors, None).await;
    }
    let subject = Subject::new("powder", &code);
    let mut change = Change::begin(&state, &who).await?;
    let before = load(change.connection(), &code).await?;
    if !is_current(&form.version, before.version) {
        drop(change);
        let fields = both(&FIGURES, &before.values, &after);
        let stale = Stale::of(&state.db.read, &subject, before.version, fields).await?;
        return form_page(&visit, (&code, &before), form, errors, Some(stale)).await;
    }
    update(change.connection(), &code, &after).await?;
    let content = json!({
        "version": before.version + 1,
        "before": kept(&FIGURES, &before.values),
        "after": kept(&FIGURES, &after),
    });
    let journal = change.journal("powder.changed", subject, content).await?;
    let text = format!("what {} is made of. Journal {journal}.", before.name);
    change
        .finish(&who, &path(&code), Notice::done("SAVED", text))
        .await
}

async fn layout(visit: &Visit, code: &str) -> Result<Layout, AppError> {
    visit.layout(Screen::Powder, code).await
}

fn about(code: &str, kind: &Kind) -> About {
    About {
        title: format!("Figures of {}", kind.name),
        path: path(code),
        back: ("All powders", Screen::Powder.path().to_owned()),
    }
}

async fn form_page(
    visit: &Visit,
    (code, kind): (&str, &Kind),
    form: FiguresForm,
    errors: FieldErrors,
    stale: Option<Stale>,
) -> Result<Response, AppError> {
    let reason = "Take those of the metal from the maker or a handbook, all five or none; how long it may stand open is the site's own.";
    let about = about(code, kind);
    change(
        layout(visit, code).await?,
        (about, reason),
        &FIGURES,
        form,
        errors,
        stale,
    )
}

async fn load(executor: impl SqliteExecutor<'_>, code: &str) -> Result<Kind, AppError> {
    let row = sqlx::query!(
        "select name, density_kg_m3, strength_mpa, melting_c, cp_j_kg_k, size_um, open_limit_min, version
         from powder where code = ?",
        code
    )
    .fetch_optional(executor)
    .await?;
    let row = row.ok_or_else(|| AppError::NotFound {
        what: format!("powder {code}"),
    })?;
    Ok(Kind {
        name: row.name,
        values: [
            row.density_kg_m3,
            row.strength_mpa,
            row.melting_c,
            row.cp_j_kg_k,
            row.size_um,
            row.open_limit_min,
        ],
        version: row.version,
    })
}

async fn update(
    executor: impl SqliteExecutor<'_>,
    code: &str,
    [density, strength, melting, cp, size, open_limit]: &Values<COUNT>,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update powder set density_kg_m3 = ?, strength_mpa = ?, melting_c = ?, cp_j_kg_k = ?,
           size_um = ?, open_limit_min = ?, version = version + 1
         where code = ?",
        density,
        strength,
        melting,
        cp,
        size,
        open_limit,
        code,
    )
    .execute(executor)
    .await?;
    Ok(())
}
