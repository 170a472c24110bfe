//! The powder book: what moves, what a build takes, and that nothing is lost or doubled.

mod builds;
mod conserved;
mod counts;
mod feeder;
mod refused;
mod together;
mod traced;

use mendpost_core::people::Role;
use mendpost_server::book::{balances, replay};
use mendpost_tests::{Answer, App};

/// What a place holds of a lot by the tables, in grams; 0 where it holds none.
async fn grams(app: &App, place: &str, lot: &str) -> i64 {
    let balances = balances(&app.state.db.read).await.expect("balances");
    let held = balances.iter().find(|it| {
        serde_json::to_string(&it.place).is_ok_and(|of| of.contains(place))
            && it.lot.as_str() == lot
    });
    held.map_or(0, |it| it.mass.0 / 1000)
}

/// The book made again from the journal is the book of the tables, and what left the depot is somewhere.
async fn replayed(app: &App) {
    let book = replay(&app.state.db.read)
        .await
        .expect("a journal")
        .expect("a book");
    let stored = balances(&app.state.db.read).await.expect("balances");
    let mut again: Vec<_> = book
        .all()
        .map(|(place, lot, mass)| (place.clone(), lot.clone(), mass))
        .collect();
    again.sort();
    let stored: Vec<_> = stored
        .into_iter()
        .map(|it| (it.place, it.lot, it.mass))
        .collect();
    assert_eq!(again, stored);
    let sum: i64 = stored.iter().map(|(_, _, mass)| mass.0).sum();
    assert_eq!(sum, 0, "what came from the depot counts below 0 there");
}

/// The lead's browser, with an empty and clean feeder: the demonstration's holds 80 g of zinc.
pub(crate) async fn with_clean_feeder() -> App {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let answer = app
        .post("/feeder/empty", &[("waste", "80"), ("clean", "yes")])
        .await;
    assert_eq!(answer.location(), "/feeder", "{}", answer.body);
    app
}

/// A draw of so many grams from a container that weighs 3 kg with what is in it, closed again.
pub(crate) async fn draw(app: &mut App, container: &str, for_: &str, grams: i64) -> Answer {
    let after = (3_000 - grams).to_string();
    let fields = [
        ("container", container),
        ("for", for_),
        ("before", "3000"),
        ("after", after.as_str()),
        ("division", "10"),
        ("closed", "yes"),
        ("reason", "the crew chose it"),
    ];
    app.post("/feeder/draw", &fields).await
}
