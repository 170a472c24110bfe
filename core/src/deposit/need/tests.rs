use proptest::prelude::*;

use super::*;
use crate::deposit::Spraying;
use crate::gas::Stretch;

fn exactly(mean: f64) -> Efficiency {
    Efficiency::new(mean, 0.0).expect("efficiency")
}

fn need(deposited_g: f64, efficiency: Efficiency) -> PowderNeed {
    PowderNeed::new(deposited_g, efficiency, Quantile::default(), 0.0, 0.0).expect("need")
}

/// 100 cm3 of copper (8960 kg/m3) with 1 % porosity is 887.04 g; at 0.85 it takes 1043.58 g of
/// powder, 156.54 g of it overspray; at 60 g/min 17.39 min. Every figure rounds up.
#[test]
fn a_hundred_cubic_centimetres_of_copper_come_out_by_hand() {
    assert_eq!(deposited_grams(100.0, 8960.0, 0.01), Ok(888));
    let need = need(887.04, exactly(0.85));
    assert_eq!(need.fed_grams(), 1044);
    let spraying = Spraying::new(need.fed_grams(), 60.0, Stretch::NONE, 0).expect("spraying");
    assert_eq!(spraying.spray_minutes(), 18);
}

/// What an hour of spraying builds, g and cm3: aluminium 30 g/min at 0.75 with 2 % porosity
/// 1350 g / 510.2 cm3, titanium 40 at 0.80 1920 g / 434.4 (2 %), 316L 60 at 0.70 2520 g / 323.5
/// (2 %). Turned round: those volumes take just the powder of that hour.
#[test]
fn an_hour_of_spraying_is_an_hour_both_ways() {
    for (density, cm3, porosity, efficiency, feed) in [
        (2700.0, 510.2, 0.02, 0.75, 30.0),
        (4510.0, 434.4, 0.02, 0.80, 40.0),
        (7950.0, 323.5, 0.02, 0.70, 60.0),
    ] {
        let deposited = cm3 * density / 1000.0 * (1.0 - porosity);
        let fed = need(deposited, exactly(efficiency)).fed_g;
        assert!(
            (fed / (60.0 * feed) - 1.0).abs() < 0.001,
            "{fed} g, not {}",
            60.0 * feed
        );
    }
}

/// 900 g at an efficiency known to be 0.9 is 1000 g; with 40 g lost and a coupon of 25 g, 1065 g
/// have to be loaded.
#[test]
fn losses_and_coupon_are_loaded_beside_what_is_fed() {
    let need = PowderNeed::new(900.0, exactly(0.9), Quantile::default(), 40.0, 25.0).expect("need");
    assert_eq!((need.fed_grams(), need.load_grams()), (1000, 1065));
}

/// 1000 g at Beta(2, 1): in 95 of 100 builds the efficiency reaches sqrt(0.05), so 4472.1 g.
#[test]
fn an_uncertain_recipe_takes_more_powder() {
    let uncertain = Efficiency::new(2.0 / 3.0, (1.0_f64 / 18.0).sqrt()).expect("efficiency");
    assert_eq!(need(1000.0, uncertain).fed_grams(), 4473);
    assert_eq!(need(1000.0, exactly(2.0 / 3.0)).fed_grams(), 1500);
}

#[test]
fn nothing_and_absurd_masses_are_refused() {
    for grams in [0.0, -5.0, f64::NAN, f64::INFINITY, 1e300] {
        assert!(PowderNeed::new(grams, exactly(0.9), Quantile::default(), 0.0, 0.0).is_err());
        assert!(deposited_grams(grams, 8960.0, 0.01).is_err());
    }
    assert!(PowderNeed::new(1.0, exactly(0.9), Quantile::default(), -1.0, 0.0).is_err());
    assert!(PowderNeed::new(1.0, exactly(0.9), Quantile::default(), 0.0, f64::NAN).is_err());
}

proptest! {
    /// A surer plan, a lower efficiency, a wider spread or a larger part never take less powder.
    ///
    /// The spread stays below 0.6 of what is missing to an efficiency of 1. Beyond that the
    /// distribution piles up at 1, and widening it moves weight there too: at 0.944 with 0.097 the
    /// efficiency reached 80 times in 100 rises with the spread. Such figures mean that the builds
    /// weighed are not of one kind.
    #[test]
    fn need_rises_with_quantile_mass_and_doubt(
        grams in 1.0..=50_000.0, mean in 0.5..=0.95, spread in 0.0..=0.5, quantile in 0.8..=0.98,
        more in 0.001..=0.01,
    ) {
        let load = |grams, mean, sd, quantile| {
            PowderNeed::new(
                grams, Efficiency::new(mean, sd).expect("efficiency"),
                Quantile::new(quantile).expect("quantile"), 40.0, 25.0,
            ).expect("need").load_grams()
        };
        let sd = spread * (1.0 - mean);
        let here = load(grams, mean, sd, quantile);
        prop_assert!(load(grams, mean, sd, quantile + more) >= here);
        prop_assert!(load(grams + more, mean, sd, quantile) >= here);
        prop_assert!(load(grams, mean - more, sd, quantile) >= here);
        prop_assert!(load(grams, mean, sd * (1.0 + 10.0 * more), quantile) >= here);
        prop_assert!(here >= whole_up(grams) + 65);
    }

    #[test]
    fn nothing_typed_brings_it_down(
        grams in any::<f64>(), mean in any::<f64>(), sd in any::<f64>(), q in any::<f64>(),
        loss in any::<f64>(), coupon in any::<f64>(),
    ) {
        let given = Efficiency::new(mean, sd)
            .and_then(|e| PowderNeed::new(grams, e, Quantile::new(q)?, loss, coupon));
        if let Ok(need) = given {
            prop_assert!(need.load_grams() >= need.fed_grams());
        }
    }
}
