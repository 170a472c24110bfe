//! Every lot that ever came, the newest first: used up ones too, which stand on no other list.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::lot_path;
use super::queries::{self, LotRow};
use crate::AppState;
use crate::error::AppError;
use crate::page::{Layout, Screen, grams_down, page};
use crate::people::Visit;
use crate::situation;
use crate::words::powder::lot_state;

pub(super) const PATH: &str = "/lots";

#[derive(Template)]
#[template(path = "powder/lots.html")]
struct LotsPage {
    page: Layout,
    answer: String,
    /// Name, address, and whether it is chosen.
    powders: Vec<(String, String, bool)>,
    rows: Vec<Row>,
    /// The address of older ones.
    older: Option<String>,
}

struct Row {
    path: String,
    code: String,
    powder: String,
    state: &'static str,
    received: String,
    use_by: String,
    grams: String,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Choice {
    /// Of one powder, by its code; empty: of any.
    powder: String,
    /// So many newer ones are left out.
    from: u32,
}

/// So many stand on a page.
const MOST: u32 = 50;

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Query(choice): Query<Choice>,
) -> Result<Response, AppError> {
    let powder = choice.powder.trim();
    let mut reading = state.db.read.acquire().await?;
    let powders = situation::powders(&mut reading).await?;
    let mut lots = queries::lots(&mut reading, powder, choice.from, MOST + 1).await?;
    drop(reading);
    let most = usize::try_from(MOST).unwrap_or(usize::MAX);
    let more = lots.len() > most;
    lots.truncate(most);
    let layout = visit.layout(Screen::Powder, "All lots").await?;
    let of = |powder: &str, from: u32| {
        let query = form_urlencoded::Serializer::new(String::new())
            .append_pair("powder", powder)
            .append_pair("from", &from.to_string())
            .finish();
        format!("{PATH}?{query}")
    };
    let every = ("All".to_owned(), PATH.to_owned(), powder.is_empty());
    let each = powders.iter().map(|it| {
        let code = it.code.as_str();
        (it.name.clone(), of(code, 0), code == powder)
    });
    page(&LotsPage {
        answer: match lots.as_slice() {
            [] => "No lot is on record here.".to_owned(),
            [newest, ..] => format!("The newest lot here is {}.", newest.code),
        },
        powders: std::iter::once(every).chain(each).collect(),
        older: more.then(|| of(powder, choice.from + MOST)),
        rows: lots.iter().map(|lot| row(&layout, lot)).collect(),
        page: layout,
    })
}

fn row(page: &Layout, lot: &LotRow) -> Row {
    Row {
        path: lot_path(&lot.code),
        code: lot.code.clone(),
        powder: lot.powder.clone(),
        state: match lot.on_hand_mg {
            0 => "used up",
            _ => lot_state(lot.state),
        },
        received: page.day(&lot.received_ms),
        use_by: lot.use_by_ms.map_or_else(String::new, |ms| page.day(&ms)),
        grams: grams_down(lot.on_hand_mg),
    }
}
