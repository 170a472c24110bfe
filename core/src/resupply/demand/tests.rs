use super::*;
use proptest::prelude::*;

fn near(ours: f64, published: f64, within: f64) {
    assert!((ours - published).abs() < within, "{ours}, not {published}");
}

fn poisson(mean: f64) -> Distribution {
    Distribution::of_units(Count::poisson(mean).expect("a mean")).expect("a demand")
}

fn levels(demand: &Distribution) -> [i64; 4] {
    [800, 900, 950, 990].map(|permille| demand.quantile(permille))
}

/// Kaas, Goovaerts, Dhaene and Denuit, 'Modern Actuarial Risk Theory', the example of Panjer's recursion:
/// four claims on the average, of 1, 2 or 3 with chances 1/4, 1/2, 1/4. The first by hand: g(0) = exp(-4) =
/// 0.0183156, g(1) = 4 x 1/4 g(0), g(2) = 4/2 (1/4 g(1) + 2 x 1/2 g(0)) = 2.5 g(0). Mean 4 x 2 = 8, variance
/// 4 x (1/4 + 4/2 + 9/4) = 18. The digits are ours by the same recursion, and agree with a Fourier transform.
#[test]
fn the_textbook_example_of_the_recursion() {
    let four = Count::poisson(4.0).expect("a mean");
    let demand = Distribution::compound(four, &[0.0, 0.25, 0.5, 0.25], 1).expect("a demand");
    let published = [
        0.018_315_638_9,
        0.018_315_638_9,
        0.045_789_097_2,
        0.057_999_523_1,
        0.074_025_707_2,
        0.088_678_218_3,
        0.093_129_936_1,
        0.095_702_847_2,
        0.091_782_155_8,
    ];
    for (ours, published) in demand.chances().iter().zip(published) {
        near(*ours, published, 1e-10);
    }
    for (have, published) in [
        (8, 0.583_738_762_7),
        (12, 0.854_248_822_8),
        (16, 0.964_500_150_5),
    ] {
        near(demand.chance_enough(have), published, 1e-10);
    }
    assert_eq!(demand.quantile(500), 8);
    assert_eq!(levels(&demand), [11, 14, 16, 20]);
    near(demand.mean(), 8.0, 1e-9);
    near(demand.sd().powi(2), 18.0, 1e-8);
}

/// Stuttering Poisson demand, geometric sizes, of mean m and variance over mean v: p = (v - 1) / (v + 1) goes
/// on, and m (1 - p) failures are expected (Feeney and Sherbrooke 1966, Management Science 12:391-411).
/// Chance of none, levels enough in 80, 90, 95 and 99 of 100, and what is short beside 1, 2, 3 and 5; worked
/// out by recursion and by Fourier transform apart from this program.
#[test]
fn stuttering_demand() {
    type Row = (f64, f64, f64, [i64; 4], [f64; 4]);
    let rows: [Row; 7] = [
        (
            0.5,
            1.0,
            0.606_530_66,
            [1, 1, 2, 3],
            [0.106_531, 0.016_327, 0.001_939, 0.000_015],
        ),
        (
            1.0,
            1.5,
            0.449_328_96,
            [2, 3, 3, 5],
            [0.449_329, 0.186_228, 0.072_665, 0.009_687],
        ),
        (
            2.0,
            1.0,
            0.135_335_28,
            [3, 4, 5, 6],
            [1.135_335, 0.541_341, 0.218_018, 0.022_488],
        ),
        (
            2.0,
            1.5,
            0.201_896_52,
            [3, 4, 5, 7],
            [1.201_897, 0.662_221, 0.339_624, 0.075_392],
        ),
        (
            2.0,
            3.0,
            0.367_879_44,
            [4, 5, 7, 10],
            [1.367_879, 0.919_699, 0.609_473, 0.258_224],
        ),
        (
            5.0,
            2.0,
            0.035_673_99,
            [7, 9, 11, 14],
            [4.035_674, 3.150_624, 2.380_082, 1.238_350],
        ),
        (
            10.0,
            3.0,
            0.006_737_95,
            [14, 17, 20, 26],
            [9.006_738, 8.030_321, 7.083_382, 5.330_317],
        ),
    ];
    for (mean, over, none, enough, short) in rows {
        let p: f64 = (over - 1.0) / (over + 1.0);
        let count = Count::poisson(mean * (1.0 - p)).expect("a mean");
        let goes_on = (0..80).map(|n| p.powi(n) * (1.0 - p));
        let sizes: Vec<f64> = std::iter::once(0.0).chain(goes_on).collect();
        let demand = Distribution::compound(count, &sizes, 1).expect("a demand");
        near(demand.chances()[0], none, 1e-8);
        assert_eq!(levels(&demand), enough, "{mean} {over}");
        for (have, published) in [1, 2, 3, 5].into_iter().zip(short) {
            near(demand.expected_short(have), published, 1e-6);
        }
        near(demand.sd().powi(2) / demand.mean(), over, 1e-6);
    }
}

/// Negative binomial of mean m and variance over mean v, so that the shape is m / (v - 1); values of
/// `scipy.stats.nbinom` (scipy 1.17).
#[test]
fn a_rate_that_is_learned_spreads_the_demand() {
    let rows = [
        (2.0, 1.5, 0.197_530_86, [3, 4, 5, 7]),
        (2.0, 3.0, 0.333_333_33, [3, 5, 7, 11]),
        (5.0, 2.0, 0.031_25, [7, 9, 11, 14]),
        (10.0, 3.0, 0.004_115_23, [14, 17, 20, 26]),
    ];
    for (mean, over, none, enough) in rows {
        let count = Count::negative_binomial(mean, mean / (over - 1.0)).expect("in range");
        let demand = Distribution::of_units(count).expect("a demand");
        near(demand.chances()[0], none, 1e-8);
        assert_eq!(levels(&demand), enough, "{mean} {over}");
    }
}

/// Poisson demand: what is short beside s is m - s + sum over n < s of (s - n) P(n), which is how the tables
/// of expected back-orders are made (Sherbrooke 1968, Operations Research 16:122-141). m = 1, s = 1: 1 - 1 +
/// exp(-1) = 0.367879.
#[test]
fn what_is_short_of_poisson_demand() {
    let one = [0.367_879, 0.103_638, 0.023_337, 0.004_349, 0.000_689];
    let four = [3.018_316, 2.109_894, 1.347_997, 0.781_467, 0.410_304];
    for (mean, published) in [(1.0, one), (4.0, four)] {
        for (have, published) in (1..).zip(published) {
            near(poisson(mean).expected_short(have), published, 1e-6);
        }
    }
    near(poisson(8.0).expected_short(8), 1.116_692, 1e-6);
}

/// Poisson demand of mean 5, nine times as bad to lack one: the least s enough in 9 of 10 cases is 8, where
/// the distribution first passes 0.9 (0.8666 at 7, 0.9319 at 8).
#[test]
fn the_newsvendor_stops_where_one_more_does_not_pay() {
    for (mean, under, over, level) in [
        (5.0, 9, 1, 8),
        (5.0, 3, 1, 6),
        (12.0, 19, 1, 18),
        (2.0, 1, 1, 2),
    ] {
        assert_eq!(
            newsvendor(&poisson(mean), under, over),
            Ok(level),
            "{mean} {under} {over}"
        );
    }
    let told = newsvendor(&poisson(5.0), 0, 0).expect_err("no costs");
    assert!(
        told.to_string().contains("sum of both costs is 0"),
        "{told}"
    );
}

/// exp(-5000) is no number of 64 bits. Mean and variance of a Poisson number are 5000, and the normal
/// distribution says that 5000 + 1.645 x 70.7 = 5116 are enough in 95 of 100 cases.
#[test]
fn many_failures_are_no_trouble() {
    let demand = poisson(5000.0);
    near(demand.mean(), 5000.0, 1e-5);
    near(demand.sd(), 5000f64.sqrt(), 1e-5);
    assert!(
        (5115..=5118).contains(&demand.quantile(950)),
        "{}",
        demand.quantile(950)
    );
}

fn part(per_day: f64, grams_mean: f64, grams_sd: f64) -> Part {
    let rate = Rate::Known { per_day };
    Part {
        rate,
        grams_mean,
        grams_sd,
    }
}

/// Half a failure a day of always 5 kg, for 4 days: none with chance exp(-2) = 0.1353, at most two with
/// exp(-2) (1 + 2 + 2) = 0.6767. 5 kg is a multiple of the step, so nothing is rounded.
#[test]
fn sizes_that_are_known_come_in_multiples() {
    let demand = Distribution::of_parts(&[part(0.5, 5000.0, 0.0)], 4.0).expect("a demand");
    assert_eq!(5000 % demand.step(), 0, "{}", demand.step());
    near(demand.chance_enough(4999), (-2f64).exp(), 1e-9);
    near(demand.chance_enough(10_000), 5.0 * (-2f64).exp(), 1e-9);
    near(demand.mean(), 10_000.0, 1e-5);
    assert_eq!(demand.quantile(600), 10_000);
}

/// A part that fails twice in 40 days by what was seen: over 20 days 1 failure on the average, of variance
/// 1 + 1^2 / 2 = 1.5. With 3 +- 1 kg each: mean 3 kg, variance 1 x 1 + 1.5 x 9 = 14.5, the lattice adding a
/// little. Added to another one with a known rate, means and variances add up.
#[test]
fn learned_and_known_rates_add_up() {
    let learned = Part {
        rate: Rate::Learned {
            failures: 2.0,
            days: 40.0,
        },
        ..part(0.0, 3000.0, 1000.0)
    };
    let alone = Distribution::of_parts(&[learned], 20.0).expect("a demand");
    near(alone.mean(), 3000.0, 1e-3);
    near(alone.sd(), 14.5f64.sqrt() * 1000.0, 1.0);
    // 0.1 x 20 = 2 failures of 4 +- 2 kg: mean 8 kg, variance 2 x (4 + 16) = 40.
    let both = [learned, part(0.1, 4000.0, 2000.0)];
    let both = Distribution::of_parts(&both, 20.0).expect("a demand");
    near(both.mean(), 11_000.0, 1e-2);
    near(both.sd(), 54.5f64.sqrt() * 1000.0, 2.0);
}

#[test]
fn nothing_is_asked_for_where_nothing_fails() {
    let demand = Distribution::of_parts(&[part(0.0, 4000.0, 2000.0)], 20.0).expect("a demand");
    assert_eq!((demand.mean(), demand.quantile(999)), (0.0, 0));
    assert_eq!(
        (demand.chance_enough(-1), demand.chance_enough(0)),
        (0.0, 1.0)
    );
}

#[test]
fn what_is_out_of_range_is_named() {
    let told = |part, days| {
        Distribution::of_parts(&[part], days)
            .expect_err("refused")
            .to_string()
    };
    assert!(told(part(-1.0, 5000.0, 0.0), 4.0).contains("failures a day is -1"));
    assert!(told(part(1.0, 0.0, 0.0), 4.0).contains("mean of what one failure takes is 0 g"));
    assert!(told(part(1.0, 100.0, 301.0), 4.0).contains("allowed is 0 to 300 g"));
    assert!(told(part(1.0, 100.0, 0.0), -4.0).contains("days is -4"));
    assert!(told(part(900.0, 100.0, 0.0), 100.0).contains("mean number of failures is 90000"));
    let half = Distribution::compound(Count::poisson(1.0).expect("a mean"), &[0.0, 0.5], 1);
    assert!(
        half.expect_err("half")
            .to_string()
            .contains("add up to 0.5")
    );
    let apart = Distribution::none(2).convolve(&Distribution::none(5));
    assert_eq!(apart, Err(DemandError::Steps { one: 2, other: 5 }));
}

fn parts() -> impl Strategy<Value = Vec<Part>> {
    let rate = prop_oneof![
        (0.0..0.5).prop_map(|per_day| Rate::Known { per_day }),
        ((0.5..10.0), (20.0..200.0)).prop_map(|(failures, days)| Rate::Learned { failures, days }),
    ];
    let part = (rate, 500.0..10_000.0, prop_oneof![Just(0.0), 0.1..1.5]);
    let part = part.prop_map(|(rate, mean, spread): (_, f64, f64)| Part {
        rate,
        grams_mean: mean,
        grams_sd: mean * spread,
    });
    prop::collection::vec(part, 1..4)
}

/// Failures expected in so many days times the mean of each.
fn expected(parts: &[Part], days: f64) -> f64 {
    let each = parts.iter().map(|part| {
        let per_day = match part.rate {
            Rate::Known { per_day } => per_day,
            Rate::Learned { failures, days } => failures / days,
        };
        per_day * days * part.grams_mean
    });
    each.sum()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(30))]

    /// All chances add up to 1; the mean is that of the parts, or more by the rounding of known sizes, at
    /// most half a per cent; more is never enough less often; more stock is never shorter.
    #[test]
    fn a_demand_is_a_distribution(parts in parts(), days in 1.0..30.0) {
        let demand = Distribution::of_parts(&parts, days).expect("a demand");
        prop_assert!((demand.chances().iter().sum::<f64>() - 1.0).abs() < 1e-9);
        prop_assert!(demand.chances().iter().all(|it| *it >= 0.0));
        let over = demand.mean() / expected(&parts, days);
        prop_assert!((1.0 - 1e-8..1.0051).contains(&over), "{}", over);
        let mut before = (0, f64::INFINITY, 0.0);
        for n in 0..50 {
            let level = demand.quantile(n * 20);
            let have = n * 1000;
            let (short, chance) = (demand.expected_short(have), demand.chance_enough(have));
            prop_assert!(level >= before.0 && short <= before.1 && chance >= before.2);
            before = (level, short, chance);
            prop_assert!(demand.chance_enough(level) >= n as f64 * 0.02 - 1e-9);
        }
    }
}
