//! Posting a count: each gap beside its allowance, a reason for those beyond, and a signature.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::powder::book::Place;
use mendpost_core::powder::{Allowance, Gap, Reason};
use mendpost_core::signature::Meaning;
use serde::Deserialize;
use serde_json::json;

use super::enter::find;
use super::path;
use super::queries::{self, Count, Line};
use crate::AppState;
use crate::book;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, optional_text};
use crate::page::act::SIGN_FIELD;
use crate::page::{Layout, Notice, Screen, grams_exact, page_with};
use crate::people::{Visit, Who};
use crate::powder::{lot_path, stop_lots};
use crate::signature::{Ask, Secret, ask, prove, sign};
use crate::site::weighing::allowance;

#[derive(Template)]
#[template(path = "count/post.html")]
struct PostPage {
    page: Layout,
    number: i64,
    answer: String,
    rows: Vec<Row>,
    left: usize,
    form: PostForm,
    ask: Ask,
    errors: FieldErrors,
}

struct Row {
    lot: String,
    code: String,
    found: String,
    book: String,
    gap: String,
    allowed: String,
    mark: &'static str,
    word: &'static str,
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct PostForm {
    reason: String,
    sign_passphrase: String,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<i64>,
) -> Result<Response, AppError> {
    let count = open(find(&state, number).await?)?;
    post_page(
        &state,
        &visit,
        &who,
        &count,
        PostForm::default(),
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<i64>,
    Posted(form): Posted<PostForm>,
) -> Result<Response, AppError> {
    let count = open(find(&state, number).await?)?;
    let lines = queries::lines(&state.db.read, count.id).await?;
    let site = allowance(&state.db.read).await?;
    let mut errors = FieldErrors::default();
    let reason = errors
        .check("reason", optional_text(&form.reason, 200))
        .flatten();
    let beyond = lines
        .iter()
        .filter(|it| judged(it, site) > Gap::Allowed)
        .count();
    if beyond > 0 && reason.is_none() {
        errors.add(
            "reason",
            format!("{beyond} differ by more than scales allow; say why, or that nobody knows"),
        );
    }
    if lines.iter().all(|it| it.found.is_none()) {
        errors.add_whole("nothing was weighed in this count yet");
    }
    let proof = prove(&state, &visit, &who, &form.sign_passphrase).await?;
    let proof = proof.map_err(|fault| errors.add(SIGN_FIELD, fault)).ok();
    let (Some(proof), true) = (proof, errors.is_empty()) else {
        return post_page(&state, &visit, &who, &count, form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let stands = queries::count(change.connection(), number).await?;
    let now_lines = queries::lines(change.connection(), count.id).await?;
    let same = now_lines.len() == lines.len()
        && now_lines
            .iter()
            .zip(&lines)
            .all(|(now, then)| now.found == then.found);
    if stands.is_none_or(|it| it.posted.is_some()) || !same {
        return Err(AppError::Conflict(format!(
            "count {number} changed at this moment; look at it again before you sign"
        )));
    }
    let note = reason.unwrap_or_default();
    let at_ms = change.now();
    let moved: Vec<book::Line> = lines
        .iter()
        .filter_map(|it| gap_line(it, &note, at_ms))
        .collect();
    let told: Vec<_> = lines
        .iter()
        .filter_map(|it| Some(json!({ "container": it.code, "gap_mg": it.found.as_ref()?.gap() })))
        .collect();
    let content = json!({
        "found": told,
        "reason": note,
        "moved": book::moved(&moved),
    });
    let subject = Subject::new("count", number);
    let entry = sign(
        &mut change,
        "count.posted",
        subject,
        content,
        Meaning::Adjust,
        &proof,
    )
    .await?;
    book::enter(&mut change, &moved, entry).await?;
    sqlx::query!(
        "insert into stock_count_posted (count_id, journal_sequence) values (?, ?)",
        count.id,
        entry
    )
    .execute(change.connection())
    .await?;
    let held = hold(&mut change, number, &lines, site).await?;
    let text = format!(
        "Count {number}: the book says what was found, {} changed, journal {entry}.{held}",
        moved.len()
    );
    change
        .finish(&who, &path(number), Notice::done("SIGNED", text))
        .await
}

/// Stops lots with a container beyond its stop line, until two have counted it again.
async fn hold(
    change: &mut Change,
    number: i64,
    lines: &[Line],
    site: Allowance,
) -> Result<String, AppError> {
    let mut told = String::new();
    for line in lines.iter().filter(|it| judged(it, site) == Gap::Stop) {
        let Some(found) = &line.found else { continue };
        let why = format!(
            "count {number}: {} of {} missing or too much, stop line {}; count again",
            grams_exact(found.gap().0.abs()),
            line.code,
            grams_exact(site.stop_line(found.drawn).0)
        );
        told += &stop_lots(change, std::slice::from_ref(&line.lot), &why).await?;
    }
    Ok(told)
}

/// The movement that makes the book say what was found; none where it does.
fn gap_line<'a>(line: &Line, note: &'a str, at_ms: i64) -> Option<book::Line<'a>> {
    let gap = line.found.as_ref()?.gap().0;
    let held = Place::Container(line.code.clone());
    let (from, to) = match gap {
        0 => return None,
        1.. => (Place::Gap, held),
        _ => (held, Place::Gap),
    };
    let movement = book::movement(&line.lot, from, to, gap.abs(), Reason::Count);
    Some(book::Line {
        movement,
        note,
        at_ms,
    })
}

fn judged(line: &Line, site: Allowance) -> Gap {
    line.found
        .as_ref()
        .map_or(Gap::Allowed, |it| site.judge(it.gap(), it.drawn))
}

fn open(count: Count) -> Result<Count, AppError> {
    match count.posted {
        None => Ok(count),
        Some(entry) => Err(AppError::Conflict(format!(
            "count {} was posted by journal {entry}",
            count.number
        ))),
    }
}

async fn post_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    count: &Count,
    form: PostForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let lines = queries::lines(&state.db.read, count.id).await?;
    let site = allowance(&state.db.read).await?;
    let beyond = lines
        .iter()
        .filter(|it| judged(it, site) > Gap::Allowed)
        .count();
    let answer = match beyond {
        0 => "All that was weighed is within what scales allow: post it.".to_owned(),
        1 => "One container differs by more than scales allow: look for it before you post."
            .to_owned(),
        many => format!(
            "{many} containers differ by more than scales allow: look for it before you post."
        ),
    };
    let mut shown = PostPage {
        page: visit
            .layout(Screen::Powder, &format!("Count {}", count.number))
            .await?,
        number: count.number,
        answer,
        left: lines.iter().filter(|it| it.found.is_none()).count(),
        rows: lines.iter().filter_map(|it| row(it, site)).collect(),
        form,
        ask: ask(state, visit, who, Meaning::Adjust).await?,
        errors,
    };
    shown.ask.error = shown.errors.of(SIGN_FIELD).to_owned();
    page_with(shown.errors.status(), &shown)
}

fn row(line: &Line, site: Allowance) -> Option<Row> {
    let found = line.found.as_ref()?;
    let gap = found.gap().0;
    let (mark, word) = match judged(line, site) {
        Gap::Allowed => ("ready", "allowed"),
        Gap::Watch => ("waits", "look for it"),
        Gap::Stop => ("hold", "stops its lot"),
    };
    Some(Row {
        lot: lot_path(line.lot.as_str()),
        code: line.code.to_string(),
        found: grams_exact(found.found.0),
        book: grams_exact(found.book.0),
        gap: format!("{}{}", if gap > 0 { "+" } else { "" }, grams_exact(gap)),
        allowed: format!(
            "{} / {}",
            grams_exact(site.watch_line(found.drawn).0),
            grams_exact(site.stop_line(found.drawn).0)
        ),
        mark,
        word,
    })
}
