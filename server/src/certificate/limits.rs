//! What a powder asks of the certificates of its lots: size, chemistry, flow, moisture. The newest holds.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::powder::certificate::{Decile, Limits, Within};
use serde_json::json;
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use super::form::{self, Draft, element, plain};
use crate::AppState;
use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;
use crate::form::section::{Fields, Section, Shown};
use crate::form::{FieldErrors, Posted, text};
use crate::page::{Layout, Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::words::certificate as words;

/// Limits with who said them.
#[derive(Debug, Clone, Default)]
pub struct Said {
    pub limits: Limits,
    /// Who, when, and why so; none: nobody said any.
    pub by: Option<SaidBy>,
}

#[derive(Debug, Clone)]
pub struct SaidBy {
    pub name: String,
    pub at_ms: i64,
    pub reason: String,
    pub journal: i64,
}

impl Said {
    /// What a form was opened at.
    fn version(&self) -> i64 {
        self.by.as_ref().map_or(0, |by| by.journal)
    }
}

/// The address of a powder's limits.
pub fn path(powder: &str) -> String {
    format!("/powder/kinds/{powder}/limits")
}

/// What a powder asks for.
pub async fn of_powder(
    connection: &mut SqliteConnection,
    powder: &str,
) -> Result<Said, sqlx::Error> {
    let said = sqlx::query!(
        "select s.journal_sequence, s.said_by, s.said_ms, s.reason
         from powder_limits s join powder p on p.id = s.powder_id
         where p.code = ? order by s.journal_sequence desc limit 1",
        powder
    )
    .fetch_optional(&mut *connection)
    .await?;
    let Some(said) = said else {
        return Ok(Said::default());
    };
    let rows = sqlx::query!(
        "select what, least, most from powder_limit where journal_sequence = ?",
        said.journal_sequence
    )
    .fetch_all(connection)
    .await?;
    let mut limits = Limits::default();
    for row in rows {
        let within = Within {
            min: row.least,
            max: row.most,
        };
        match row.what.as_str() {
            "D10" => limits.sizes[0] = within,
            "D50" => limits.sizes[1] = within,
            "D90" => limits.sizes[2] = within,
            "flow" => limits.flow_ms = within,
            "moisture" => limits.moisture_ppm = within,
            element => drop(limits.elements.insert(decoded(element.parse())?, within)),
        }
    }
    Ok(Said {
        limits,
        by: Some(SaidBy {
            name: said.said_by,
            at_ms: said.said_ms,
            reason: said.reason,
            journal: said.journal_sequence,
        }),
    })
}

/// Each limit by the word under which it is kept.
fn kept(limits: &Limits) -> BTreeMap<String, Within> {
    let sizes = Decile::ALL.iter().map(ToString::to_string);
    let elements = limits.elements.iter();
    let mut all: BTreeMap<String, Within> = sizes.zip(limits.sizes).collect();
    all.extend(elements.map(|(element, within)| (element.to_string(), *within)));
    all.insert("flow".to_owned(), limits.flow_ms);
    all.insert("moisture".to_owned(), limits.moisture_ppm);
    all.retain(|_, within| !within.is_open());
    all
}

async fn insert(
    change: &mut Change,
    powder: Uuid,
    limits: &Limits,
    (by, reason): (&str, &str),
    entry: i64,
) -> Result<(), AppError> {
    let now = change.now();
    sqlx::query!(
        "insert into powder_limits (journal_sequence, powder_id, said_by, said_ms, reason) values (?, ?, ?, ?, ?)",
        entry,
        powder,
        by,
        now,
        reason,
    )
    .execute(change.connection())
    .await?;
    for (what, Within { min, max }) in kept(limits) {
        sqlx::query!(
            "insert into powder_limit (journal_sequence, what, least, most) values (?, ?, ?, ?)",
            entry,
            what,
            min,
            max,
        )
        .execute(change.connection())
        .await?;
    }
    Ok(())
}

/// Notes what a powder asks of its lots, with who says so and why, under an entry of its own.
pub(crate) async fn say(
    change: &mut Change,
    (powder, code): (Uuid, &str),
    (limits, before): (&Limits, &Limits),
    (by, reason): (&str, &str),
) -> Result<i64, AppError> {
    let content = json!({ "limits": kept(limits), "before": kept(before), "reason": reason });
    let subject = Subject::new("powder", code);
    let journal = change
        .journal("powder.limits-said", subject, content)
        .await?;
    insert(change, powder, limits, (by, reason), journal).await?;
    Ok(journal)
}

struct Powder {
    id: Uuid,
    name: String,
}

async fn powder(executor: impl SqliteExecutor<'_>, code: &str) -> Result<Powder, AppError> {
    let found = sqlx::query_as!(
        Powder,
        r#"select id as "id: Uuid", name from powder where code = ?"#,
        code
    )
    .fetch_optional(executor)
    .await?;
    found.ok_or_else(|| AppError::NotFound {
        what: format!("powder {code}"),
    })
}

/// The limits as they would have been typed.
fn typed(said: &Said) -> Draft {
    let mut draft = Draft::blank(&said.limits);
    let mut put = |name: &str, within: Within, places: usize| {
        let ends = [("min", within.min), ("max", within.max)];
        for (end, value) in ends {
            draft
                .fields
                .insert(format!("{name}_{end}"), plain(value, places));
        }
    };
    for (name, within) in form::SIZES.iter().zip(said.limits.sizes) {
        put(name, within, 3);
    }
    put("flow", said.limits.flow_ms, 3);
    put("moisture", said.limits.moisture_ppm, 4);
    for (row, within) in draft.elements.iter_mut().zip(said.limits.elements.values()) {
        row.insert("min".to_owned(), plain(within.min, 4));
        row.insert("max".to_owned(), plain(within.max, 4));
    }
    draft
        .fields
        .insert("version".to_owned(), said.version().to_string());
    draft
}

/// Limits and why they are so; what is wrong is noted.
fn parse(draft: &Draft, errors: &mut FieldErrors) -> Option<(Limits, String)> {
    let section = Section::new(String::new(), &draft.fields);
    let sizes = form::SIZES.map(|name| {
        let ends = [format!("{name}_min"), format!("{name}_max")];
        form::within(&section, [&ends[0], &ends[1]], 3, errors)
    });
    let flow_ms = form::within(&section, ["flow_min", "flow_max"], 3, errors);
    let moisture_ppm = form::within(&section, ["moisture_min", "moisture_max"], 4, errors);
    let mut elements = BTreeMap::new();
    for row in draft.rows("") {
        let Some((element, within)) = element(&row, errors) else {
            continue;
        };
        if elements.insert(element, within).is_some() {
            row.fault("symbol", format!("{element} is given twice"), errors);
        }
    }
    elements.retain(|_, within: &mut Within| !within.is_open());
    let reason = section.read("reason", |typed| text(typed, 400), errors)?;
    let limits = Limits {
        sizes,
        elements,
        flow_ms,
        moisture_ppm,
    };
    errors.is_empty().then_some((limits, reason))
}

pub(super) async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let powder = powder(&mut *reading, &code).await?;
    let said = of_powder(&mut reading, &code).await?;
    let draft = typed(&said);
    limits_page(
        &visit,
        (&code, &powder, &said),
        draft,
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(fields): Posted<Fields>,
) -> Result<Response, AppError> {
    let mut draft = Draft::of(fields);
    let mut errors = FieldErrors::default();
    let step = draft.fields.get("do").cloned().unwrap_or_default();
    let parsed = match step.as_str() {
        "save" => parse(&draft, &mut errors),
        "add-element" => {
            draft.add_row();
            None
        }
        _ => None,
    };
    let mut change = Change::begin(&state, &who).await?;
    let powder = powder(change.connection(), &code).await?;
    let said = of_powder(change.connection(), &code).await?;
    let version = said.version().to_string();
    let Some((limits, reason)) = parsed else {
        drop(change);
        return limits_page(&visit, (&code, &powder, &said), draft, errors).await;
    };
    if draft.fields.get("version") != Some(&version) {
        drop(change);
        errors.add_whole(said_meanwhile(&said));
        draft.fields.insert("version".to_owned(), version);
        return limits_page(&visit, (&code, &powder, &said), draft, errors).await;
    }
    let journal = say(
        &mut change,
        (powder.id, &code),
        (&limits, &said.limits),
        (&who.name, &reason),
    )
    .await?;
    let text = format!("what {} asks of its lots. Journal {journal}.", powder.name);
    let location = crate::powder::kind_path(&code);
    change
        .finish(&who, &location, Notice::done("SAVED", text))
        .await
}

fn said_meanwhile(said: &Said) -> String {
    let by = said.by.as_ref().map_or("somebody", |by| by.name.as_str());
    format!(
        "Not saved: {by} said other limits meanwhile, which stand on the right. Yours stand below; save them over those, or leave it."
    )
}

#[derive(Template)]
#[template(path = "certificate/limits.html")]
struct LimitsPage {
    page: Layout,
    action: String,
    back: String,
    name: String,
    draft: Draft,
    stands: Vec<(String, String)>,
    said: Said,
    errors: FieldErrors,
}

impl LimitsPage {
    fn of(&self) -> Section<'_> {
        Section::new(String::new(), &self.draft.fields)
    }

    fn end(&self, name: &str, end: &str) -> Shown {
        self.of().shown(&format!("{name}_{end}"), &self.errors)
    }

    /// Name, label, unit.
    fn ranges(&self) -> [(&'static str, &'static str, &'static str); 5] {
        [
            ("d10", "D10", "µm"),
            ("d50", "D50", "µm"),
            ("d90", "D90", "µm"),
            ("flow", "Flow, 50 g", "s"),
            ("moisture", "Moisture", "%"),
        ]
    }
}

async fn limits_page(
    visit: &Visit,
    (code, powder, said): (&str, &Powder, &Said),
    draft: Draft,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let is_late =
        draft.fields.get("do").is_some_and(|step| step == "save") && errors.whole().is_some();
    let status = if is_late {
        StatusCode::CONFLICT
    } else {
        errors.status()
    };
    let page = LimitsPage {
        page: visit.layout(Screen::Powder, code).await?,
        action: path(code),
        back: crate::powder::kind_path(code),
        name: powder.name.clone(),
        draft,
        stands: words::limits(&said.limits),
        said: said.clone(),
        errors,
    };
    page_with(status, &page)
}
