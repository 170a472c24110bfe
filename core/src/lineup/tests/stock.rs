use super::keep_back::{keep_back, steel};
use super::planned;
use super::site::{at, boat, code, lot, site};
use crate::lineup::{OutCause, stocks};
use crate::powder::LotState;

/// The one recipe takes 4 000 / 0.8 + 150 + 50 = 5 200 g from one lot. Of 9 000 g the first place
/// leaves 3 800 g, too little for another.
#[test]
fn a_powder_runs_out_with_the_place_that_leaves_too_little() {
    let mut situation = site();
    situation.deliveries.push(boat(4000, 12_000));
    let line_up = planned(&situation);
    let stock = stocks(&situation, Some(&line_up)).remove(0);
    let lot = &stock.lots[0];
    assert_eq!(
        (lot.on_hand_g, lot.committed_g, lot.free_g),
        (9000, 5200, 3800)
    );
    let out = stock.out.as_ref().expect("it runs out");
    assert_eq!(out.cause, OutCause::Place(1));
    assert_eq!((out.left_g, out.least_g), (3800, 5200));
    assert_eq!(out.at, stock.falls[0].end);
    assert_eq!(out.until, Some(code("BOAT")));
    // The boat's powder may be drawn an hour after it lands.
    assert_eq!(stock.arrivals[0].usable_from, at(4060));
    let levels: Vec<i64> = stock.levels.iter().map(|(_, grams)| *grams).collect();
    assert_eq!(levels, [9000, 9000, 3800, 3800, 15_800, 15_800]);
}

/// Two lots of 4 000 g make 8 000 g, but the recipe takes 5 200 g from one.
#[test]
fn lots_count_and_not_their_sum() {
    let mut situation = site();
    situation.lots = vec![lot("L0001", 4_000), lot("L0002", 4_000)];
    let stock = stocks(&situation, None).remove(0);
    let out = stock.out.as_ref().expect("it is out");
    assert_eq!((&out.cause, out.left_g), (&OutCause::Already, 8_000));
    assert_eq!((stock.free_g(), stock.largest_free_g()), (8_000, 4_000));
}

/// What may not be drawn is neither free nor in the level; a date that passes ends a lot.
#[test]
fn dates_and_states_take_lots_away() {
    let mut situation = site();
    let mut dated = lot("L0001", 6_000);
    dated.use_by = Some(at(3000));
    let mut past = lot("L0002", 6_000);
    past.use_by = Some(at(0));
    let mut held = lot("L0003", 6_000);
    held.state = LotState::Hold;
    situation.lots = vec![held, past, dated];
    let stock = stocks(&situation, None).remove(0);
    let order: Vec<&str> = stock.lots.iter().map(|l| l.lot.code.as_str()).collect();
    assert_eq!(order, ["L0001", "L0002", "L0003"]);
    assert_eq!((stock.usable_g(), stock.free_g()), (6_000, 6_000));
    let out = stock.out.as_ref().expect("it runs out");
    assert_eq!(
        (&out.cause, out.at, out.left_g),
        (&OutCause::UseBy(code("L0001")), at(3000), 0)
    );
}

#[test]
fn a_powder_that_no_approved_recipe_sprays_does_not_run_out() {
    let mut situation = site();
    situation.recipes.clear();
    situation.lots.clear();
    assert_eq!(stocks(&situation, None)[0].out, None);
}

/// 3 000 g are held for the crane. Of 5 000 g that last any machine may draw 2 000; of 4 000 g that go out of date
/// on day 3 all, since enough lasts: but not both, as of 9 000 g in all 6 000 are free for any machine.
#[test]
fn what_is_kept_back_is_not_free_for_any_machine() {
    let mut situation = site();
    let mut goes = lot("GOES", 4_000);
    goes.use_by = Some(at(3 * 1440));
    situation.lots = vec![goes, lot("LASTS", 5_000)];
    situation.keep_backs = vec![keep_back(1, steel(), 3_000, &["crane"])];
    let stock = stocks(&situation, None).remove(0);
    let lots = stock.lots.iter();
    let free: Vec<_> = lots
        .map(|it| (it.lot.code.as_str(), it.free_g, it.for_any_g))
        .collect();
    assert_eq!(free, [("GOES", 4_000, 4_000), ("LASTS", 5_000, 2_000)]);
    assert_eq!((stock.free_g(), stock.largest_free_g()), (6_000, 4_000));
}

/// Enough in 95 of 100 builds is more than what is as likely too much as too little, and with the efficiency known
/// to the last gram both are 5 200 g. What lies in the lot in the end differs by as much.
#[test]
fn a_draw_says_what_it_takes_at_most_and_what_it_likely_takes() {
    let mut situation = site();
    let known = stocks(&situation, Some(&planned(&situation))).remove(0);
    assert_eq!(
        (known.falls[0].grams, known.falls[0].likely_g),
        (5200, 5200)
    );
    assert_eq!(known.levels, known.likely);

    for recipe in &mut situation.recipes {
        for spray in recipe
            .operations
            .iter_mut()
            .filter_map(|o| o.spray.as_mut())
        {
            spray.efficiency_sd_permille = 40;
        }
    }
    let stock = stocks(&situation, Some(&planned(&situation))).remove(0);
    let fall = &stock.falls[0];
    assert!((5150..5250).contains(&fall.likely_g), "{fall:?}");
    assert!(fall.grams > fall.likely_g + 300, "{fall:?}");
    let end = |levels: &[(_, i64)]| levels.last().expect("a level").1;
    assert_eq!(end(&stock.levels), 9000 - fall.grams);
    assert_eq!(end(&stock.likely), 9000 - fall.likely_g);
}

/// The one recipe takes 5 200 g of one lot. The first place leaves 3 800 g, which nothing takes any more; a lot of
/// 6 000 g is none, and where a recipe takes any lots, two rests of 3 800 g and 1 500 g serve it together.
#[test]
fn a_rest_is_stranded_that_no_recipe_can_use() {
    let stranded = |situation: &crate::situation::Situation| {
        let stock = stocks(situation, Some(&planned(situation))).remove(0);
        let rests = stock.stranded();
        rests
            .map(|it| (it.lot.code.to_string(), it.stranded_g))
            .collect::<Vec<_>>()
    };
    let mut situation = site();
    assert_eq!(stranded(&situation), [("L0001".to_owned(), 3800)]);

    situation.lots.push(lot("L0002", 6_000));
    let rest = stranded(&situation);
    assert_eq!(rest.len(), 1, "the other lot serves another part: {rest:?}");

    situation.lots = vec![lot("L0001", 9_000), lot("L0002", 1_500)];
    assert_eq!(stranded(&situation).len(), 2);
    for recipe in &mut situation.recipes {
        for spray in recipe
            .operations
            .iter_mut()
            .filter_map(|o| o.spray.as_mut())
        {
            spray.one_lot = false;
        }
    }
    assert_eq!(stranded(&situation), [], "together they are 5 300 g");
    situation.recipes.clear();
    assert!(
        stocks(&situation, None)[0].stranded().next().is_none(),
        "without a recipe nobody knows what is too little"
    );
}
