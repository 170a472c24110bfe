//! What a lot, a nozzle or a bank touched: every part, where it is now, and whom to tell; with boxes to tick on paper.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::queries::{self, Touched, Whereabouts};
use mendpost_core::people::Act;

use crate::AppState;
use crate::book::queries::feeder;
use crate::build::{self, queries::under_way};
use crate::error::AppError;
use crate::page::{Layout, Screen, grams_exact, page};
use crate::people::Visit;
use crate::powder::{lot_path, queries::lot};
use crate::words::work::flag;

#[derive(Template)]
#[template(path = "trace/touched.html")]
struct TouchedPage {
    page: Layout,
    answer: String,
    reason: String,
    /// What is traced, as 'Lot L0393'.
    what: String,
    back: (String, String),
    rows: Vec<Row>,
    /// The address of older builds.
    older: Option<String>,
    /// Where the rest of a lot is: place and grams.
    rest: Vec<(String, String)>,
    weighs: bool,
    /// Where all of it is held in one act.
    hold: Option<String>,
}

struct Row {
    request: i64,
    what: String,
    tag: String,
    flags: String,
    asked_by: String,
    build: i64,
    build_path: String,
    begun: String,
    grams: String,
    now: &'static str,
    mark: &'static str,
}

/// Builds below this number.
#[derive(Deserialize)]
pub(super) struct From {
    before: Option<i64>,
}

/// So many builds stand on a page.
const MOST: i64 = 200;

pub(super) async fn by_lot(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
    Query(from): Query<From>,
) -> Result<Response, AppError> {
    let found = lot(&state.db.read, &code).await?;
    let found = found.ok_or_else(|| AppError::NotFound {
        what: format!("lot {code}"),
    })?;
    let touched = queries::by_lot(&state.db.read, &code).await?;
    let rest = queries::rest_of(&state.db.read, &code).await?;
    let layout = visit
        .layout(Screen::Powder, &format!("Trace of {code}"))
        .await?;
    let rest = rest.into_iter().filter(|it| it.0 != "depot");
    let rest = rest
        .map(|(kind, container, mass)| (place(&kind, container), grams_exact(mass)))
        .collect();
    let back = (lot_path(&code), format!("lot {code}"));
    let mut reason = format!(
        "{} of maker’s lot {}.",
        found.powder_name,
        maker(&found.maker_lot)
    );
    let fed = feeder(&state.db.read).await?;
    let fed = fed.iter().any(|it| it.lot.as_str() == code);
    let building = under_way(&state.db.read).await?.filter(|_| fed);
    if let Some(build) = building {
        reason += &format!(
            " It is in the feeder for build {}, R{}, which is under way.",
            build.number, build.request
        );
    }
    let hold = visit
        .may(Act::HoldLot)
        .then(|| format!("{}/trace/hold", lot_path(&code)));
    show(
        layout,
        (format!("Lot {code}"), reason),
        back,
        Builds::of_all(touched, from.before, &format!("{}/trace", lot_path(&code))),
        (rest, hold),
    )
}

pub(super) async fn by_nozzle(
    State(state): State<AppState>,
    visit: Visit,
    Path(nozzle): Path<String>,
    Query(from): Query<From>,
) -> Result<Response, AppError> {
    let touched = queries::by_nozzle(
        &state.db.read,
        &nozzle,
        from.before.unwrap_or(i64::MAX),
        MOST + 1,
    )
    .await?;
    let layout = visit
        .layout(Screen::Cell, &format!("Trace of nozzle {nozzle}"))
        .await?;
    let back = ("/cell".to_owned(), "the cell".to_owned());
    show(
        layout,
        (format!("Nozzle {nozzle}"), String::new()),
        back,
        Builds::of_page(touched, from.before, &format!("/trace/nozzles/{nozzle}")),
        (Vec::new(), None),
    )
}

pub(super) async fn by_bank(
    State(state): State<AppState>,
    visit: Visit,
    Path(bank): Path<String>,
    Query(from): Query<From>,
) -> Result<Response, AppError> {
    let touched = queries::by_bank(
        &state.db.read,
        &bank,
        from.before.unwrap_or(i64::MAX),
        MOST + 1,
    )
    .await?;
    let layout = visit
        .layout(Screen::Cell, &format!("Trace of bank {bank}"))
        .await?;
    let back = ("/cell".to_owned(), "the cell".to_owned());
    let reason = "By what was planned when each was begun.".to_owned();
    show(
        layout,
        (format!("Bank {bank}"), reason),
        back,
        Builds::of_page(touched, from.before, &format!("/trace/banks/{bank}")),
        (Vec::new(), None),
    )
}

/// What something touched, as a page shows it.
struct Builds {
    /// On this page.
    shown: Vec<Touched>,
    /// In all, and how many of those have gone out; none where only a page was looked at.
    counted: Option<(usize, usize)>,
    older: Option<String>,
}

impl Builds {
    /// A page of all that were found.
    fn of_all(all: Vec<Touched>, before: Option<i64>, path: &str) -> Builds {
        let out = |it: &&Touched| matches!(it.now, Whereabouts::Fitted | Whereabouts::Released);
        let counted = (all.len(), all.iter().filter(out).count());
        let below = all.into_iter().rev();
        let below = below.filter(|it| before.is_none_or(|before| it.build < before));
        let most = usize::try_from(MOST).unwrap_or(usize::MAX);
        Builds {
            counted: Some(counted),
            ..Builds::of_page(below.take(most + 1).collect(), before, path)
        }
    }

    /// A page, found with one more than stands on it; the newest first.
    fn of_page(mut found: Vec<Touched>, before: Option<i64>, path: &str) -> Builds {
        let most = usize::try_from(MOST).unwrap_or(usize::MAX);
        let more = found.len() > most;
        found.truncate(most);
        let older = found.last().filter(|_| more);
        let older = older.map(|last| format!("{path}?before={}", last.build));
        let out = |it: &&Touched| matches!(it.now, Whereabouts::Fitted | Whereabouts::Released);
        let counted = (found.len(), found.iter().filter(out).count());
        Builds {
            counted: (!more && before.is_none()).then_some(counted),
            shown: found,
            older,
        }
    }

    fn answer(&self, what: &str) -> String {
        match self.counted {
            None => format!("{what} is in the parts below and in others: see the other pages too."),
            Some((0, _)) => format!("{what} is in no part."),
            Some((1, 0)) => format!("{what} is in one part, which is still here."),
            Some((1, _)) => {
                format!("{what} is in one part, which has gone out: call it off first.")
            }
            Some((all, 0)) => format!("{what} is in {all} parts, all of them still here."),
            Some((all, out)) => {
                format!("{what} is in {all} parts; {out} have gone out: call those off first.")
            }
        }
    }
}

fn show(
    layout: Layout,
    (what, reason): (String, String),
    back: (String, String),
    builds: Builds,
    (rest, hold): (Vec<(String, String)>, Option<String>),
) -> Result<Response, AppError> {
    let mut rows: Vec<&Touched> = builds.shown.iter().collect();
    rows.sort_by_key(|it| (it.now, it.build));
    page(&TouchedPage {
        answer: builds.answer(&what),
        reason,
        what,
        back,
        weighs: rows.iter().any(|it| it.milligrams.is_some()),
        rows: rows.into_iter().map(|it| row(&layout, it)).collect(),
        older: builds.older,
        rest,
        hold,
        page: layout,
    })
}

fn row(page: &Layout, it: &Touched) -> Row {
    let (mark, now) = match it.now {
        Whereabouts::Fitted => ("done", "fitted"),
        Whereabouts::Released => ("ready", "released, not fitted"),
        Whereabouts::InWork => ("work", "in work"),
        Whereabouts::UnderNozzle => ("work", "under the nozzle"),
        Whereabouts::Scrapped => ("lost", "scrapped"),
        Whereabouts::GivenUp => ("lost", "given up"),
    };
    let flags: Vec<&str> = it.flags.iter().map(|of| flag(*of)).collect();
    Row {
        request: it.request,
        what: format!("{} {}", it.asset, it.part_name),
        tag: it
            .tag
            .clone()
            .map_or_else(|| "no tag".to_owned(), |tag| format!("tag {tag}")),
        flags: flags.join(", "),
        asked_by: it.asked_by.clone(),
        build: it.build,
        build_path: build::path(it.build),
        begun: page.moment(&it.begun_ms),
        grams: it.milligrams.map(grams_exact).unwrap_or_default(),
        now,
        mark,
    }
}

fn place(kind: &str, container: Option<String>) -> String {
    match (kind, container) {
        (_, Some(code)) => code,
        ("gap", _) => "missing, or found, at counts".to_owned(),
        ("before", _) => "used before the book began".to_owned(),
        (kind, None) => kind.to_owned(),
    }
}

fn maker(lot: &str) -> &str {
    if lot.is_empty() { "not on record" } else { lot }
}
