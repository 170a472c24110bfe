//! Weighing what is there: the book of a container is set to it by a further movement, and signed.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::code::LotCode;
use mendpost_core::journal::Subject;
use mendpost_core::powder::Reason;
use mendpost_core::powder::book::Place;
use mendpost_core::signature::Meaning;
use serde::{Deserialize, Serialize};

use super::queries::{self, ContainerRow, LotFacts};
use super::{find, lot_path};
use crate::AppState;
use crate::book::{self, Line};
use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;
use crate::form::{FieldErrors, MOST_WEIGHED_MG, Posted, decimal, optional_text};
use crate::page::act::{ActPage, Field, SIGN_FIELD};
use crate::page::{Notice, Screen, grams_exact};
use crate::people::{Visit, Who};
use crate::signature::{ask, prove, sign};

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct CountForm {
    container: String,
    grams: String,
    reason: String,
    /// What the book said when the page was shown, in milligrams for each container.
    book: String,
    sign_passphrase: String,
}

pub async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let lot = find(&state, &code).await?;
    count_page(
        &state,
        &visit,
        &who,
        &lot,
        CountForm::default(),
        FieldErrors::default(),
    )
    .await
}

/// Sets the book of one container to what was weighed, or says that it agrees.
pub async fn enter(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<CountForm>,
) -> Result<Response, AppError> {
    let lot = find(&state, &code).await?;
    let containers = queries::containers(&state.db.read, &code).await?;
    let mut errors = FieldErrors::default();
    let container = containers.iter().find(|c| c.code == form.container);
    if container.is_none() {
        errors.add("container", "choose the container that was weighed");
    }
    let weighed = errors.check("grams", decimal(&form.grams, 3, 0..=MOST_WEIGHED_MG));
    let reason = errors
        .check("reason", optional_text(&form.reason, 200))
        .flatten();
    if let (Some(container), Some(weighed), None) = (container, weighed, &reason)
        && weighed != container.on_hand_mg
    {
        errors.add("reason", differs(container, weighed));
    }
    let proof = prove(&state, &visit, &who, &form.sign_passphrase).await?;
    let proof = proof.map_err(|fault| errors.add(SIGN_FIELD, fault)).ok();
    let (Some(container), Some(weighed), Some(proof), true) =
        (container, weighed, proof, errors.is_empty())
    else {
        return count_page(&state, &visit, &who, &lot, form, errors).await;
    };
    if form.book != book_of(&containers) {
        errors.add_whole("the book changed while you weighed: somebody moved powder of this lot; look at it below, and weigh again");
        return count_page(&state, &visit, &who, &lot, form, errors).await;
    }

    let mut change = Change::begin(&state, &who).await?;
    if book_of(&queries::containers(change.connection(), &code).await?) != form.book {
        return Err(AppError::Conflict(
            "the book changed at this moment; look at the lot, and weigh again".to_owned(),
        ));
    }
    let gap = weighed - container.on_hand_mg;
    let note = reason.unwrap_or_default();
    let lot_code: LotCode = decoded(code.parse())?;
    let held = Place::Container(decoded(container.code.parse())?);
    let (from, to) = match gap {
        0.. => (Place::Gap, held),
        _ => (held, Place::Gap),
    };
    let moved = (gap != 0).then(|| Line {
        movement: book::movement(&lot_code, from, to, gap.abs(), Reason::Count),
        note: &note,
        at_ms: change.now(),
    });
    let content = Counted {
        container: &container.code,
        book_mg: container.on_hand_mg,
        weighed_mg: weighed,
        reason: &note,
        moved: book::moved(moved.as_slice()),
    };
    let subject = Subject::new("lot", &code);
    let meaning = Meaning::Adjust;
    let journal = sign(
        &mut change,
        "container.counted",
        subject,
        content,
        meaning,
        &proof,
    )
    .await?;
    book::enter(&mut change, moved.as_slice(), journal).await?;
    let text = match gap {
        0 => format!("{}: the book agrees, journal {journal}.", container.code),
        gap => format!(
            "{}: the book changed by {}, journal {journal}.",
            container.code,
            grams_exact(gap)
        ),
    };
    let location = lot_path(&code);
    change
        .finish(&who, &location, Notice::done("SIGNED", text))
        .await
}

#[derive(Serialize)]
struct Counted<'a> {
    container: &'a str,
    book_mg: i64,
    weighed_mg: i64,
    reason: &'a str,
    moved: serde_json::Value,
}

fn differs(container: &ContainerRow, weighed: i64) -> String {
    format!(
        "the book says {}; say why it is {} {}",
        grams_exact(container.on_hand_mg),
        grams_exact((weighed - container.on_hand_mg).abs()),
        if weighed < container.on_hand_mg {
            "less"
        } else {
            "more"
        }
    )
}

/// What the book says of all containers, to tell whether it has changed.
pub(super) fn book_of(containers: &[ContainerRow]) -> String {
    let parts: Vec<String> = containers
        .iter()
        .map(|c| format!("{}:{}", c.code, c.on_hand_mg))
        .collect();
    parts.join(" ")
}

async fn count_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    lot: &LotFacts,
    form: CountForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let containers = queries::containers(&state.db.read, &lot.code).await?;
    let options = containers
        .iter()
        .map(|c| {
            (
                c.code.clone(),
                format!("{}, book {}", c.code, grams_exact(c.on_hand_mg)),
            )
        })
        .collect();
    let fields = vec![
        Field::hidden("book", &book_of(&containers)),
        Field::choose("container", "Container", &form.container, options, ""),
        Field::amount(
            "grams",
            "Powder in it",
            &form.grams,
            "g",
            "without the container's own weight",
        ),
        Field::text(
            "reason",
            "Why it differs",
            &form.reason,
            "needed where the book says otherwise",
        ),
    ];
    let mut pairs = vec![
        ("Lot", lot.code.clone()),
        ("Powder", lot.powder_name.clone()),
    ];
    pairs.push((
        "Book",
        grams_exact(containers.iter().map(|c| c.on_hand_mg).sum()),
    ));
    let act = ActPage {
        page: visit.layout(Screen::Powder, &lot.code).await?,
        answer: format!(
            "Weigh a container of lot {}, and enter what is in it.",
            lot.code
        ),
        reason: String::new(),
        pairs,
        fields,
        action: format!("{}/count", lot_path(&lot.code)),
        verb: "Sign",
        detail: "sets the book by a further movement".to_owned(),
        back: ("Leave the book as it is", lot_path(&lot.code)),
        ask: Some(ask(state, visit, who, Meaning::Adjust).await?),
        errors,
    };
    act.answer()
}
