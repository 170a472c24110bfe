//! The words for a flight, for what differs from the recipe as approved, and for what is missing.

use mendpost_core::deposit::Outlook;
use mendpost_core::lineup::{Difference, Flight, GasSource};

use super::bar;
use super::work::sentence;

/// 'No objection; its 15 % reach down to ‘marginal: spray a coupon first’.'
pub fn verdict(flight: &Flight) -> String {
    let word = sentence(flight.outlook.as_str());
    let [low, high] = flight.reach;
    match (low == flight.outlook, high == flight.outlook) {
        (true, true) => format!("{word}, the 15 % counted."),
        (false, true) => format!("{word}; its 15 % reach down to ‘{low}’."),
        (true, false) => format!("{word}; its 15 % reach up to ‘{high}’."),
        (false, false) => format!("{word}; its 15 % reach from ‘{low}’ to ‘{high}’."),
    }
}

/// The mark that stands beside the words.
pub const fn mark(outlook: Outlook) -> &'static str {
    match outlook {
        Outlook::Unlikely => "lost",
        Outlook::Marginal => "waits",
        Outlook::Clear => "ready",
        Outlook::Erosion => "hold",
    }
}

/// Where the gas may leave the wall of the nozzle.
pub fn wall(flight: &Flight) -> Option<String> {
    flight.may_leave_wall().then(|| {
        format!(
            "At the exit the gas has {}, less than 0.4 of the air’s {}: it may leave the wall, and \
             particles are then slower than reckoned.",
            hundredth_bar(flight.exit_mbar),
            hundredth_bar(flight.air_mbar)
        )
    })
}

/// '0.34 bar'.
pub fn hundredth_bar(mbar: i64) -> String {
    let rounded = (mbar + 5).div_euclid(10);
    format!("{}.{:02} bar", rounded / 100, rounded % 100)
}

/// One thing that is not as approved, today.
pub fn difference(difference: &Difference) -> String {
    match difference {
        Difference::Throat {
            machined_um,
            gauged_um,
        } => format!(
            "throat {}, as machined {}",
            millimetres(*gauged_um),
            millimetres(*machined_um)
        ),
        Difference::NoGas { gas } => format!("no {gas} here"),
        Difference::Pressure {
            asked_mbar,
            reached_mbar,
            by,
        } => {
            let (reached, asked) = (bar(*reached_mbar), bar(*asked_mbar));
            match by {
                Some(GasSource::Bank(bank)) => {
                    format!("bank {bank} brings {reached} to the nozzle, {asked} asked")
                }
                Some(GasSource::Compressor) => {
                    format!("the compressor reaches {reached}, {asked} asked")
                }
                None => format!("the cell bears {reached}, {asked} asked"),
            }
        }
        Difference::Temperature { asked_c, held_c } => {
            format!("the heater holds {held_c} °C, {asked_c} °C asked")
        }
    }
}

/// '2.04 mm'.
pub fn millimetres(um: i64) -> String {
    format!("{}.{:02} mm", um / 1000, (um % 1000 + 5) / 10)
}

#[cfg(test)]
mod tests {
    use super::*;
    use mendpost_core::deposit::BondModel;

    fn flight(reach: [Outlook; 2], outlook: Outlook) -> Flight {
        Flight {
            gas_m_s: 1052,
            carlson_hoglund_m_s: 604,
            henderson_m_s: 633,
            particle_c: 129,
            critical_m_s: 460,
            erosion_m_s: 920,
            model: BondModel::Schmidt2006,
            ratio_permille: 1345,
            low_permille: 1143,
            high_permille: 1547,
            outlook,
            reach,
            exit_mbar: 336,
            air_mbar: 1013,
        }
    }

    #[test]
    fn the_words_tell_how_far_the_uncertainty_reaches() {
        let clear = Outlook::Clear;
        let told = |reach, outlook| verdict(&flight(reach, outlook));
        assert_eq!(
            told([clear, clear], clear),
            "No objection, the 15 % counted."
        );
        assert_eq!(
            told([Outlook::Marginal, clear], clear),
            "No objection; its 15 % reach down to ‘marginal: spray a coupon first’."
        );
        assert_eq!(
            told([Outlook::Unlikely, clear], Outlook::Marginal),
            "Marginal: spray a coupon first; its 15 % reach from ‘unlikely to build’ to ‘no \
             objection’."
        );
    }

    /// 0.4 of 1.013 bar is 0.405; the exit has 0.336.
    #[test]
    fn gas_that_may_leave_the_wall_is_told_with_both_pressures() {
        let thin = flight([Outlook::Clear; 2], Outlook::Clear);
        let told = wall(&thin).expect("a warning");
        assert!(
            told.contains("0.34 bar, less than 0.4 of the air’s 1.01 bar"),
            "{told}"
        );
        let full = Flight {
            exit_mbar: 410,
            ..thin
        };
        assert_eq!(wall(&full), None);
    }
}
