//! Filing a request: one change that inserts it with its ways, and notes that its machine is down.

use axum::response::Response;
use chrono_tz::Tz;
use mendpost_core::code::RequestCode;
use mendpost_core::journal::Subject;
use mendpost_core::situation::Damage;
use serde::Serialize;
use serde_json::json;

use super::detail::{self, Detail, Told};
use super::form::{Machine, NewRequest};
use super::particulars::{NewMetal, NewSpare};
use super::path;
use super::queries::{self, Filed};
use crate::AppState;
use crate::attachment::{Holder, Named, hang_all};
use crate::change::Change;
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::need::standing::Standing;
use crate::page::{Notice, moment};
use crate::people::Who;

#[derive(Serialize)]
struct RequestFiled<'a> {
    number: i64,
    #[serde(flatten)]
    new: &'a NewRequest,
    part_name: &'a str,
    reported_by: &'a str,
    recipes: &'a [String],
}

/// Files a request with its photos, or says which fields contradict what the site knows.
pub async fn file(
    state: &AppState,
    who: &Who,
    new: &NewRequest,
    photos: Vec<Named>,
    zone: Tz,
) -> Result<Result<Response, FieldErrors>, AppError> {
    let mut change = Change::begin(state, who).await?;
    let standing = Standing::find(&mut change, &new.asset).await?;
    let standing = standing.ok_or_else(|| gone("machine", &new.asset))?;
    let mut errors = FieldErrors::default();
    if let Some(text) = contradiction(new.machine, &standing, zone) {
        errors.add("damage", text);
    }
    if let Some(text) = hangs_elsewhere(&mut change, new.tag.as_deref(), None).await? {
        errors.add("tag", text);
    }
    if !errors.is_empty() {
        return Ok(Err(errors));
    }
    let filed = insert(&mut change, new, &standing, &who.name).await?;
    let pictures = match hang(&mut change, who, filed.number, photos).await? {
        Ok(pictures) => pictures,
        Err(errors) => return Ok(Err(errors)),
    };
    let code = code(filed.number)?;
    let Inserted { name, journal, .. } = filed;
    let text = format!(
        "{code}, {} {name}{pictures}. Journal {journal}.",
        standing.asset.name
    );
    let notice = Notice::done("SAVED", text);
    Ok(Ok(change.finish(who, &path(&code), notice).await?))
}

/// An interim part that went out, as the request for its successor tells of it.
pub struct GoneOut<'a> {
    /// The machine's and, where it is listed, the part's code.
    pub asset: &'a str,
    pub part: Option<String>,
    pub part_name: &'a str,
    pub take_off_ms: i64,
    /// Who answers for it.
    pub owner: &'a str,
    /// In words: for which request it went out, and how it comes off.
    pub description: String,
    /// The request that it was built for: what its part is made of was said there.
    pub request: Option<i64>,
}

/// Asks for what replaces an interim part when that must come off, in the change in which it went out.
/// Returns the number of the request.
pub async fn follow_on(change: &mut Change, out: GoneOut<'_>, by: &str) -> Result<i64, AppError> {
    let standing = Standing::find(change, out.asset).await?;
    let standing = standing.ok_or_else(|| gone("machine", out.asset))?;
    let base_metal = match out.request {
        None => None,
        Some(number) => made_of(change, number).await?,
    };
    let new = NewRequest {
        asset: out.asset.to_owned(),
        part: out.part,
        part_name: Some(out.part_name.to_owned()),
        damage: Damage::Interim,
        description: out.description,
        machine: if out.take_off_ms > change.now() {
            Machine::Interim {
                take_off_ms: out.take_off_ms,
            }
        } else {
            // Overdue as it is entered, and nobody has said that it stopped.
            Machine::Runs
        },
        asked_by: out.owner.to_owned(),
        needed_by_ms: Some(out.take_off_ms),
        danger: false,
        // It runs on the machine, and is at hand when it comes off.
        at_cell_ms: None,
        spare: NewSpare::default(),
        base_metal,
        tag: None,
        mass_g: None,
    };
    let inserted = insert(change, &new, &standing, by).await?;
    Ok(inserted.number)
}

/// What was said of the metal of a request's part.
async fn made_of(change: &mut Change, number: i64) -> Result<Option<NewMetal>, AppError> {
    let history = detail::history(change.connection(), number).await?;
    let metal = history
        .into_iter()
        .next()
        .and_then(|newest| newest.told.metal);
    Ok(metal.map(|metal| NewMetal {
        metal: metal.code,
        known: metal.known,
    }))
}

/// Moves when a request is needed, where the end of the interim part that it replaces has moved.
///
/// Nothing once it is done with, or where somebody has said another time than that end was.
pub async fn move_needed_by(
    change: &mut Change,
    number: i64,
    (from_ms, to_ms): (i64, i64),
    why: &str,
    (by, zone): (&str, Tz),
) -> Result<(), AppError> {
    let Some(request) = queries::by_number(change.connection(), number).await? else {
        return Ok(());
    };
    let history = detail::history(change.connection(), number).await?;
    let Some(newest) = history.into_iter().next() else {
        return Ok(());
    };
    let follows = newest.told.needed_by_ms.is_none_or(|told| told == from_ms);
    if !follows || newest.told.needed_by_ms == Some(to_ms) {
        return Ok(());
    }
    let after = Detail {
        sequence: newest.sequence + 1,
        entered_by: by.to_owned(),
        entered_ms: change.now(),
        why: why.to_owned(),
        told: Told {
            needed_by_ms: Some(to_ms),
            ..newest.told.clone()
        },
    };
    detail::insert(change.connection(), request.id, &after).await?;
    detail::note(change, number, &newest, &after, (zone, None)).await?;
    Ok(())
}

/// A request that was inserted.
struct Inserted {
    number: i64,
    /// The part's.
    name: String,
    journal: i64,
}

async fn insert(
    change: &mut Change,
    new: &NewRequest,
    standing: &Standing,
    by: &str,
) -> Result<Inserted, AppError> {
    let part = match &new.part {
        None => None,
        Some(code) => {
            let part = queries::part(change.connection(), code).await?;
            Some(part.ok_or_else(|| gone("part", code))?)
        }
    };
    let base_metal = match &new.base_metal {
        None => None,
        Some(NewMetal { metal, .. }) => {
            let found = queries::metal_named(change.connection(), metal).await?;
            let (id, _) = found.ok_or_else(|| gone("metal", metal))?;
            Some(id)
        }
    };
    let recipes = match &part {
        None => Vec::new(),
        Some(part) => queries::recipes(change.connection(), part.id).await?,
    };
    let listed = part.as_ref().map_or("", |part| part.name.as_str());
    let name = new.part_name.as_deref().unwrap_or(listed);
    let filed = Filed {
        number: queries::next_number(change.connection()).await?,
        asset: standing.asset.id,
        part: part.as_ref().map(|part| part.id),
        part_name: name,
        at: change.now(),
        by,
        recipes: &recipes,
        base_metal,
    };
    queries::insert(change.connection(), new, &filed).await?;
    let journal = note(change, new, &filed).await?;
    note_down(change, new.machine, standing, filed.number).await?;
    Ok(Inserted {
        number: filed.number,
        name: name.to_owned(),
        journal,
    })
}

/// Hangs the photos that came with a form on their request, and says so in words.
pub async fn hang(
    change: &mut Change,
    who: &Who,
    number: i64,
    photos: Vec<Named>,
) -> Result<Result<String, FieldErrors>, AppError> {
    if photos.is_empty() {
        return Ok(Ok(String::new()));
    }
    let holder = Holder::request(change.connection(), number).await?;
    let holder =
        holder.ok_or_else(|| AppError::internal("a request that was just filed is gone"))?;
    let hung = hang_all(change, who, &holder, "", photos).await?;
    Ok(hung.map(|hung| match hung.new.len() {
        1 => ", with a photo".to_owned(),
        count => format!(", with {count} photos"),
    }))
}

/// Whether a tag hangs on the part of another open request than this one.
pub async fn hangs_elsewhere(
    change: &mut Change,
    tag: Option<&str>,
    own: Option<i64>,
) -> Result<Option<String>, AppError> {
    let Some(tag) = tag else {
        return Ok(None);
    };
    let other = queries::tagged(change.connection(), tag).await?;
    let other = other.filter(|other| Some(other.number) != own);
    Ok(other.map(|other| {
        format!(
            "tag {tag} hangs on R{}, {} {}; read the tag again, or hang another",
            other.number, other.asset, other.part_name
        )
    }))
}

fn code(number: i64) -> Result<RequestCode, AppError> {
    format!("R{number}").parse().map_err(AppError::internal)
}

async fn note(change: &mut Change, new: &NewRequest, filed: &Filed<'_>) -> Result<i64, AppError> {
    let content = RequestFiled {
        number: filed.number,
        new,
        part_name: filed.part_name,
        reported_by: filed.by,
        recipes: filed.recipes,
    };
    let subject = Subject::new("request", format!("R{}", filed.number));
    change.journal("request.filed", subject, content).await
}

/// Sets from when the machine is down, if this says so anew. One on an interim part stops when that must
/// come off; one that is down already is said to run again by a report, which then knows of that part.
async fn note_down(
    change: &mut Change,
    machine: Machine,
    standing: &Standing,
    request: i64,
) -> Result<(), AppError> {
    let from_ms = match machine {
        Machine::Down { since_ms } => since_ms,
        Machine::Expected { fails_ms } => fails_ms,
        Machine::Interim { take_off_ms } => take_off_ms,
        Machine::Runs => return Ok(()),
    };
    if !standing.is_news(from_ms) {
        return Ok(());
    }
    let more = json!({ "at_ms": from_ms, "request": request });
    standing.write(change, Some(from_ms), more).await
}

/// A worn part may be found on a machine that is down already; then no date is to come.
fn contradiction(machine: Machine, standing: &Standing, zone: Tz) -> Option<String> {
    let down = standing.stop_ms().filter(|_| standing.is_down)?;
    match machine {
        Machine::Down { .. } | Machine::Runs | Machine::Interim { .. } => None,
        Machine::Expected { .. } => Some(format!(
            "{} has been down since {}; choose 'damaged', or tick 'no date known'",
            standing.asset.name,
            moment(down, zone)
        )),
    }
}

pub(super) fn gone(what: &str, code: &str) -> AppError {
    AppError::Conflict(format!(
        "the {what} {code} is no longer there; open the form again"
    ))
}
