use super::site::{code, site};
use crate::catalogue::{Spray, WeighedBuild};
use crate::gas::Gas;
use crate::lineup::{Basis, LotEfficiency, Others, StageEfficiency, stage_efficiency, stage_need};
use crate::quantity::Milligrams;

/// Of 1000 g fed so many stuck, at the site's own setting and throat.
fn build(deposited_g: i64) -> WeighedBuild {
    WeighedBuild {
        fed: Milligrams::from_grams(1000),
        deposited: Milligrams::from_grams(deposited_g),
        lot: None,
        gas: Gas::Air,
        pressure_mbar: 30_000,
        temperature_c: 500,
        throat_um: site().cell.throat_um,
    }
}

fn of_lot(lot: &str, deposited_g: i64) -> WeighedBuild {
    WeighedBuild {
        lot: Some(code(lot)),
        ..build(deposited_g)
    }
}

/// The site's first stage, approved at 0.70 +- 0.03 on 4 builds, with these builds.
fn spray(weighed: Vec<WeighedBuild>) -> Spray {
    let site = site();
    let spray = site.recipes[0].sprays().next().expect("a stage");
    Spray {
        efficiency_permille: 700,
        efficiency_sd_permille: 30,
        approval_builds: 4,
        weighed,
        ..spray.clone()
    }
}

fn found(weighed: Vec<WeighedBuild>) -> StageEfficiency {
    stage_efficiency(&site(), &spray(weighed)).expect("within bounds")
}

#[test]
fn without_builds_the_approval_is_planned_with() {
    let found = found(vec![]);
    assert_eq!(found.basis, Basis::Approval);
    assert_eq!(found.predicted.efficiency, found.approval);
    assert_eq!(
        (found.weighed, found.lots.len(), found.other_nozzle),
        (None, 0, Others::None)
    );
}

/// 4 builds at 0.70 and 4 of 0.78 and 0.80 in turn: mean (4 x 0.70 + 4 x 0.79) / 8 = 0.745. Less
/// powder is loaded than by the approval.
#[test]
fn builds_in_todays_circumstances_count() {
    let found = found(vec![build(780), build(800), build(780), build(800)]);
    assert_eq!(found.basis, Basis::Builds(4));
    assert!((found.predicted.efficiency.mean() - 0.745).abs() < 1e-9);
    let weighed = found.weighed.expect("four");
    assert_eq!(weighed.builds, 4);
    assert!((weighed.mean - 0.79).abs() < 1e-9);
    // Four deviations of 0.01: sqrt(0.0004 / 3).
    assert!((weighed.sd.expect("a spread") - 0.011_547).abs() < 1e-6);
}

#[test]
fn the_need_follows_what_was_learned() {
    let need = |weighed| {
        let need = stage_need(&site(), &spray(weighed));
        need.expect("a figure").powder_g
    };
    let good: Vec<_> = (0..10).map(|i| build(780 + i)).collect();
    let bad: Vec<_> = (0..10).map(|i| build(580 + i)).collect();
    assert!(need(good) < need(vec![]));
    assert!(need(bad) > need(vec![]));
}

/// A throat worn by a tenth, with builds near 0.60 where a new one gave 0.70, is set apart; builds
/// that reach the same with it are not.
#[test]
fn another_throat_is_apart_only_where_the_data_say_so() {
    let worn = |grams| WeighedBuild {
        throat_um: site().cell.throat_um * 11 / 10,
        ..build(grams)
    };
    let new: Vec<_> = [695, 700, 705, 700, 698, 702].map(build).into();
    let differ = found([new.clone(), [595, 600, 605, 601].map(worn).into()].concat());
    assert!(
        matches!(differ.other_nozzle, Others::Apart { builds: 4, odds } if odds > 100.0),
        "{:?}",
        differ.other_nozzle
    );
    assert_eq!(differ.basis, Basis::Builds(6));
    let alike = found([new, [695, 700, 705, 701].map(worn).into()].concat());
    assert!(
        matches!(alike.other_nozzle, Others::Together { builds: 4, odds } if odds < 1.0),
        "{:?}",
        alike.other_nozzle
    );
    assert_eq!(alike.basis, Basis::Builds(10));
}

/// The site's throat changed since all builds: there is nothing to compare with, and they count.
#[test]
fn a_throat_without_builds_keeps_what_was_learned() {
    let builds: Vec<_> = [780, 790, 800]
        .map(|grams| WeighedBuild {
            throat_um: 2500,
            ..build(grams)
        })
        .into();
    let found = found(builds);
    assert_eq!(found.other_nozzle, Others::Only { builds: 3 });
    assert_eq!(found.basis, Basis::Builds(3));
}

/// A revision at another setting has an approval of its own: builds before it do not promise more
/// than that approval, but may warn of less.
#[test]
fn a_setting_without_builds_takes_the_worse_of_approval_and_others() {
    let other = |grams| WeighedBuild {
        pressure_mbar: 45_000,
        ..build(grams)
    };
    let better = found((0..8).map(|i| other(850 + i)).collect());
    assert_eq!(better.basis, Basis::Approval);
    let worse = found((0..8).map(|i| other(550 + i)).collect());
    assert_eq!(worse.basis, Basis::Builds(8));
    assert_eq!(worse.other_setting, Others::Only { builds: 8 });
}

/// Lot L-1, which the site has, gives 0.60 and lot L-9, used up, 0.70: as long as L-1 is here, its own
/// figure is planned with, and when it is gone, all lots together.
#[test]
fn of_lots_that_differ_the_worst_on_hand_is_planned_with() {
    let mut site = site();
    let here = site.lots[0].code.clone();
    let builds = [
        [695, 700, 705, 700, 698, 702].map(|g| of_lot("L-9", g)),
        [600, 602, 597, 603, 601, 599].map(|g| of_lot(here.as_str(), g)),
    ]
    .concat();
    let spray = spray(builds);
    let found = stage_efficiency(&site, &spray).expect("within bounds");
    assert_eq!(found.basis, Basis::Lot(here.clone()));
    assert!(found.lots.iter().all(LotEfficiency::is_apart));
    let on_hand = |found: &StageEfficiency| found.lots.iter().filter(|l| l.on_hand).count();
    assert_eq!((found.lots.len(), on_hand(&found)), (2, 1));
    site.lots.clear();
    let gone = stage_efficiency(&site, &spray).expect("within bounds");
    assert_eq!((gone.basis.clone(), on_hand(&gone)), (Basis::Builds(12), 0));
}

#[test]
fn lots_that_do_not_differ_are_one_pool() {
    let lots = ["L-1", "L-2"].map(|lot| [695, 700, 705].map(|g| of_lot(lot, g)));
    let found = found(lots.concat());
    assert_eq!(found.basis, Basis::Builds(6));
    assert!(found.lots.iter().all(|l| !l.is_apart()));
}

#[test]
fn a_build_that_cannot_be_is_refused() {
    let result = stage_efficiency(&site(), &spray(vec![build(1001)]));
    assert!(result.is_err());
}
