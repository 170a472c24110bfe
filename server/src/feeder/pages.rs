//! The page of the feeder: what lies in it, and what comes next.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use mendpost_core::people::Act;

use super::look::{Look, Want};
use super::queries;
use super::undo::{Undo, undo_of};
use crate::AppState;
use crate::book::queries::{BookLine, InFeeder, of_feeder};
use crate::drawing::{Drawing, Mark};
use crate::error::AppError;
use crate::page::{Layout, Screen, grams_down, grams_exact, page, whole};
use crate::people::Visit;
use crate::powder::columns::{self, Column, Fill, Layer};
use crate::powder::lot_path;
use crate::words::Words;
use crate::words::powder::{moved, place};
use crate::words::work::sentence;

#[derive(Template)]
#[template(path = "feeder/show.html")]
struct FeederPage {
    page: Layout,
    answer: String,
    reason: String,
    drawn: Option<Drawing>,
    held: Vec<Held>,
    next: Vec<Next>,
    may: bool,
    /// One lot is in it, so that it can be poured back.
    one_lot: bool,
    undo: Option<Undo>,
    lines: Vec<Line>,
    emptied: String,
}

struct Held {
    path: String,
    lot: String,
    powder: String,
    grams: String,
    share: String,
}

struct Next {
    path: String,
    request: String,
    what: String,
    grams: String,
    lots: String,
}

struct Line {
    when: String,
    what: String,
    from: String,
    to: String,
    grams: String,
    sequence: i64,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let look = Look::load(&mut reading, visit.moment()?).await?;
    let lines = of_feeder(&mut *reading, 20).await?;
    let emptied = queries::last_emptied(&mut *reading).await?;
    drop(reading);
    let layout = visit.layout(Screen::Powder, "Feeder").await?;
    let words = Words::new(&look.situation);
    let wants = look.wants();
    let (answer, reason) = answer(&words, &look, wants.first());
    page(&FeederPage {
        answer,
        reason,
        drawn: drawn(&look),
        held: look
            .feeder
            .iter()
            .map(|it| held(&words, &look, it))
            .collect(),
        next: wants
            .iter()
            .take(4)
            .map(|it| next(&words, &look, it))
            .collect(),
        may: visit.may(Act::BookPowder),
        one_lot: look.feeder.len() == 1,
        undo: undo_of(&state, &visit).await?,
        lines: lines.iter().map(|it| line(&layout, it)).collect(),
        emptied: emptied.map_or_else(
            || "never emptied by this book".to_owned(),
            |(at, clean)| {
                let how = if clean {
                    "emptied and cleaned"
                } else {
                    "emptied, not cleaned"
                };
                format!("{how} {}", layout.moment(&at))
            },
        ),
        page: layout,
    })
}

fn answer(words: &Words<'_>, look: &Look, first: Option<&Want>) -> (String, String) {
    let lots: Vec<&str> = look.feeder.iter().map(|it| it.lot.as_str()).collect();
    let grams = grams_down(look.in_feeder().0);
    let residue = look.situation.cell.feeder.as_ref();
    match (lots.as_slice(), residue, first) {
        ([], None, Some(want)) => (
            format!("Draw for {}: the feeder is empty and clean.", want.request),
            sentence(&words.request(want.request.as_str())) + ".",
        ),
        ([], None, None) => ("The feeder is empty and clean.".to_owned(), String::new()),
        ([], Some(powder), _) => (
            format!(
                "The feeder is empty, and not clean of {}.",
                words.powder(powder.as_str())
            ),
            "It takes the same powder; clean it before another.".to_owned(),
        ),
        ([lot], ..) => (
            format!("{grams} of {lot} are in the feeder."),
            String::new(),
        ),
        (lots, ..) => (
            format!("{grams} of {} are mixed in the feeder.", lots.join(" and ")),
            "What is sprayed from now on is traced to each of them, until it is emptied."
                .to_owned(),
        ),
    }
}

fn drawn(look: &Look) -> Option<Drawing> {
    let layers: Vec<Layer> = look
        .feeder
        .iter()
        .map(|it| Layer {
            number: it.lot.to_string(),
            grams: it.mass.grams_on_hand(),
            committed_g: 0,
            fill: Fill::Committed,
            expires: false,
            facts: Vec::new(),
            next: false,
        })
        .collect();
    let heel = look.situation.cell.heel_g;
    (!layers.is_empty()).then(|| {
        let column = Column {
            name: "Feeder".to_owned(),
            below: vec![
                grams_down(look.in_feeder().0),
                format!("heel {} g", whole(heel)),
            ],
            layers,
        };
        columns::draw(&[column], 620, 120.0)
    })
}

fn held(words: &Words<'_>, look: &Look, it: &InFeeder) -> Held {
    let all = look.in_feeder().0.max(1);
    Held {
        path: lot_path(it.lot.as_str()),
        lot: it.lot.to_string(),
        powder: sentence(&words.powder_short(it.powder.as_str())),
        grams: grams_exact(it.mass.0),
        share: format!("{} %", (it.mass.0 * 100 + all / 2) / all),
    }
}

fn next(words: &Words<'_>, look: &Look, want: &Want) -> Next {
    let request = look.situation.request(&want.request);
    let what = request.map_or_else(String::new, |it| {
        sentence(&words.asset_part(it.asset.as_str(), &it.part_name))
    });
    let lots: Vec<&str> = want.purpose.lots.iter().map(|it| it.as_str()).collect();
    Next {
        path: format!("/feeder/draw?for={}", want.request),
        request: want.request.to_string(),
        what,
        grams: format!("{} g", whole(want.grams)),
        lots: lots.join(" and "),
    }
}

fn line(page: &Layout, row: &BookLine) -> Line {
    let it = &row.movement;
    let back = if row.taken_back {
        ", taken back since"
    } else {
        ""
    };
    Line {
        when: page.moment(&row.at_ms),
        what: format!("{}{back}", moved(it.reason)),
        from: place(&it.from),
        to: place(&it.to),
        grams: format!("{} of {}", grams_exact(it.mass.0), it.lot),
        sequence: row.sequence,
    }
}
