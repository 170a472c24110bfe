//! Emptying the feeder: what comes out goes to waste, and the rest of the book is a gap with a reason.

use axum::extract::State;
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::powder::Gap;
use mendpost_core::powder::Reason;
use mendpost_core::powder::book::{Movement, Place, shared};
use mendpost_core::quantity::Milligrams;
use serde::Deserialize;
use serde_json::json;

use super::PATH;
use super::look::Look;
use super::queries;
use crate::AppState;
use crate::book::queries::{in_words, lots, mix};
use crate::book::{self, Line};
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, MOST_WEIGHED_MG, Posted, decimal, optional_text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, grams_exact};
use crate::people::{Visit, Who};
use crate::powder::stop_lots;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct EmptyForm {
    waste: String,
    /// 'yes' if it is clean now.
    clean: String,
    reason: String,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let look = Look::load(&mut reading, visit.moment()?).await?;
    empty_page(&visit, &look, EmptyForm::default(), FieldErrors::default()).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<EmptyForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let look = Look::load(change.connection(), visit.moment()?).await?;
    let held = look.in_feeder().0;
    let mut errors = FieldErrors::default();
    let waste = errors.check("waste", decimal(&form.waste, 3, 0..=MOST_WEIGHED_MG));
    let clean = match form.clean.as_str() {
        "yes" => Some(true),
        "no" => Some(false),
        _ => {
            errors.add("clean", "say whether it is clean now");
            None
        }
    };
    let reason = errors
        .check("reason", optional_text(&form.reason, 200))
        .flatten();
    if let Some(waste) = waste {
        let differs = Milligrams(held - waste);
        if held == 0 && waste > 0 {
            errors.add(
                "waste",
                "by the book nothing was in it, so that nobody knows of which lot this is; count the lot that was drawn last",
            );
        } else if look.allowance.judge(differs, look.in_feeder()) > Gap::Allowed && reason.is_none()
        {
            errors.add("reason", differs_text(&look, waste));
        }
    }
    let (Some(waste), Some(clean), true) = (waste, clean, errors.is_empty()) else {
        drop(change);
        return empty_page(&visit, &look, form, errors).await;
    };
    let note = reason.unwrap_or_default();
    let at_ms = change.now();
    let lines: Vec<Line> = movements(&look, waste)
        .into_iter()
        .map(|movement| Line {
            movement,
            note: &note,
            at_ms,
        })
        .collect();
    let content = json!({ "waste_mg": waste, "book_mg": held, "clean": clean, "reason": note });
    let subject = Subject::new("cell", "feeder");
    let entry = book::record(&mut change, "feeder.emptied", subject, content, &lines).await?;
    queries::insert_emptied(change.connection(), at_ms, clean, entry).await?;
    if clean {
        queries::set_residue(change.connection(), None).await?;
    }
    let held_back = judge(&mut change, &look, (held, waste)).await?;
    let text = match clean {
        true => format!("The feeder is empty and clean, journal {entry}.{held_back}"),
        false => format!(
            "The feeder is empty and not clean, journal {entry}. It takes the same powder only.{held_back}"
        ),
    };
    change.finish(&who, PATH, Notice::done("SAVED", text)).await
}

/// What leaves the feeder, so that the book has nothing in it: of each lot as its share is. Where more came out
/// than the book knew of, that much is found first.
fn movements(look: &Look, waste: i64) -> Vec<Movement> {
    let mix = mix(&look.feeder);
    let held = look.in_feeder().0;
    let mut movements: Vec<Movement> = Vec::new();
    let mut go = |mass: i64, from: &Place, to: &Place, reason| {
        for (lot, mass) in shared(&mix, Milligrams(mass.max(0))) {
            movements.push(book::movement(
                &lot,
                from.clone(),
                to.clone(),
                mass.0,
                reason,
            ));
        }
    };
    go(waste - held, &Place::Gap, &Place::Feeder, Reason::Count);
    go(held - waste, &Place::Feeder, &Place::Gap, Reason::Count);
    // What is left of each lot now is its share of the waste, but for a milligram of rounding.
    for (lot, there) in &mix {
        let came: i64 = movements
            .iter()
            .filter(|it| it.lot == *lot)
            .map(|it| {
                if it.to == Place::Feeder {
                    it.mass.0
                } else {
                    -it.mass.0
                }
            })
            .sum();
        let left = there.0 + came;
        if left > 0 {
            movements.push(book::movement(
                lot,
                Place::Feeder,
                Place::Waste,
                left,
                Reason::WriteOff,
            ));
        }
    }
    movements
}

/// Holds the lots of a gap beyond the stop line; what there is to say of it.
async fn judge(
    change: &mut Change,
    look: &Look,
    (held, waste): (i64, i64),
) -> Result<String, AppError> {
    let gap = Milligrams(held - waste);
    if look.allowance.judge(gap, Milligrams(held)) < Gap::Stop {
        return Ok(String::new());
    }
    let line = look.allowance.stop_line(Milligrams(held));
    let why = format!(
        "the feeder was emptied with {} unexplained, stop line {}; count again",
        grams_exact(gap.0.abs()),
        grams_exact(line.0)
    );
    stop_lots(change, &lots(&look.feeder), &why).await
}

fn differs_text(look: &Look, waste: i64) -> String {
    let held = look.in_feeder();
    format!(
        "by the book {} were in it, {} from what came out, and {} are allowed; say why",
        grams_exact(held.0),
        grams_exact((held.0 - waste).abs()),
        grams_exact(look.allowance.watch_line(held).0)
    )
}

async fn empty_page(
    visit: &Visit,
    look: &Look,
    form: EmptyForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let held = in_words(&look.feeder);
    let held = if held.is_empty() {
        "nothing".to_owned()
    } else {
        held.join(" and ")
    };
    let clean = vec![
        ("yes".to_owned(), "clean: any powder may follow".to_owned()),
        (
            "no".to_owned(),
            "not clean: the same powder follows".to_owned(),
        ),
    ];
    let act = ActPage {
        page: visit.layout(Screen::Powder, "Feeder").await?,
        answer: "Empty the feeder, and weigh what goes to waste.".to_owned(),
        reason: "Vent, read zero, then open it. Pour back first what may be used again.".to_owned(),
        pairs: vec![("In the feeder, by the book", held)],
        fields: vec![
            Field::amount(
                "waste",
                "Goes to waste",
                &form.waste,
                "g",
                "0 if nothing came out",
            ),
            Field::choose("clean", "The feeder is", &form.clean, clean, ""),
            Field::area(
                "reason",
                "Why it differs",
                &form.reason,
                "where the book says otherwise by more than is allowed",
            ),
        ],
        action: "/feeder/empty".to_owned(),
        verb: "It is empty",
        detail: "nothing is left in it by the book".to_owned(),
        back: ("Leave it as it is", PATH.to_owned()),
        ask: None,
        errors,
    };
    act.answer()
}
