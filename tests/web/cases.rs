//! Every case that the demonstration is there to show, by the number of its request, as the
//! line-up works it out. `tests/web/seed.rs` holds the figures that make them.

use mendpost_core::catalogue::{About, Flag, NoYes, RecipeState, Who};
use mendpost_core::lineup::{Gate, LineUp, Opens, Place, Readiness, Shut};
use mendpost_core::situation::Situation;
use mendpost_server::situation;
use mendpost_tests::{App, planned};

async fn site() -> Situation {
    let app = App::new().await;
    situation::now(&app.state).await.expect("a site")
}

fn plan(situation: &Situation) -> LineUp {
    planned(situation).line_up
}

/// The gates of the first way of a request that waits.
fn gates<'a>(line_up: &'a LineUp, request: &str) -> &'a [Shut] {
    let waiting = line_up
        .waiting
        .iter()
        .find(|w| w.request.as_str() == request)
        .unwrap_or_else(|| panic!("{request} does not wait"));
    &waiting.ways[0].shut
}

fn place<'a>(line_up: &'a LineUp, request: &str) -> &'a Place {
    line_up
        .places
        .iter()
        .find(|p| p.request.as_str() == request)
        .unwrap_or_else(|| panic!("{request} is not planned"))
}

fn has(line_up: &LineUp, request: &str, gate: impl Fn(&Gate) -> bool) {
    let gates = gates(line_up, request);
    assert!(gates.iter().any(|s| gate(&s.gate)), "{request}: {gates:?}");
}

/// Catalogue, recipe, authority and size: gates that no powder opens.
#[tokio::test(flavor = "multi_thread")]
async fn gates_of_the_part_and_its_recipe() {
    let line_up = plan(&site().await);
    has(&line_up, "R18", |g| *g == Gate::NotListed);
    has(&line_up, "R6", |g| *g == Gate::NoRecipe);
    has(&line_up, "R16", |g| {
        matches!(
            g,
            Gate::NotApproved {
                state: RecipeState::Proposed,
                ..
            }
        )
    });
    has(&line_up, "R17", |g| {
        matches!(
            g,
            Gate::NotApproved {
                state: RecipeState::Withdrawn,
                ..
            }
        )
    });
    has(&line_up, "R15", |g| {
        *g == Gate::NoYes {
            about: About::Build,
            who: Who::OwnersEngineer,
            why: NoYes::Missing,
        }
    });
    has(&line_up, "R7", |g| {
        *g == Gate::Refused {
            flag: Flag::HoldsPressure,
            who: Who::PressureInspector,
        }
    });
    has(&line_up, "R14", |g| {
        *g == Gate::Refused {
            flag: Flag::SteersOrBrakes,
            who: Who::LicensedBody,
        }
    });
    has(&line_up, "R5", |g| matches!(g, Gate::TooLarge { .. }));
    has(&line_up, "R5", |g| matches!(g, Gate::TooHeavy { .. }));
    // The same kind of part as R15, and its yes was given.
    assert_eq!(place(&line_up, "R29").request.as_str(), "R29");
}

/// Powder, gas, fuel, stations, people and time.
#[tokio::test(flavor = "multi_thread")]
async fn gates_of_what_is_on_hand() {
    let line_up = plan(&site().await);
    has(
        &line_up,
        "R19",
        |g| matches!(g, Gate::Powder { need_g, total_g, .. } if total_g < need_g),
    );
    has(&line_up, "R12", |g| {
        matches!(g, Gate::Powder { one_lot: true, .. })
    });
    let opens: Vec<&Opens> = gates(&line_up, "R12").iter().map(|s| &s.opens).collect();
    assert!(
        matches!(opens[..], [Opens::Release { lot }] if lot.as_str() == "L0408"),
        "{opens:?}"
    );
    has(&line_up, "R23", |g| matches!(g, Gate::Gas { .. }));
    has(&line_up, "R24", |g| matches!(g, Gate::Fuel { .. }));
    has(&line_up, "R24", |g| matches!(g, Gate::KeptBack { .. }));
    has(&line_up, "R26", |g| matches!(g, Gate::Station { .. }));
    has(&line_up, "R27", |g| matches!(g, Gate::DutyTooShort { .. }));
    has(&line_up, "R28", |g| *g == Gate::Crew { need: 4, most: 3 });
}

/// Without the boat and the aircraft: a lot that totals would hide, and a pressure that the bank
/// does not hold. With them the same requests have their places.
#[tokio::test(flavor = "multi_thread")]
async fn a_delivery_changes_the_order() {
    let mut situation = site().await;
    let with = plan(&situation);
    let boat = |p: &Place| matches!(&p.readiness, Readiness::WaitsForDelivery(code) if code.as_str() == "BOAT-7");
    assert!(
        boat(place(&with, "R20")),
        "{:?}",
        place(&with, "R20").readiness
    );
    assert!(with.places.iter().filter(|p| boat(p)).count() >= 2);

    situation.deliveries.clear();
    let without = plan(&situation);
    has(&without, "R20", |g| {
        matches!(g, Gate::Powder { one_lot: true, .. })
    });
    has(&without, "R22", |g| {
        matches!(
            g,
            Gate::GasPressure {
                need_mbar: 72_000,
                ..
            }
        )
    });
    has(&without, "R21", |g| matches!(g, Gate::Powder { .. }));
}

/// An asset that needs two parts, one that still runs on a cracked part, one that is not down, and
/// a part better waited for than sprayed.
#[tokio::test(flavor = "multi_thread")]
async fn assets_and_ways() {
    let situation = site().await;
    let line_up = plan(&situation);
    let (impeller, sleeve) = (place(&line_up, "R8"), place(&line_up, "R9"));
    assert_eq!(impeller.asset, sleeve.asset);
    assert_eq!(
        impeller.back, sleeve.back,
        "the pump is back with the later of its parts"
    );
    assert_eq!(impeller.back, Some(impeller.done.max(sleeve.done)));

    let cracked = situation
        .asset(&place(&line_up, "R30").asset)
        .expect("listed");
    assert!(
        cracked.down_from.is_some_and(|t| t > situation.now),
        "runs for now"
    );
    let runs = situation
        .asset(&place(&line_up, "R2").asset)
        .expect("listed");
    assert_eq!(
        (runs.down_from, place(&line_up, "R2").stops_per_hour),
        (None, 0)
    );

    let crosshead = place(&line_up, "R3");
    assert_eq!(crosshead.recipe, None, "the true part by aircraft");
    assert!(matches!(
        crosshead.readiness,
        Readiness::WaitsForTruePart(_)
    ));
}

/// Two recipes on nitrogen: the one at the higher pressure goes first, or the bank falls below it.
#[tokio::test(flavor = "multi_thread")]
async fn high_pressure_goes_first() {
    let line_up = plan(&site().await);
    assert!(place(&line_up, "R9").starts() < place(&line_up, "R11").starts());
}

/// The demonstration holds at whatever hour it is started, and ours beats the crew's own orders
/// by more than a tenth.
#[tokio::test(flavor = "multi_thread")]
async fn the_order_is_worth_having_at_any_hour() {
    for hours in [0, 7, 13, 19] {
        let losses = plan(&started_later(hours).await).losses;
        let crew = losses.oldest_first.min(losses.largest_rate_first);
        assert!(losses.ours * 10 < crew * 9, "{hours} h later: {losses:?}");
    }
}

async fn started_later(hours: i64) -> Situation {
    let app = App::started(hours * 60).await;
    situation::now(&app.state).await.expect("a site")
}
