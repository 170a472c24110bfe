//! Pouring from a container into the feeder, weighed before and after.

use axum::extract::{Query, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::powder::Reason;
use mendpost_core::powder::book::Place;
use mendpost_core::powder::draw::{Doubt, Remedy};
use serde_json::json;

use super::PATH;
use super::draw_form::{DrawForm, TRIAL, Weighed, gap, weighed};
use super::draw_page::draw_page;
use super::look::{Look, Want, unwaived};
use super::queries::{self, Container, Open};
use crate::AppState;
use crate::book::{self, Line};
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::{Notice, grams_exact};
use crate::people::{Visit, Who};
use crate::words::draw::doubt;

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Query(form): Query<DrawForm>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let look = Look::load(&mut reading, visit.moment()?).await?;
    let open = match look.container(&form.container) {
        Some(container) => queries::open(&mut *reading, container.id).await?,
        None => Open::default(),
    };
    draw_page(&visit, &look, open, form, FieldErrors::default()).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<DrawForm>,
) -> Result<Response, AppError> {
    // All is judged in the change itself, so that nobody else pours meanwhile.
    let mut change = Change::begin(&state, &who).await?;
    let look = Look::load(change.connection(), visit.moment()?).await?;
    let mut errors = FieldErrors::default();
    let judged = judge(&mut change, &visit, &look, &form, &mut errors).await?;
    let (Some(draw), true) = (judged, errors.is_empty()) else {
        let open = match look.container(&form.container) {
            Some(container) => queries::open(change.connection(), container.id).await?,
            None => Open::default(),
        };
        drop(change);
        return draw_page(&visit, &look, open, form, errors).await;
    };
    let entry = draw.enter(&mut change).await?;
    let text = draw.told(entry);
    change.finish(&who, PATH, Notice::done("SAVED", text)).await
}

/// A draw that may be entered.
struct New<'a> {
    container: &'a Container,
    want: Option<Want>,
    weighed: Weighed,
    opened_ms: i64,
    /// Whether it stood open before.
    stood_open: bool,
    closed: bool,
    doubts: Vec<Doubt>,
    reason: String,
}

async fn judge<'a>(
    change: &mut Change,
    visit: &Visit,
    look: &'a Look,
    form: &DrawForm,
    errors: &mut FieldErrors,
) -> Result<Option<New<'a>>, AppError> {
    let container = look.container(&form.container);
    if container.is_none() {
        errors.add("container", not_here(&form.container));
    }
    let wants = look.wants();
    let want = wants
        .into_iter()
        .find(|it| it.request.as_str() == form.for_);
    if want.is_none() && form.for_ != TRIAL {
        errors.add(
            "for",
            "choose what it is for, or that it is for a trial piece",
        );
    }
    let opened = form.opened_ms(visit, errors);
    let closed = match form.closed.as_str() {
        "yes" => Some(true),
        "no" => Some(false),
        _ => {
            errors.add("closed", "say whether the container is closed again");
            None
        }
    };
    let reason = form.reason(errors);
    let fields = (
        form.before.as_str(),
        form.after.as_str(),
        form.division.as_str(),
    );
    let weighed = weighed(fields, true, errors);
    let (Some(container), Some(weighed), Some(opened), Some(closed)) =
        (container, weighed, opened, closed)
    else {
        return Ok(None);
    };
    let drawn = weighed.drawn();
    if drawn > container.held.0 {
        errors.add("after", too_much(container, drawn));
    }
    if let Some(fault) = gap(weighed, container.tare, container.held, look.allowance) {
        errors.add("before", fault);
    }
    let open = queries::open(change.connection(), container.id).await?;
    let stood_open = open.since_ms.is_some();
    let stands = Open {
        since_ms: open.since_ms.or(Some(opened)),
        ..open
    };
    let at = visit.moment()?;
    let doubts = look.doubts(container, want.as_ref(), (stands, at), drawn / 1000);
    let waived = queries::waived(change.connection(), container.id, visit.now).await?;
    refuse(
        look,
        container,
        (&doubts, &waived),
        reason.as_deref(),
        errors,
    );
    Ok(Some(New {
        container,
        want,
        weighed,
        opened_ms: opened,
        stood_open,
        closed,
        doubts,
        reason: reason.unwrap_or_default(),
    }))
}

/// Tells what speaks against it, as far as nobody has said that it is drawn all the same.
fn refuse(
    look: &Look,
    container: &Container,
    (doubts, waived): (&[Doubt], &std::collections::BTreeSet<String>),
    reason: Option<&str>,
    errors: &mut FieldErrors,
) {
    let tell = |it: &Doubt| doubt(&look.situation, it);
    if let Some(never) = doubts.iter().find(|it| it.remedy() == Remedy::None) {
        errors.add("container", tell(never));
        return;
    }
    if let Some(two) = unwaived(doubts, waived).first() {
        let text = format!(
            "{}; two people may say that {} is drawn all the same, as stands beside",
            tell(two),
            container.code
        );
        errors.add("container", text);
    }
    let asks = doubts.iter().find(|it| it.remedy() == Remedy::Reason);
    if let (Some(asks), None) = (asks, reason) {
        errors.add(
            "reason",
            format!("{}; say why it is drawn all the same", tell(asks)),
        );
    }
}

fn not_here(typed: &str) -> String {
    match typed.trim() {
        "" => "choose the container that is poured from".to_owned(),
        typed => {
            format!("'{typed}' is no container that holds powder; scan its label, or choose it")
        }
    }
}

fn too_much(container: &Container, drawn: i64) -> String {
    format!(
        "{} were poured, and the book says that {} holds {}; weigh again, or count it first",
        grams_exact(drawn),
        container.code,
        grams_exact(container.held.0)
    )
}

impl New<'_> {
    async fn enter(&self, change: &mut Change) -> Result<i64, AppError> {
        let at_ms = change.now();
        let code = self.container.code.clone();
        let line = Line {
            movement: book::movement(
                &self.container.lot,
                Place::Container(code.clone()),
                Place::Feeder,
                self.weighed.drawn(),
                Reason::Draw,
            ),
            note: &self.reason,
            at_ms,
        };
        let content = json!({
            "container": code,
            "for": self.want.as_ref().map_or(TRIAL, |want| want.request.as_str()),
            "before_mg": self.weighed.before,
            "after_mg": self.weighed.after,
            "division_mg": self.weighed.division,
            "opened_ms": self.opened_ms,
            "closed": self.closed,
            "in_spite_of": self.doubts.iter().map(Doubt::word).collect::<Vec<_>>(),
            "reason": self.reason,
        });
        let subject = Subject::new("lot", &self.container.lot);
        let entry = book::record(change, "powder.drawn", subject, content, &[line]).await?;
        let id = self.container.id;
        if !self.stood_open {
            queries::insert_seal(change.connection(), id, self.opened_ms, true, entry).await?;
        }
        if self.closed {
            queries::insert_seal(change.connection(), id, at_ms, false, entry).await?;
        }
        queries::set_residue(change.connection(), Some(&self.container.powder)).await?;
        Ok(entry)
    }

    /// What there is to say, with what comes next.
    fn told(&self, entry: i64) -> String {
        let close = if self.closed {
            ""
        } else {
            "Close the container. "
        };
        let next = match &self.want {
            Some(want) => format!("Then begin {}.", want.request),
            None => "Then spray the trial piece.".to_owned(),
        };
        format!(
            "{} of {} into the feeder, journal {entry}. {close}Put the label {} on the feeder. {next}",
            grams_exact(self.weighed.drawn()),
            self.container.code,
            self.container.lot,
        )
    }
}
