use super::draw::{Before, Pace, end_density};
use super::expansion::expanded;
use super::range::{whole_down, whole_up, within};
use super::state::{State, density};
use super::{Bar, Celsius, Gas, GasError};

/// Bottles on one manifold: what they hold, and what of it serves a recipe.
///
/// Masses are the real gas at the temperature as read, drawn so slowly that it keeps it
/// (isothermal). A fast draw cools the rest and yields less; [`Bank::usable_fast_grams`] is the
/// least that it can yield. The truth lies between, and the bank recovers as it warms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bank {
    gas: Gas,
    water_volume_l: f64,
    bar: Bar,
    celsius: Celsius,
    content_g: f64,
}

impl Bank {
    /// A bank of 0.1 to 100 000 l water volume in all, read at -60 to 80 C.
    ///
    /// # Errors
    /// [`GasError::OutOfRange`] outside these bounds.
    pub fn new(
        gas: Gas,
        water_volume_l: f64,
        bar: Bar,
        celsius: Celsius,
    ) -> Result<Bank, GasError> {
        within(
            "water volume of the bank",
            "l",
            water_volume_l,
            0.1..=100_000.0,
        )?;
        within("temperature of the bank", "C", celsius.get(), -60.0..=80.0)?;
        // A litre at 1 kg/m3 holds a gram.
        let content_g = density(gas, bar, celsius)?.get() * water_volume_l;
        Ok(Bank {
            gas,
            water_volume_l,
            bar,
            celsius,
            content_g,
        })
    }

    /// What it holds.
    #[must_use]
    pub const fn gas(&self) -> Gas {
        self.gas
    }

    /// Water volume of all its bottles, in litres.
    #[must_use]
    pub const fn water_volume_l(&self) -> f64 {
        self.water_volume_l
    }

    /// Its pressure.
    #[must_use]
    pub const fn bar(&self) -> Bar {
        self.bar
    }

    /// Its temperature.
    #[must_use]
    pub const fn celsius(&self) -> Celsius {
        self.celsius
    }

    /// Grams in the bottles now, rounded down.
    #[must_use]
    pub fn content_grams(&self) -> i64 {
        whole_down(self.content_g)
    }

    /// Grams that these bottles would hold at another pressure and the same temperature, rounded
    /// down.
    ///
    /// # Errors
    /// [`GasError::NoState`] if the equation of state fails, which no test has seen.
    pub fn content_grams_at(&self, bar: Bar) -> Result<i64, GasError> {
        Ok(whole_down(self.grams_at(bar)?))
    }

    /// Grams that these bottles hold at the most that is reckoned with, 400 bar.
    ///
    /// # Errors
    /// As for [`Bank::content_grams_at`].
    pub fn most_grams(&self) -> Result<i64, GasError> {
        self.content_grams_at(Bar::new(400.0)?)
    }

    /// Grams that can be drawn before the pressure falls to `floor`, rounded down; none below it.
    ///
    /// The floor is what the recipe needs at the nozzle plus the drop of regulator and hose.
    ///
    /// # Errors
    /// As for [`Bank::content_grams_at`].
    pub fn usable_grams(&self, floor: Bar) -> Result<i64, GasError> {
        Ok(whole_down(
            (self.content_g - self.grams_at(floor)?).max(0.0),
        ))
    }

    /// Grams that can be drawn down to `floor` so fast that no heat reaches the gas (adiabatic),
    /// rounded down; none below the floor.
    ///
    /// What stays expands at the same entropy, by the equation of state; bottle walls warm it in
    /// truth, so a draw yields more than this and less than [`Bank::usable_grams`].
    ///
    /// # Errors
    /// [`GasError::TooCold`] if the rest would be colder than 90 K or might turn liquid.
    pub fn usable_fast_grams(&self, floor: Bar) -> Result<i64, GasError> {
        if floor >= self.bar {
            return Ok(0);
        }
        let now = State::at(self.gas, self.bar, self.celsius)?.with_energy();
        let left_g = expanded(self.gas, &now, floor)?.density() * self.water_volume_l;
        Ok(whole_down((self.content_g - left_g).max(0.0)))
    }

    /// Grams that can be drawn down to `floor` in one go at a pace, rounded down; none below the
    /// floor. Never more than [`Bank::usable_grams`], never less than [`Bank::usable_fast_grams`].
    ///
    /// # Errors
    /// [`GasError::NoState`] if the equation of state fails, which no test has seen.
    pub fn usable_grams_at(&self, pace: Pace, floor: Bar) -> Result<i64, GasError> {
        if floor >= self.bar {
            return Ok(0);
        }
        let before = Before::Density(self.content_g / self.water_volume_l);
        let end = end_density(self.gas, self.celsius, floor, before, pace)?;
        Ok(whole_down(
            (self.content_g - end * self.water_volume_l).max(0.0),
        ))
    }

    /// Grams that must be left in the bottles after a draw of so many grams, rounded up, so that the
    /// pressure is not below `floor` when the draw ends. The bottles then warm up again.
    ///
    /// It depends on the draw alone, not on what the bank holds before: a draw is served if the bank
    /// holds the draw and this.
    ///
    /// # Errors
    /// [`GasError::MoreThanHeld`] for a draw that these bottles never hold at 400 bar.
    pub fn floor_grams(&self, drawn: i64, pace: Pace, floor: Bar) -> Result<i64, GasError> {
        let most = self.most_grams()?;
        if drawn > most {
            return Err(GasError::MoreThanHeld {
                asked: drawn,
                held: most,
            });
        }
        #[expect(
            clippy::cast_precision_loss,
            reason = "a bank holds far less than 2^53 grams"
        )]
        let before = Before::More(drawn.max(0) as f64 / self.water_volume_l);
        let end = end_density(self.gas, self.celsius, floor, before, pace)?;
        Ok(whole_up(end * self.water_volume_l))
    }

    /// The bank after so many grams were drawn and it has warmed to its temperature again.
    ///
    /// # Errors
    /// [`GasError::MoreThanHeld`] if it does not hold that much; [`GasError::OutOfRange`] if the
    /// rest is below 0.1 bar, or if `grams` is negative and the bank would pass 400 bar.
    pub fn after_drawing(&self, grams: i64) -> Result<Bank, GasError> {
        let held = self.content_grams();
        if grams > held {
            return Err(GasError::MoreThanHeld { asked: grams, held });
        }
        #[expect(
            clippy::cast_precision_loss,
            reason = "a bank holds far less than 2^53 grams"
        )]
        let left_g = self.content_g - grams as f64;
        self.holding(left_g, self.celsius)
    }

    /// The same closed bottles at another temperature: the mass stays, the pressure follows.
    ///
    /// # Errors
    /// [`GasError::OutOfRange`] outside -60 to 80 C or beyond 400 bar.
    pub fn at_temperature(&self, celsius: Celsius) -> Result<Bank, GasError> {
        within("temperature of the bank", "C", celsius.get(), -60.0..=80.0)?;
        self.holding(self.content_g, celsius)
    }

    fn holding(&self, content_g: f64, celsius: Celsius) -> Result<Bank, GasError> {
        let mut state = State::at(self.gas, self.bar, celsius)?;
        state.move_to(celsius.kelvin(), content_g / self.water_volume_l);
        Ok(Bank {
            bar: Bar::new(state.bar())?,
            celsius,
            content_g,
            ..*self
        })
    }

    fn grams_at(&self, bar: Bar) -> Result<f64, GasError> {
        Ok(density(self.gas, bar, self.celsius)?.get() * self.water_volume_l)
    }
}

#[cfg(test)]
mod tests;
