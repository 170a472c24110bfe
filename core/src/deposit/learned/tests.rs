use proptest::prelude::*;

use super::*;
use crate::deposit::{PowderNeed, Quantile};

fn approval(mean: f64, sd: f64, builds: i64) -> Learned {
    Efficiency::new(mean, sd)
        .and_then(|efficiency| Learned::from_approval(efficiency, builds))
        .expect("within bounds")
}

fn predicted(learned: Learned, builds: &[f64]) -> Efficiency {
    learned
        .after(builds)
        .and_then(|l| l.predicted())
        .expect("within bounds")
        .efficiency
}

/// Grams for 1000 g deposited, with nothing lost and no coupon.
fn need(efficiency: Efficiency, quantile: f64) -> i64 {
    Quantile::new(quantile)
        .and_then(|q| PowderNeed::new(1000.0, efficiency, q, 0.0, 0.0))
        .expect("within bounds")
        .fed_grams()
}

/// To the last bit: the plans of a site without weighed builds are what they were.
#[test]
fn without_a_build_the_approval_stands() {
    for (mean, sd) in [(0.58, 0.035), (0.8, 0.0), (1.0, 0.0), (0.333, 0.101)] {
        let efficiency = Efficiency::new(mean, sd).expect("within bounds");
        assert_eq!(predicted(approval(mean, sd, 4), &[]), efficiency);
    }
}

/// Approval 0.60 +- 0.05 on 4 builds: s = 0.0025 x 16 / 5 = 0.008. Two builds, 0.70 and 0.66:
/// n = 6, mean (4 x 0.60 + 0.70 + 0.66) / 6 = 0.626 667; within the builds
/// 2 x 0.02^2 = 0.0008, between them and the approval 4 x 2 / 6 x 0.08^2 = 0.008 533, so
/// s = 0.017 333, and the variance of the next is 0.017 333 x 7 / 36 = 0.003 370, a spread
/// of 0.058 06.
#[test]
fn two_builds_move_mean_and_spread_as_by_hand() {
    let next = predicted(approval(0.60, 0.05, 4), &[0.70, 0.66]);
    assert!((next.mean() - 0.626_667).abs() < 1e-6, "{}", next.mean());
    assert!((next.sd() - 0.058_06).abs() < 1e-5, "{}", next.sd());
}

/// Approval 0.5 +- sqrt(2) / 5 on 1 build: s = 0.08 / 2 = 0.04, shape 1.5, scale 0.02. One build at
/// 0.5 each: n = 2, s unchanged, shape 2; log density of one is
/// lnG(2) - lnG(1.5) + 1.5 ln 0.02 - 2 ln 0.02 + ln(1/2) / 2 - ln(2 pi) / 2
/// = 0 + 0.120 782 + 1.956 012 - 0.346 574 - 0.918 939 = 0.811 281, and of both together, n = 3,
/// lnG(2.5) - lnG(1.5) - ln 0.02 + ln(1/3) / 2 - ln(2 pi)
/// = 0.405 465 + 3.912 023 - 0.549 306 - 1.837 877 = 1.930 305. Apart against together:
/// 1.622 562 - 1.930 305 = -0.307 743.
#[test]
fn the_odds_of_two_builds_come_out_by_hand() {
    let learned = approval(0.5, 2.0_f64.sqrt() / 5.0, 1);
    let odds = learned
        .log_odds_apart(&[0.5], &[0.5])
        .expect("within bounds");
    assert!((odds + 0.307_743).abs() < 1e-5, "{odds}");
    assert!(learned.log_odds_apart(&[], &[0.5]).expect("none") == 0.0);
}

/// A spread given as 0.000 may be up to 0.0005, and one build far off says that it is more:
/// 0.80 on 4 builds, one at 0.70: s = 0.0005^2 x 3.2 + 0.01 x 4 / 5 = 0.008 000 8, n = 5, mean 0.78,
/// spread sqrt(0.008 000 8 x 6) / 5 = 0.0438.
#[test]
fn an_approval_that_is_sure_learns_from_a_build() {
    let next = predicted(approval(0.80, 0.0, 4), &[0.70]);
    assert!((next.mean() - 0.78).abs() < 1e-12);
    assert!((next.sd() - 0.0438).abs() < 1e-4, "{}", next.sd());
}

/// Twenty builds near 0.66 against an approval of 0.58: the mean comes near theirs, and so does
/// the need.
#[test]
fn many_builds_outweigh_the_approval() {
    let builds: Vec<f64> = (0..20)
        .map(|i| if i % 2 == 0 { 0.65 } else { 0.67 })
        .collect();
    let learned = approval(0.58, 0.035, 4);
    let next = predicted(learned, &builds);
    assert!((next.mean() - (4.0 * 0.58 + 20.0 * 0.66) / 24.0).abs() < 1e-9);
    assert!(need(next, 0.95) < need(predicted(learned, &[]), 0.95));
}

/// Builds at 0.02 and at 1 in turn differ by more than a beta distribution can around their mean.
#[test]
fn a_spread_wider_than_any_is_cut_and_said() {
    let learned = approval(0.5, 0.49, 1).after(&[0.02, 1.0]).expect("allowed");
    let next = learned.predicted().expect("a value");
    assert!(next.cut);
    assert!(next.efficiency.sd() < 0.5);
    assert!(approval(1.0, 0.0, 4).after(&[1.0]).is_ok());
}

#[test]
fn what_is_no_efficiency_is_refused() {
    let learned = approval(0.6, 0.05, 4);
    for share in [0.0, 0.019, 1.001, f64::NAN, f64::INFINITY] {
        assert!(learned.after(&[share]).is_err(), "{share}");
    }
    let efficiency = Efficiency::new(0.6, 0.05).expect("within bounds");
    for builds in [i64::MIN, 0, 1001] {
        assert!(
            Learned::from_approval(efficiency, builds).is_err(),
            "{builds}"
        );
    }
}

/// The next build, drawn from what the approval says, is covered by the powder planned for 19 of 20
/// in 95 +- 2 of 100, whether no build was weighed before it or many were. Of 40 000 trials it was 95.4 to
/// 95.8 of 100.
#[test]
fn planned_powder_suffices_as_often_as_said() {
    for weighed in [0, 1, 3, 10, 30] {
        let covered = covered(weighed, 4000);
        assert!(
            (0.93..=0.97).contains(&covered),
            "{weighed} weighed: {covered}"
        );
    }
}

/// The share of trials in which the next build reaches what was planned with. Each trial draws a
/// variance and a mean from the approval 0.7 +- 0.04 on 4 builds: the variance is scale / Gamma(3),
/// scale 0.0016 x 3.2 / 2, the mean normal around 0.7 with a fourth of that variance.
fn covered(weighed: usize, trials: u32) -> f64 {
    let learned = approval(0.7, 0.04, 4);
    let quantile = Quantile::default();
    let mut random = fastrand::Rng::with_seed(2026);
    let mut enough = 0_u32;
    for _ in 0..trials {
        let gamma: f64 = (0..3).map(|_| -(1.0 - random.f64()).ln()).sum();
        let sd = (0.0016 * 3.2 / 2.0 / gamma).sqrt();
        let mean = 0.7 + normal(&mut random) * sd / 2.0;
        let mut build = || (mean + normal(&mut random) * sd).clamp(0.02, 1.0);
        let builds: Vec<f64> = (0..weighed).map(|_| build()).collect();
        let reached = predicted(learned, &builds).reached_with(quantile);
        if build() >= reached.expect("narrow enough") {
            enough += 1;
        }
    }
    f64::from(enough) / f64::from(trials)
}

/// A standard normal number, after Box and Muller.
fn normal(random: &mut fastrand::Rng) -> f64 {
    (-2.0 * (1.0 - random.f64()).ln()).sqrt() * (TAU * random.f64()).cos()
}

/// Two groups of six at a spread of 0.025: of 1000 pairs that do not differ, 2 are told apart by ten to
/// one; of those that differ by two, three and four spreads 425, 738 and 897.
#[test]
fn groups_are_told_apart_where_they_differ() {
    let apart = |shift: f64| {
        let mut random = fastrand::Rng::with_seed(7);
        let learned = approval(0.7, 0.03, 4);
        let trials = (0..1000).filter(|_| {
            let mut group = |mean: f64| -> Vec<f64> {
                (0..6).map(|_| mean + 0.025 * normal(&mut random)).collect()
            };
            let (some, others) = (group(0.7), group(0.7 - shift));
            let odds = learned.log_odds_apart(&some, &others);
            odds.expect("within bounds") >= 10.0_f64.ln()
        });
        trials.count()
    };
    assert!(apart(0.0) <= 10, "{}", apart(0.0));
    assert!(apart(0.075) >= 700, "{}", apart(0.075));
    assert!(apart(0.1) >= 850, "{}", apart(0.1));
}

proptest! {
    /// One more build at the very mean: the spread never widens, nor does the need rise.
    #[test]
    fn more_of_the_same_never_widens(
        mean in 0.2..0.95_f64, share in 0.01..0.3_f64, builds in 1..50_i64, more in 1..30_usize,
    ) {
        let sd = share * (mean * (1.0 - mean)).sqrt();
        prop_assume!(sd >= LEAST_SD);
        let learned = approval(mean, sd, builds);
        let (few, many) = (vec![mean; more - 1], vec![mean; more]);
        let (few, many) = (predicted(learned, &few), predicted(learned, &many));
        prop_assert!(many.sd() <= few.sd() * (1.0 + 1e-9), "{} {}", many.sd(), few.sd());
        prop_assert!(need(many, 0.95) <= need(few, 0.95) + 1);
    }

    /// The surer, the more powder; better builds, never more.
    #[test]
    fn need_rises_with_the_quantile(
        shares in prop::collection::vec(0.4..0.9_f64, 0..20), quantile in 0.5..0.98, more in 0.0..0.019,
    ) {
        let next = predicted(approval(0.65, 0.05, 4), &shares);
        prop_assert!(need(next, quantile + more) >= need(next, quantile));
    }

    /// Weighed in another order, the same is learned.
    #[test]
    fn the_order_does_not_matter(mut shares in prop::collection::vec(0.02..1.0_f64, 1..20)) {
        let learned = approval(0.65, 0.05, 4);
        let one = predicted(learned, &shares);
        shares.reverse();
        let other = predicted(learned, &shares);
        prop_assert!((one.mean() - other.mean()).abs() < 1e-12);
        prop_assert!((one.sd() - other.sd()).abs() < 1e-9);
    }

    /// Whatever is weighed, there is a mean, a spread and odds, all of them numbers.
    #[test]
    fn there_is_always_an_answer(
        mean in 0.01..=1.0_f64, share in 0.0..0.999_f64, builds in 1..=1000_i64,
        some in prop::collection::vec(0.02..=1.0_f64, 0..12),
        others in prop::collection::vec(0.02..=1.0_f64, 0..12),
    ) {
        let sd = share * (mean * (1.0 - mean)).sqrt();
        let learned = approval(mean, sd, builds);
        let next = learned.after(&some).and_then(|l| l.predicted()).expect("an answer");
        prop_assert!((0.01..=1.0).contains(&next.efficiency.mean()));
        prop_assert!(learned.log_odds_apart(&some, &others).expect("odds").is_finite());
        if let Ok(low) = next.efficiency.reached_with(Quantile::default()) {
            prop_assert!((0.01..=1.0).contains(&low));
        }
    }
}
