use super::{DepositError, Efficiency, Quantile};
use crate::gas::range::{whole_up, within};

/// Powder that one stage of a build needs: its inputs, checked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowderNeed {
    fed_g: f64,
    spray_g: f64,
    heel_g: f64,
}

impl PowderNeed {
    /// Takes the mass to deposit (machining allowance and run-out past the edges included), the
    /// efficiency, the quantile, powder lost at starts and stops, and powder for the coupon
    /// sprayed beside the part; all masses in grams.
    ///
    /// Fed to the part = deposited / efficiency reached with that probability; to load = fed +
    /// start-stop loss + coupon, and the heel where the feeder begins empty ([`PowderNeed::with_heel`]).
    ///
    /// # Errors
    /// [`DepositError`] for a mass that is not 0 to 1 000 000 g (nothing to deposit is refused),
    /// or for an efficiency that may be near zero.
    pub fn new(
        deposited_g: f64,
        efficiency: Efficiency,
        quantile: Quantile,
        start_stop_loss_g: f64,
        coupon_g: f64,
    ) -> Result<PowderNeed, DepositError> {
        within("mass to deposit", "g", deposited_g, 0.001..=1e6)?;
        within("start-stop loss", "g", start_stop_loss_g, 0.0..=1e6)?;
        within("coupon", "g", coupon_g, 0.0..=1e6)?;
        let fed_g = deposited_g / efficiency.reached_with(quantile)?;
        Ok(PowderNeed {
            fed_g,
            spray_g: fed_g + start_stop_loss_g + coupon_g,
            heel_g: 0.0,
        })
    }

    /// With so many grams more to load that the feeder keeps when it runs dry: its heel, which is not
    /// sprayed. A feeder that holds this powder already has it.
    ///
    /// # Errors
    /// [`DepositError::OutOfRange`] unless 0 to 1 000 000 g.
    pub fn with_heel(self, heel_g: f64) -> Result<PowderNeed, DepositError> {
        within("heel of the feeder", "g", heel_g, 0.0..=1e6)?;
        Ok(PowderNeed { heel_g, ..self })
    }

    /// Grams fed to the part, rounded up.
    #[must_use]
    pub fn fed_grams(&self) -> i64 {
        whole_up(self.fed_g)
    }

    /// Grams that leave the feeder in this stage, rounded up.
    #[must_use]
    pub fn spray_grams(&self) -> i64 {
        whole_up(self.spray_g)
    }

    /// Grams to load for this stage, rounded up.
    #[must_use]
    pub fn load_grams(&self) -> i64 {
        whole_up(self.spray_g + self.heel_g)
    }
}

/// Grams of a volume to deposit, rounded up: volume x density of the solid x (1 - porosity).
///
/// # Errors
/// [`DepositError::OutOfRange`] unless 0.001 to 1 000 000 cm3, 500 to 25 000 kg/m3 and a porosity
/// of 0 to 0.5.
pub fn deposited_grams(
    volume_cm3: f64,
    solid_kg_per_m3: f64,
    porosity: f64,
) -> Result<i64, DepositError> {
    within("volume to deposit", "cm3", volume_cm3, 0.001..=1e6)?;
    within(
        "density of the solid",
        "kg/m3",
        solid_kg_per_m3,
        500.0..=25_000.0,
    )?;
    within("porosity", "(of 1)", porosity, 0.0..=0.5)?;
    Ok(whole_up(
        volume_cm3 * solid_kg_per_m3 / 1000.0 * (1.0 - porosity),
    ))
}

#[cfg(test)]
mod tests;
