//! The demonstration site: every case that it shows, by the number of its request, and the figures
//! that make the case.

mod faults;
mod loading;
mod shapes;

use chrono::{DateTime, TimeDelta, Utc};
use mendpost_core::catalogue::{About, Flag, NoYes, RecipeState, Spray, Who};
use mendpost_core::code::LotCode;
use mendpost_core::gas::Bar;
use mendpost_core::lineup::{Gate, StageNeed, bank, draft, stage_need, steady_fuel_ml_per_h};
use mendpost_core::planner::JobOption;
use mendpost_core::powder::LotState;
use mendpost_core::situation::{Brings, Damage, Request, Situation, Way};
use mendpost_server::AppState;
use mendpost_server::clock::Clock;
use mendpost_server::command::demo;
use mendpost_server::config::Config;
use mendpost_server::db::Db;
use mendpost_server::seed::{SeedFiles, SiteData, read};
use mendpost_tests::START;
use tempfile::TempDir;
use tokio::sync::OnceCell;

/// The demonstration site in a database of its own, at a moment.
async fn state(unix_ms: i64) -> (AppState, TempDir) {
    let folder = TempDir::new().expect("a temporary folder");
    let db = Db::open(folder.path()).await.expect("a new database opens");
    let state = AppState::new(db, Clock::fixed(unix_ms), Config::default());
    demo::load(&state)
        .await
        .expect("the demonstration site loads");
    (state, folder)
}

async fn situation_at(unix_ms: i64) -> Situation {
    let (state, _folder) = state(unix_ms).await;
    let situation = mendpost_server::situation::now(&state).await;
    state.db.close().await;
    situation.expect("a situation")
}

async fn site() -> &'static Situation {
    static SITE: OnceCell<Situation> = OnceCell::const_new();
    SITE.get_or_init(|| situation_at(START)).await
}

fn data() -> SiteData {
    read(&SeedFiles::demonstration(), at(START)).expect("no faults")
}

fn at(unix_ms: i64) -> DateTime<Utc> {
    DateTime::from_timestamp_millis(unix_ms).expect("a time")
}

fn request<'s>(site: &'s Situation, code: &str) -> &'s Request {
    let code = code.parse().expect("a code");
    site.request(&code).expect("an open request")
}

/// What the first stage of a request's first recipe takes.
fn need(site: &Situation, code: &str) -> StageNeed {
    stage_need(site, spray(site, code)).expect("a figure")
}

fn spray<'s>(site: &'s Situation, code: &str) -> &'s Spray {
    let recipe = request(site, code).ways.iter().find_map(|way| match way {
        Way::Recipe(recipe) => site.recipes.iter().find(|r| r.code == *recipe),
        Way::TruePart { .. } | Way::StandIn(_) => None,
    });
    let recipe = recipe.expect("a recipe");
    recipe.sprays().next().expect("a stage")
}

/// Whole grams in each released lot of a powder that may still be sprayed at a moment.
fn released(site: &Situation, powder: &str, moment: DateTime<Utc>) -> Vec<(LotCode, i64)> {
    site.lots
        .iter()
        .filter(|l| l.powder.as_str() == powder && l.state == LotState::Released)
        .filter(|l| l.use_by.is_none_or(|until| until > moment))
        .map(|l| (l.code.clone(), l.on_hand.grams_on_hand()))
        .collect()
}

/// Grams of a powder in each lot that a delivery brings.
fn coming(site: &Situation, powder: &str) -> Vec<i64> {
    let brings = site.deliveries.iter().flat_map(|d| &d.brings);
    brings
        .filter_map(|b| match b {
            Brings::Powder {
                powder: code,
                grams,
                ..
            } if code.as_str() == powder => Some(*grams),
            _ => None,
        })
        .collect()
}

fn largest(lots: &[(LotCode, i64)]) -> i64 {
    lots.iter().map(|(_, grams)| *grams).max().unwrap_or(0)
}

fn total(lots: &[(LotCode, i64)]) -> i64 {
    lots.iter().map(|(_, grams)| *grams).sum()
}

/// The gates that stand whatever else is planned, of the first way.
fn gates(site: &Situation, code: &str) -> Vec<Gate> {
    let draft = draft(site);
    let code = code.parse().expect("a code");
    let way = draft.candidates[&code].first().expect("a way");
    way.shut.iter().map(|s| s.gate.clone()).collect()
}

fn option(site: &Situation, code: &str) -> JobOption {
    let draft = draft(site);
    let code = code.parse().expect("a code");
    let way = draft.candidates[&code].first().expect("a way");
    way.option.clone().expect("an option with figures")
}

/// Grams in the bank above the pressure that a stage asks of it.
fn above_floor(site: &Situation, need: &StageNeed) -> i64 {
    let bar = Bar::new(need.source_mbar as f64 / 1000.0).expect("a pressure");
    let bank = bank(&site.banks[0]).expect("a bank");
    bank.content_grams() - bank.content_grams_at(bar).expect("a content")
}

/// About two dozen requests and a few more, on thirty-three machines; five powders in eighteen lots.
#[tokio::test]
async fn the_site_has_the_size_that_it_should() {
    let site = site().await;
    assert_eq!(site.site.name, "Port Ansel");
    assert_eq!(site.site.zone.name(), "Pacific/Guadalcanal");
    assert_eq!(site.requests.len(), 37);
    assert_eq!(site.powders.len(), 5);
    assert_eq!(site.lots.len(), 18);
    let in_state = |state| site.lots.iter().filter(|l| l.state == state).count();
    assert_eq!(in_state(LotState::Hold), 1);
    assert_eq!(in_state(LotState::Quarantine), 1);
    assert_eq!(site.banks[0].bottles, 12);
    assert_eq!(site.fuel.rated_w, 60_000);
    let boat = &site.deliveries[0];
    assert_eq!((boat.code.as_str(), boat.payload_kg), ("BOAT-7", Some(600)));
    let days = (site.deliveries[1].expected - boat.expected).num_days();
    assert_eq!((site.deliveries[1].code.as_str(), days), ("AIR-3", 3));
}

/// Two of three pumps, three of four sets: with the first machine down little is lost, with the one
/// that is needed much more.
#[tokio::test]
async fn capabilities_need_some_of_their_machines() {
    let site = site().await;
    for (code, must_run, of) in [
        ("WATER", 2, 3),
        ("POWER", 3, 4),
        ("COLD", 2, 3),
        ("ROADS", 2, 3),
    ] {
        let found = site.capabilities.iter().find(|c| c.code.as_str() == code);
        let capability = found.expect("a capability");
        assert_eq!(
            (capability.must_run, capability.assets.len()),
            (must_run, of),
            "{code}"
        );
        let loss = &capability.loss_per_hour;
        assert!(
            loss[2] - loss[1] > 5 * (loss[1] - loss[0]),
            "{code}: {loss:?}"
        );
    }
}

/// R5 is too large for the booth, however it is turned, and too heavy to turn.
#[tokio::test]
async fn r5_is_too_large_and_too_heavy() {
    let [
        Gate::TooLarge { part_mm, booth_mm },
        Gate::TooHeavy { part_g, most_g },
    ] = gates(site().await, "R5")[..]
    else {
        panic!("{:?}", gates(site().await, "R5"));
    };
    assert_eq!((part_mm, booth_mm), ([1150, 640, 520], [900, 700, 700]));
    assert_eq!((part_g, most_g), (96_000, 60_000));
}

/// R6 is listed, and nothing makes it. R18 is not even listed.
#[tokio::test]
async fn r6_has_no_recipe_and_r18_is_not_listed() {
    assert_eq!(gates(site().await, "R6"), [Gate::NoRecipe]);
    assert_eq!(gates(site().await, "R18"), [Gate::NotListed]);
}

/// R16 waits for the lead to approve revision 1.
#[tokio::test]
async fn r16_waits_for_approval() {
    let recipe = "BR-039".parse().expect("a code");
    let proposed = Gate::NotApproved {
        recipe,
        revision: 1,
        state: RecipeState::Proposed,
    };
    assert_eq!(gates(site().await, "R16"), [proposed]);
}

/// R17 has a recipe whose revisions are all out of use.
#[tokio::test]
async fn r17_has_superseded_and_withdrawn_revisions_only() {
    let recipe = "AL-014".parse().expect("a code");
    let withdrawn = Gate::NotApproved {
        recipe,
        revision: 2,
        state: RecipeState::Withdrawn,
    };
    assert_eq!(gates(site().await, "R17"), [withdrawn]);
    let recipes = data().recipes;
    let revisions = recipes.iter().filter(|r| r.code.as_str() == "AL-014");
    let states: Vec<_> = revisions.map(|r| r.state).collect();
    assert_eq!(states, [RecipeState::Superseded, RecipeState::Withdrawn]);
}

/// R15 can injure and nobody has said yes; of the requests that wait it costs most. R29 can injure
/// too, and its yes is there.
#[tokio::test]
async fn r15_lacks_the_yes_that_r29_has() {
    let site = site().await;
    let who = Who::OwnersEngineer;
    let missing = Gate::NoYes {
        about: About::Build,
        who,
        why: NoYes::Missing,
    };
    assert_eq!(gates(site, "R15"), [missing]);
    assert!(request(site, "R15").danger);
    assert_eq!(gates(site, "R29"), []);
    assert_eq!(request(site, "R29").answers[0].who, who);
}

/// R7 holds pressure and R14 steers: not made here, though a recipe is approved.
#[tokio::test]
async fn r7_and_r14_are_refused() {
    let refused = |flag, who| [Gate::Refused { flag, who }];
    assert_eq!(
        gates(site().await, "R7"),
        refused(Flag::HoldsPressure, Who::PressureInspector)
    );
    assert_eq!(
        gates(site().await, "R14"),
        refused(Flag::SteersOrBrakes, Who::LicensedBody)
    );
}

/// R12 lifts: it may be built, and is fitted after the examiner's yes.
#[tokio::test]
async fn r12_is_a_trial_piece() {
    assert_eq!(gates(site().await, "R12"), []);
}

/// R12 needs 7.1 kg of bronze from one lot. The largest lot, 6.9 kg, only just fails; all together
/// hold 17.6 kg. The lot on hold would do. No delivery brings bronze.
#[tokio::test]
async fn r12_fails_by_one_lot_though_the_total_suffices() {
    let site = site().await;
    let (need, lots) = (need(site, "R12"), released(site, "CUAL10", site.now));
    assert!(spray(site, "R12").one_lot);
    assert_eq!(largest(&lots), 6900);
    assert!(
        (6901..6900 * 105 / 100).contains(&need.powder_g),
        "{}",
        need.powder_g
    );
    assert_eq!(total(&lots), 6900 + 5200 + 3800 + 1700);
    let hold = site.lots.iter().find(|l| l.state == LotState::Hold);
    assert!(hold.is_some_and(|l| l.on_hand.grams_on_hand() > need.powder_g));
    assert_eq!(coming(site, "CUAL10"), [0; 0]);
}

/// R20 needs 6.4 kg of aluminium from one lot. The largest, 6.2 kg, only just fails, three lots
/// hold 16.7 kg, and the boat brings 12 kg in one.
#[tokio::test]
async fn r20_fails_by_one_lot_until_the_boat_comes() {
    let site = site().await;
    let (need, lots) = (need(site, "R20"), released(site, "AL6061", site.now));
    assert!(spray(site, "R20").one_lot);
    assert_eq!((largest(&lots), total(&lots)), (6200, 5600 + 4900 + 6200));
    assert!(
        (6201..6200 * 105 / 100).contains(&need.powder_g),
        "{}",
        need.powder_g
    );
    assert_eq!(coming(site, "AL6061"), [12_000]);
}

/// R19 needs 23 kg of zinc alloy; all lots hold 20.5 kg and none is coming.
#[tokio::test]
async fn r19_is_short_of_powder_in_total() {
    let site = site().await;
    let lots = released(site, "ZNAL15", site.now);
    assert_eq!(total(&lots), 9500 + 7000 + 4000);
    assert!(need(site, "R19").powder_g > total(&lots));
    assert_eq!(coming(site, "ZNAL15"), [0; 0]);
}

/// R21 needs more alloy 625 than is here, and the boat brings enough: it waits for that.
#[tokio::test]
async fn r21_waits_for_powder_on_the_boat() {
    let site = site().await;
    let (need, lots) = (need(site, "R21"), released(site, "NI625", site.now));
    assert_eq!(total(&lots), 700);
    assert!((701..=1000).contains(&need.powder_g), "{}", need.powder_g);
    assert_eq!(coming(site, "NI625"), [1000]);
}

/// R25 needs less alloy 625 than lot L0394 holds, but that may be sprayed for two days only and the
/// broken part comes on the third. What the boat brings suffices for R21 or R25, not for both.
#[tokio::test]
async fn r25_has_a_lot_that_expires_before_its_part_is_here() {
    let site = site().await;
    let (need, here) = (
        need(site, "R25").powder_g,
        request(site, "R25").at_cell_from,
    );
    let here = here.expect("on its way");
    assert!(need <= largest(&released(site, "NI625", site.now)));
    assert_eq!(released(site, "NI625", here), []);
    assert!(need > 1000 - self::need(site, "R21").powder_g);
}

/// Lot L0396 is about to expire too, and there is work that it suffices for: R10.
#[tokio::test]
async fn a_lot_about_to_expire_is_worth_using_first() {
    let site = site().await;
    let lot = site.lot(&"L0396".parse().expect("a code")).expect("a lot");
    let left = lot.use_by.expect("a date") - site.now;
    assert!((2..=4).contains(&left.num_days()));
    assert!(lot.on_hand.grams_on_hand() >= need(site, "R10").powder_g);
}

/// R22 sprays at 64 bar: with the drop before the nozzle the bank must hold 72, and it holds 71.5.
/// Six full bottles on the boat bring more than R22 takes.
#[tokio::test]
async fn r22_needs_more_pressure_than_the_bank_holds() {
    let site = site().await;
    let need = need(site, "R22");
    assert_eq!(
        (need.source_mbar, site.banks[0].pressure_mbar),
        (72_000, 71_500)
    );
    let full = site.deliveries[0].brings.iter().any(|b| {
        matches!(
            b,
            Brings::Gas {
                bottles: 6,
                pressure_mbar: 200_000,
                ..
            }
        )
    });
    assert!(full);
}

/// R23 needs 91 kg of nitrogen at 45 bar. The bank has 11 kg above that; six bottles at 200 bar
/// bring 300 l x 0.21 kg/l = 63 kg (density at 29 C between the tabled 0.2185 at 20 C and 0.2020
/// at 40 C), all of it less than is needed.
#[tokio::test]
async fn r23_needs_more_gas_than_ever_comes() {
    let site = site().await;
    let need = need(site, "R23");
    let have = above_floor(site, &need);
    assert!((9_000..13_000).contains(&have), "{have}");
    assert!(need.gas_g > have + 63_000, "{}", need.gas_g);
}

/// R9 sprays at 45 bar, R11 at 30 bar, from one bank. After R9 the bank suffices for R11; after R11
/// it no longer holds R9's pressure.
#[tokio::test]
async fn r9_must_go_before_r11_because_of_the_bank() {
    let site = site().await;
    let (high, low) = (need(site, "R9"), need(site, "R11"));
    assert_eq!((high.source_mbar, low.source_mbar), (53_000, 38_000));
    assert!(above_floor(site, &high) >= high.gas_g);
    assert!(above_floor(site, &high) - low.gas_g < high.gas_g);
    let steady = 7 * site.banks[0].steady_g_per_day;
    assert!(above_floor(site, &low) - high.gas_g - steady >= low.gas_g);
}

/// R24 lies in the furnace for four days. It takes more fuel than what is here and what comes leave
/// when the camp has had its own.
#[tokio::test]
async fn r24_is_short_of_fuel() {
    let site = site().await;
    let operations = option(site, "R24").operations;
    let draws = operations
        .iter()
        .flat_map(|o| &o.draws)
        .flat_map(|d| d.choices());
    let need: i64 = draws.filter(|d| d.store == "fuel").map(|d| d.amount).sum();
    let boat = site.deliveries[0].brings.iter().find_map(|b| match b {
        Brings::Fuel { ml } => Some(*ml),
        _ => None,
    });
    let all = site.horizon() / 60 * steady_fuel_ml_per_h(site);
    let free = site.fuel.on_hand_ml + boat.unwrap_or(0) - all;
    assert!(need > free, "{need} ml needed, {free} ml free");
    assert!(free > 250_000, "the others need fuel too");
}

/// R26 ends in the vacuum furnace, which is out for as long as is planned. The mill is out for two
/// days of it, the cell for a morning.
#[tokio::test]
async fn r26_needs_a_station_that_is_out() {
    let site = site().await;
    let vacuum = site
        .station(&"vacuum".parse().expect("a code"))
        .expect("it stands here");
    let closed = &vacuum.closed[0];
    assert!(closed.from <= site.now && closed.to >= site.moment(site.horizon()));
    assert_eq!(closed.slots, vacuum.slots);
    let operations = option(site, "R26").operations;
    assert!(
        operations
            .iter()
            .any(|o| format!("{:?}", o.work).contains("vacuum"))
    );
    let mill = site
        .station(&"mill".parse().expect("a code"))
        .expect("it stands here");
    assert!(mill.closed[0].from > site.now && mill.closed[0].to < site.moment(site.horizon()));
    assert_eq!(site.cell.closed.len(), 1);
}

/// R27 is sprayed thinly, 10 g a minute: longer than the 16 hours from six to ten in the evening.
#[tokio::test]
async fn r27_fits_no_attended_period() {
    let site = site().await;
    assert!(need(site, "R27").minutes > 16 * 60);
    assert_eq!(longest_attended(site), TimeDelta::hours(16));
    assert!(need(site, "R27").powder_g < total(&released(site, "AL6061", site.now)));
}

fn longest_attended(site: &Situation) -> TimeDelta {
    let mut longest = TimeDelta::zero();
    let mut from = site.shifts[0].from;
    for (place, shift) in site.shifts.iter().enumerate() {
        if place > 0 && site.shifts[place - 1].to != shift.from {
            from = shift.from;
        }
        longest = longest.max(shift.to - from);
    }
    longest
}

/// R28 takes four people to fit, and three at most are on duty.
#[tokio::test]
async fn r28_needs_more_people_than_are_ever_on_duty() {
    let site = site().await;
    let crew = option(site, "R28").operations.iter().map(|o| o.crew).max();
    let most = site.shifts.iter().map(|s| s.crew).max();
    assert_eq!((crew, most), (Some(4), Some(3)));
}

/// R29 and R25 are not at the cell yet.
#[tokio::test]
async fn r29_and_r25_wait_for_the_broken_part() {
    let site = site().await;
    for code in ["R29", "R25"] {
        assert!(
            request(site, code)
                .at_cell_from
                .is_some_and(|t| t > site.now),
            "{code}"
        );
    }
}

/// R8 and R9 are of one pump: it is back when both are.
#[tokio::test]
async fn r8_and_r9_are_two_parts_of_one_machine() {
    let site = site().await;
    assert_eq!(request(site, "R8").asset, request(site, "R9").asset);
}

/// R30's pump runs on a cracked part and stops in three days. R2's compressor runs on.
#[tokio::test]
async fn r30_still_runs_for_a_while_and_r2_is_not_down() {
    let site = site().await;
    let asset = |code| site.asset(&request(site, code).asset).expect("an asset");
    assert_eq!(request(site, "R30").damage, Damage::Worn);
    let left = asset("R30").down_from.expect("a date") - site.now;
    assert!((2..=4).contains(&left.num_days()));
    assert_eq!(asset("R2").down_from, None);
}

/// R3 may be sprayed, or the aircraft brings the true part in nine days. Sprayed first of all it
/// takes 5.6 kg of bronze from one lot, which only the largest holds, and then there are too few
/// lots for R8, R30 and R29; without it there are enough. One compressor more saves 3 an hour.
#[tokio::test]
async fn r3_is_better_waited_for_than_sprayed() {
    let site = site().await;
    let ways = &request(site, "R3").ways;
    assert!(matches!(&ways[0], Way::Recipe(_)));
    let Way::TruePart { delivery, .. } = &ways[1] else {
        panic!("{ways:?}");
    };
    assert_eq!(delivery.as_ref().map(|d| d.as_str()), Some("AIR-3"));
    let grams = |codes: &[&str]| -> Vec<i64> {
        codes.iter().map(|code| need(site, code).powder_g).collect()
    };
    let lots: Vec<i64> = released(site, "CUAL10", site.now)
        .iter()
        .map(|(_, g)| *g)
        .collect();
    assert!(packs(&grams(&["R8", "R30", "R29"]), &lots));
    assert!(packs(&grams(&["R3"]), &lots));
    assert!(!packs(&grams(&["R3", "R8", "R30", "R29"]), &lots));
    let cold = site.capabilities.iter().find(|c| c.code.as_str() == "COLD");
    assert_eq!(cold.expect("a capability").loss_per_hour[1], 3);
}

/// Whether each need can come whole from one lot.
fn packs(needs: &[i64], lots: &[i64]) -> bool {
    let Some((need, rest)) = needs.split_first() else {
        return true;
    };
    (0..lots.len())
        .filter(|lot| lots[*lot] >= *need)
        .any(|lot| {
            let mut left = lots.to_vec();
            left[lot] -= need;
            packs(rest, &left)
        })
}
