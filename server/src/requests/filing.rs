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
use super::queries::{self, AssetRow, Filed};
use crate::AppState;
use crate::attachment::{Holder, Named, hang_all};
use crate::change::Change;
use crate::error::AppError;
use crate::form::FieldErrors;
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

#[derive(Serialize)]
struct AssetDown<'a> {
    asset: &'a str,
    down_from_ms: i64,
    before_ms: Option<i64>,
    request: i64,
    version: i64,
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
    let asset = queries::asset(change.connection(), &new.asset).await?;
    let asset = asset.ok_or_else(|| gone("machine", &new.asset))?;
    let mut errors = FieldErrors::default();
    if let Some(text) = contradiction(new.machine, &asset, zone, change.now()) {
        errors.add("damage", text);
    }
    if let Some(text) = hangs_elsewhere(&mut change, new.tag.as_deref(), None).await? {
        errors.add("tag", text);
    }
    if !errors.is_empty() {
        return Ok(Err(errors));
    }
    let filed = insert(&mut change, new, &asset, &who.name).await?;
    let pictures = match hang(&mut change, who, filed.number, photos).await? {
        Ok(pictures) => pictures,
        Err(errors) => return Ok(Err(errors)),
    };
    let code = code(filed.number)?;
    let Inserted { name, journal, .. } = filed;
    let text = format!(
        "{code}, {} {name}{pictures}. Journal {journal}.",
        asset.name
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
    let asset = queries::asset(change.connection(), out.asset).await?;
    let asset = asset.ok_or_else(|| gone("machine", out.asset))?;
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
    let inserted = insert(change, &new, &asset, by).await?;
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

/// Moves when a request is needed, where the end of the interim part that it replaces has moved; nothing
/// once it is done with, or if that is said of it already.
pub async fn move_needed_by(
    change: &mut Change,
    number: i64,
    at_ms: i64,
    why: &str,
    by: &str,
) -> Result<(), AppError> {
    let Some(request) = queries::by_number(change.connection(), number).await? else {
        return Ok(());
    };
    let history = detail::history(change.connection(), number).await?;
    let Some(newest) = history.into_iter().next() else {
        return Ok(());
    };
    if newest.told.needed_by_ms == Some(at_ms) {
        return Ok(());
    }
    let after = Detail {
        sequence: newest.sequence + 1,
        entered_by: by.to_owned(),
        entered_ms: change.now(),
        why: why.to_owned(),
        told: Told {
            needed_by_ms: Some(at_ms),
            ..newest.told
        },
    };
    detail::insert(change.connection(), request.id, &after).await?;
    let content = json!({ "version": after.sequence, "needed_by_ms": at_ms, "why": why });
    let subject = Subject::new("request", format!("R{number}"));
    change
        .journal("request.put-right", subject, content)
        .await?;
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
    asset: &AssetRow,
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
        asset: asset.id,
        part: part.as_ref().map(|part| part.id),
        part_name: name,
        at: change.now(),
        by,
        recipes: &recipes,
        base_metal,
    };
    queries::insert(change.connection(), new, &filed).await?;
    let journal = note(change, new, &filed).await?;
    note_down(change, new, asset, filed.number).await?;
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

/// Sets when the machine is down, if this says so anew.
async fn note_down(
    change: &mut Change,
    new: &NewRequest,
    asset: &AssetRow,
    request: i64,
) -> Result<(), AppError> {
    let Some(from_ms) = newly_down(new.machine, asset.down_from_ms, change.now()) else {
        return Ok(());
    };
    queries::set_down(change.connection(), asset.id, from_ms).await?;
    let content = AssetDown {
        asset: &new.asset,
        down_from_ms: from_ms,
        before_ms: asset.down_from_ms,
        request,
        version: asset.version + 1,
    };
    let subject = Subject::new("asset", &new.asset);
    change.journal("asset.down", subject, content).await?;
    Ok(())
}

/// From when the machine is down, if that is news: a machine that is down already stays so from the
/// time that was told first, and one that was to fail may fail sooner, never later. One on an interim
/// part stops when that must come off.
fn newly_down(machine: Machine, known_ms: Option<i64>, now: i64) -> Option<i64> {
    let told = match machine {
        Machine::Down { since_ms } => since_ms,
        Machine::Expected { fails_ms } => fails_ms,
        Machine::Interim { take_off_ms } => take_off_ms,
        Machine::Runs => return None,
    };
    match known_ms {
        Some(known) if known <= now || known <= told => None,
        _ => Some(told),
    }
}

/// A worn part may be found on a machine that is down already; then no date is to come.
fn contradiction(machine: Machine, asset: &AssetRow, zone: Tz, now: i64) -> Option<String> {
    let down = asset.down_from_ms.filter(|from| *from <= now)?;
    match machine {
        Machine::Down { .. } | Machine::Runs | Machine::Interim { .. } => None,
        Machine::Expected { .. } => Some(format!(
            "{} has been down since {}; choose 'damaged', or tick 'no date known'",
            asset.name,
            moment(down, zone)
        )),
    }
}

fn gone(what: &str, code: &str) -> AppError {
    AppError::Conflict(format!(
        "the {what} {code} is no longer there; open the form again"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: i64 = 1_000_000;

    /// What was known first stays, unless the machine stops sooner than expected.
    #[test]
    fn only_news_changes_when_a_machine_is_down() {
        let down = Machine::Down { since_ms: NOW - 5 };
        let expected = Machine::Expected { fails_ms: NOW + 50 };
        let interim = Machine::Interim {
            take_off_ms: NOW + 70,
        };
        for (machine, known, then) in [
            (down, None, Some(NOW - 5)),
            (down, Some(NOW - 1), None),
            (down, Some(NOW + 20), Some(NOW - 5)),
            (expected, None, Some(NOW + 50)),
            (expected, Some(NOW + 20), None),
            (expected, Some(NOW + 90), Some(NOW + 50)),
            (interim, None, Some(NOW + 70)),
            (interim, Some(NOW - 1), None),
            (Machine::Runs, None, None),
            (Machine::Runs, Some(NOW + 20), None),
        ] {
            assert_eq!(
                newly_down(machine, known, NOW),
                then,
                "{machine:?}, {known:?}"
            );
        }
    }
}
