//! Filing a request: one change that inserts it with its ways, and notes that its machine is down.

use axum::response::Response;
use chrono_tz::Tz;
use mendpost_core::code::RequestCode;
use mendpost_core::journal::Subject;
use serde::Serialize;

use super::form::{Machine, NewRequest};
use super::path;
use super::queries::{self, AssetRow, Filed};
use crate::AppState;
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

/// Files a request, or says which fields contradict what the site knows.
pub async fn file(
    state: &AppState,
    who: &Who,
    new: &NewRequest,
    zone: Tz,
) -> Result<Result<Response, FieldErrors>, AppError> {
    let mut change = Change::begin(state, who).await?;
    let asset = queries::asset(change.connection(), &new.asset).await?;
    let asset = asset.ok_or_else(|| gone("machine", &new.asset))?;
    if let Some(text) = contradiction(new.machine, &asset, zone, change.now()) {
        let mut errors = FieldErrors::default();
        errors.add("machine", text);
        return Ok(Err(errors));
    }
    let part = match &new.part {
        None => None,
        Some(code) => {
            let part = queries::part(change.connection(), code).await?;
            Some(part.ok_or_else(|| gone("part", code))?)
        }
    };
    let recipes = match &part {
        None => Vec::new(),
        Some(part) => queries::recipes(change.connection(), part.id).await?,
    };
    let listed = part.as_ref().map_or("", |part| part.name.as_str());
    let part_name = new.part_name.as_deref().unwrap_or(listed);
    let filed = Filed {
        number: queries::next_number(change.connection()).await?,
        asset: asset.id,
        part: part.as_ref().map(|part| part.id),
        part_name,
        at: change.now(),
        by: &who.name,
        recipes: &recipes,
    };
    queries::insert(change.connection(), new, &filed).await?;
    let journal = note(&mut change, new, &filed).await?;
    note_down(&mut change, new, &asset, filed.number).await?;
    let code: RequestCode = format!("R{}", filed.number)
        .parse()
        .map_err(AppError::internal)?;
    let text = format!("{code}, {} {part_name}. Journal {journal}.", asset.name);
    let notice = Notice::done("SAVED", text);
    Ok(Ok(change.finish(who, &path(&code), notice).await?))
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
/// time that was told first, and one that was to fail may fail sooner, never later.
fn newly_down(machine: Machine, known_ms: Option<i64>, now: i64) -> Option<i64> {
    let told = match machine {
        Machine::Down { since_ms } => since_ms,
        Machine::Expected { fails_ms } => fails_ms,
        Machine::Runs => return None,
    };
    match known_ms {
        Some(known) if known <= now || known <= told => None,
        _ => Some(told),
    }
}

fn contradiction(machine: Machine, asset: &AssetRow, zone: Tz, now: i64) -> Option<String> {
    let down = asset.down_from_ms.filter(|from| *from <= now)?;
    match machine {
        Machine::Down { .. } => None,
        Machine::Expected { .. } | Machine::Runs => Some(format!(
            "{} has been down since {}; choose 'is down'",
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
        for (machine, known, then) in [
            (down, None, Some(NOW - 5)),
            (down, Some(NOW - 1), None),
            (down, Some(NOW + 20), Some(NOW - 5)),
            (expected, None, Some(NOW + 50)),
            (expected, Some(NOW + 20), None),
            (expected, Some(NOW + 90), Some(NOW + 50)),
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
