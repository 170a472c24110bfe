use proptest::prelude::*;
use statrs::statistics::Distribution;

use super::*;

fn reached(mean: f64, sd: f64, quantile: f64) -> f64 {
    Efficiency::new(mean, sd)
        .and_then(|e| e.reached_with(Quantile::new(quantile)?))
        .expect("within bounds")
}

/// A beta distribution of mean 1/2 and variance 1/12 is the uniform one, whose lower 5 % point
/// is 0.05 by hand.
#[test]
fn the_uniform_case_comes_out_by_hand() {
    assert!((reached(0.5, (1.0_f64 / 12.0).sqrt(), 0.95) - 0.05).abs() < 1e-9);
}

/// Beta(2, 1) has the distribution function x^2, mean 2/3 and variance 1/18, so its lower 5 %
/// point is sqrt(0.05) = 0.223 607.
#[test]
fn a_lopsided_case_comes_out_by_hand() {
    let low = reached(2.0 / 3.0, (1.0_f64 / 18.0).sqrt(), 0.95);
    assert!((low - 0.05_f64.sqrt()).abs() < 1e-9, "{low}");
}

/// A narrow beta is nearly normal: 0.85 +- 0.02 reaches 0.85 - 1.6449 x 0.02 = 0.8171 in 95 of
/// 100, less (1.6449^2 - 1) / 6 x 0.219 x 0.02 = 0.0012 for its skewness of -0.219 (the first
/// term of Cornish and Fisher), hence 0.8159.
#[test]
fn a_narrow_spread_is_nearly_normal() {
    let low = reached(0.85, 0.02, 0.95);
    assert!((low - 0.8159).abs() < 1e-4, "{low}");
}

#[test]
fn without_spread_every_quantile_is_the_mean() {
    for quantile in [0.5, 0.95, 0.999] {
        assert!((reached(0.85, 0.0, quantile) - 0.85).abs() < 1e-15);
        assert!((reached(1.0, 0.0, quantile) - 1.0).abs() < 1e-15);
    }
}

#[test]
fn a_spread_that_leaves_nothing_sure_is_refused_with_the_remedy() {
    assert_eq!(
        Efficiency::new(0.9, 0.4)
            .expect_err("wider than any")
            .to_string(),
        "an efficiency of 0.9 can't spread by 0.4; allowed is less than 0.300; \
         weigh more builds or give a smaller spread"
    );
    let error = Efficiency::new(0.3, 0.25)
        .and_then(|e| e.reached_with(Quantile::default()))
        .expect_err("may be near zero");
    assert!(
        matches!(error, DepositError::NoFiniteNeed { .. }),
        "{error}"
    );
    assert!(Efficiency::new(0.0, 0.0).is_err());
    assert!(Efficiency::new(1.0, 0.01).is_err());
    assert!(Quantile::new(1.0).is_err());
}

proptest! {
    /// The distribution behind the quantile has the mean and spread that were given.
    #[test]
    fn the_moments_are_kept(mean in 0.1..=0.97_f64, share in 0.01..=0.9_f64) {
        let sd = share * (mean * (1.0 - mean)).sqrt();
        let beta = Efficiency::new(mean, sd).expect("possible").distribution().expect("a spread");
        prop_assert!((beta.mean().expect("mean") - mean).abs() < 1e-9);
        prop_assert!((beta.variance().expect("variance").sqrt() - sd).abs() < 1e-9);
    }

    /// Whatever is typed, an efficiency lies above 0 and at most at 1, and the surer it must be,
    /// the lower it is.
    #[test]
    fn what_is_reached_falls_with_the_quantile(
        mean in 0.0..=1.0, sd in 0.0..=0.5, quantile in 0.5..=0.99, more in 0.0..=0.009,
    ) {
        let given = |q| Efficiency::new(mean, sd).and_then(|e| e.reached_with(Quantile::new(q)?));
        if let (Ok(sure), Ok(surer)) = (given(quantile), given(quantile + more)) {
            prop_assert!((0.01..=1.0).contains(&sure));
            prop_assert!(surer <= sure + 1e-9, "{surer} {sure}");
        }
    }

    #[test]
    fn nothing_typed_brings_it_down(mean in any::<f64>(), sd in any::<f64>(), q in any::<f64>()) {
        if let Ok(low) = Efficiency::new(mean, sd).and_then(|e| e.reached_with(Quantile::new(q)?)) {
            prop_assert!((0.01..=1.0).contains(&low));
        }
    }
}
