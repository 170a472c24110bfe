//! Adding photos and papers, and taking one off: one change each.

use axum::response::Response;
use serde::Serialize;
use uuid::Uuid;

use super::HOLDER_MAX;
use super::check::{AttachmentHash, Ready};
use super::holder::Holder;
use super::queries::{self, Attached, Hanging, Off};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::page::{Notice, age};
use crate::people::Who;

/// A file that is ready, under the name it was sent by.
#[derive(Debug, Clone)]
pub struct Named {
    pub name: String,
    pub ready: Ready,
}

#[derive(Serialize)]
struct Added<'a> {
    id: Uuid,
    hash: String,
    media_type: &'a str,
    size: usize,
    file_name: &'a str,
    caption: &'a str,
}

#[derive(Serialize)]
struct TakenOff<'a> {
    id: Uuid,
    hash: String,
    reason: &'a str,
}

/// Hangs files on a request or a lot. What hangs there already is not hung twice.
pub async fn add(
    state: &AppState,
    who: &Who,
    holder: &Holder,
    caption: &str,
    files: Vec<Named>,
) -> Result<Result<Response, FieldErrors>, AppError> {
    let mut change = Change::begin(state, who).await?;
    let Hung { last, new, known } = match hang_all(&mut change, who, holder, caption, files).await?
    {
        Ok(hung) => hung,
        Err(errors) => return Ok(Err(errors)),
    };
    let added = match new.as_slice() {
        [one] => format!("“{one}” is on {}.", holder.code()),
        many => format!("{} photos and papers are on {}.", many.len(), holder.code()),
    };
    let there = match known {
        0 => String::new(),
        1 => " One was there already.".to_owned(),
        count => format!(" {count} were there already."),
    };
    let notice = Notice::done("SAVED", format!("{added}{there} Journal {last}."));
    Ok(Ok(change
        .finish(who, &holder.photos_path(), notice)
        .await?))
}

/// What was hung: the journal entry of the last, the names of the new, and how many hung already.
pub struct Hung {
    pub last: i64,
    pub new: Vec<String>,
    pub known: usize,
}

/// Hangs files on a request or a lot as a part of a larger change.
pub async fn hang_all(
    change: &mut Change,
    who: &Who,
    holder: &Holder,
    caption: &str,
    files: Vec<Named>,
) -> Result<Result<Hung, FieldErrors>, AppError> {
    let mut hanging = queries::of(change.connection(), holder).await?;
    hanging.retain(|attached| attached.off.is_none());
    let (known, new) = sort(&hanging, files);
    if let Some(text) = refusal(&hanging, &known, new.len(), change.now()) {
        let mut errors = FieldErrors::default();
        errors.add("files", text);
        return Ok(Err(errors));
    }
    let mut last = 0;
    for file in &new {
        last = hang(change, who, holder, caption, file).await?;
    }
    Ok(Ok(Hung {
        last,
        new: new.into_iter().map(|file| file.name).collect(),
        known: known.len(),
    }))
}

/// Parts what hangs already, or comes twice in one form, from what is new.
fn sort(hanging: &[Attached], files: Vec<Named>) -> (Vec<Named>, Vec<Named>) {
    let (mut known, mut new): (Vec<Named>, Vec<Named>) = (Vec::new(), Vec::new());
    for file in files {
        let hash = file.ready.hash;
        let twice = hanging.iter().any(|attached| attached.hash == hash)
            || new.iter().any(|other| other.ready.hash == hash);
        if twice {
            known.push(file);
        } else {
            new.push(file);
        }
    }
    (known, new)
}

fn refusal(hanging: &[Attached], known: &[Named], new: usize, now: i64) -> Option<String> {
    if new == 0 {
        let file = known.first()?;
        let attached = hanging.iter().find(|there| there.hash == file.ready.hash)?;
        return Some(format!(
            "“{}” is here already: added {} by {}",
            file.name,
            age(attached.added_ms, now),
            attached.added_by
        ));
    }
    (hanging.len() + new > HOLDER_MAX).then(|| {
        format!(
            "{} photos and papers are here already, and at most {HOLDER_MAX} can be; take off what is \
             not needed, or send fewer",
            hanging.len()
        )
    })
}

async fn hang(
    change: &mut Change,
    who: &Who,
    holder: &Holder,
    caption: &str,
    file: &Named,
) -> Result<i64, AppError> {
    let Named { name, ready } = file;
    let id = Uuid::now_v7();
    queries::keep(change.connection(), ready).await?;
    let content = Added {
        id,
        hash: ready.hash.to_string(),
        media_type: ready.shape.media_type(),
        size: ready.bytes.len(),
        file_name: name,
        caption,
    };
    let sequence = change
        .journal("attachment.added", holder.subject(), content)
        .await?;
    let hanging = Hanging {
        id,
        holder,
        hash: ready.hash,
        file_name: name,
        caption,
        person: who.id,
        by: &who.name,
        at_ms: change.now(),
        sequence,
    };
    queries::hang(change.connection(), &hanging).await?;
    Ok(sequence)
}

/// Takes one off; it stays on record.
pub async fn take_off(
    state: &AppState,
    who: &Who,
    holder: &Holder,
    id: Uuid,
    reason: String,
) -> Result<Response, AppError> {
    let mut change = Change::begin(state, who).await?;
    let off = Off {
        reason,
        by: who.name.clone(),
        at_ms: change.now(),
    };
    let there = queries::of(change.connection(), holder).await?;
    let attached = there
        .into_iter()
        .find(|attached| attached.id == id && attached.off.is_none())
        .ok_or_else(|| AppError::Conflict("it was taken off already".to_owned()))?;
    let sequence = note_off(&mut change, holder, id, attached.hash, &off.reason).await?;
    queries::take_off(change.connection(), id, &off, sequence).await?;
    let text = format!(
        "“{}” is taken off {}, and stays on record. Journal {sequence}.",
        attached.file_name,
        holder.code()
    );
    change
        .finish(who, &holder.photos_path(), Notice::done("SAVED", text))
        .await
}

async fn note_off(
    change: &mut Change,
    holder: &Holder,
    id: Uuid,
    hash: AttachmentHash,
    reason: &str,
) -> Result<i64, AppError> {
    let content = TakenOff {
        id,
        hash: hash.to_string(),
        reason,
    };
    change
        .journal("attachment.taken-off", holder.subject(), content)
        .await
}
