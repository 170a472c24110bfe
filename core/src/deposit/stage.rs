use super::DepositError;
use crate::gas::range::{whole_up, within};
use crate::gas::{KgPerHour, Stretch};

/// The spraying of one stage: how long it takes and how much gas flows meanwhile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spraying {
    minutes: f64,
    stretch: Stretch,
    handling_minutes: i64,
}

impl Spraying {
    /// Takes the grams to feed, the feed rate (0.1 to 1000 g/min), how much longer it takes
    /// because gas must be waited for, and the recipe's allowance for handling in minutes.
    ///
    /// # Errors
    /// [`DepositError::OutOfRange`] outside these bounds, unless 0 to 1 000 000 g, or unless 0 to
    /// 10 000 minutes of handling.
    pub fn new(
        fed_grams: i64,
        feed_g_per_min: f64,
        stretch: Stretch,
        handling_minutes: i64,
    ) -> Result<Spraying, DepositError> {
        #[expect(
            clippy::cast_precision_loss,
            reason = "what loses precision is out of range"
        )]
        let (fed, handling) = (fed_grams as f64, handling_minutes as f64);
        within("powder to feed", "g", fed, 0.0..=1e6)?;
        within("feed rate", "g/min", feed_g_per_min, 0.1..=1000.0)?;
        within("handling allowance", "min", handling, 0.0..=10_000.0)?;
        Ok(Spraying {
            minutes: fed / feed_g_per_min,
            stretch,
            handling_minutes,
        })
    }

    /// Minutes during which powder and gas flow, rounded up.
    #[must_use]
    pub fn spray_minutes(&self) -> i64 {
        whole_up(self.minutes)
    }

    /// Minutes that the stage holds the cell: spraying, stretched by waits for gas, and handling.
    #[must_use]
    pub fn cell_minutes(&self) -> i64 {
        whole_up(self.minutes * self.stretch.get()) + self.handling_minutes
    }

    /// Grams of gas while powder flows, rounded up; none flows while gas is waited for.
    #[must_use]
    pub fn gas_grams(&self, flow: KgPerHour) -> i64 {
        flow.grams_in(self.spray_minutes())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1044 g at 60 g/min is 17.4 min, so 18; at a stretch of 1.6 it is 27.84, so 28, and with
    /// 12 min of handling the cell is taken for 40. Gas flows for 18 min: 90 kg/h x 18 / 60 =
    /// 27 kg.
    #[test]
    fn waiting_for_gas_takes_time_but_no_gas() {
        let stretch = Stretch::new(1.6).expect("stretch");
        let spraying = Spraying::new(1044, 60.0, stretch, 12).expect("spraying");
        assert_eq!(spraying.spray_minutes(), 18);
        assert_eq!(spraying.cell_minutes(), 40);
        assert_eq!(
            spraying.gas_grams(KgPerHour::new(90.0).expect("flow")),
            27_000
        );
    }

    /// Common practice, no source: a few kilograms of aluminium build up in about two hours, and a dense
    /// alloy several times faster by mass, since copper is three to four times as dense and feeders and
    /// jets go by volume. 2.7 kg at 75 % are 3600 g to feed, at 30 g/min (11.1 cm3/min) 120 min; copper by
    /// the same volume is 30 x 8.96 / 2.70 = 99.6 g/min and 3.3 times the mass in the same time.
    #[test]
    fn the_usual_rates_of_the_trade_come_out_as_a_crew_knows_them() {
        let (aluminium, copper) = (2.70, 8.96);
        assert!((3.0..4.0).contains(&(copper / aluminium)));
        let light = Spraying::new(3600, 30.0, Stretch::NONE, 0).expect("spraying");
        assert_eq!(light.spray_minutes(), 120);
        let dense = Spraying::new(3600, 30.0 * copper / aluminium, Stretch::NONE, 0);
        assert_eq!(dense.expect("spraying").spray_minutes(), 37);
    }

    #[test]
    fn a_whole_number_of_minutes_is_not_rounded_further() {
        let spraying = Spraying::new(1200, 60.0, Stretch::NONE, 0).expect("spraying");
        assert_eq!(
            (spraying.spray_minutes(), spraying.cell_minutes()),
            (20, 20)
        );
    }

    #[test]
    fn absurd_figures_are_refused() {
        let given = |fed, feed, handling| Spraying::new(fed, feed, Stretch::NONE, handling);
        assert!(given(-1, 60.0, 0).is_err());
        assert!(given(i64::MAX, 60.0, 0).is_err());
        assert!(given(1000, 0.0, 0).is_err());
        assert!(given(1000, f64::NAN, 0).is_err());
        assert!(given(1000, 60.0, i64::MIN).is_err());
        assert!(Stretch::new(0.5).is_err());
    }
}
