use crate::word_enum;

word_enum! {
    /// A law for the drag of a sphere in fast gas.
    DragLaw {
        /// Carlson & Hoglund 1964, AIAA J. 2:1980 (form from memory).
        CarlsonHoglund = "carlson-hoglund",
        /// Henderson 1976, AIAA J. 14:707 (form from memory).
        Henderson = "henderson",
    }
}

/// How the gas meets a sphere.
#[derive(Debug, Clone, Copy)]
pub(super) struct Meeting {
    /// Reynolds number of the relative flow and the sphere's diameter, above 0.
    pub(super) reynolds: f64,
    /// Mach number of the relative flow, above 0.
    pub(super) mach: f64,
    /// Temperature of the sphere over that of the gas, in K/K.
    pub(super) wall_ratio: f64,
    /// Ratio of the gas's heat capacities.
    pub(super) gamma: f64,
}

impl DragLaw {
    /// Drag over dynamic pressure and frontal area.
    pub(super) fn coefficient(self, meeting: Meeting) -> f64 {
        match self {
            DragLaw::CarlsonHoglund => carlson_hoglund(meeting),
            DragLaw::Henderson => henderson(meeting),
        }
    }
}

fn carlson_hoglund(Meeting { reynolds, mach, .. }: Meeting) -> f64 {
    let inertia = 1.0 + 0.15 * reynolds.powf(0.687);
    let compression = 1.0 + (-0.427 / mach.powf(4.63) - 3.0 / reynolds.powf(0.88)).exp();
    let rarefaction = 1.0 + mach / reynolds * (3.82 + 1.28 * (-1.25 * reynolds / mach).exp());
    24.0 / reynolds * inertia * compression / rarefaction
}

/// One form below Mach 1, one above Mach 1.75, a straight line between them.
fn henderson(meeting: Meeting) -> f64 {
    let at = |mach| Meeting { mach, ..meeting };
    if meeting.mach <= 1.0 {
        return henderson_slow(meeting);
    }
    if meeting.mach >= 1.75 {
        return henderson_fast(meeting);
    }
    let slow = henderson_slow(at(1.0));
    slow + (meeting.mach - 1.0) / 0.75 * (henderson_fast(at(1.75)) - slow)
}

fn henderson_slow(meeting: Meeting) -> f64 {
    let Meeting {
        reynolds,
        mach,
        wall_ratio,
        gamma,
    } = meeting;
    let speed_ratio = mach * (gamma / 2.0).sqrt();
    let slip = (3.65 - 1.53 * wall_ratio) / (1.0 + 0.353 * wall_ratio)
        * (-0.247 * reynolds / speed_ratio).exp();
    let viscous = 24.0 / (reynolds + speed_ratio * (4.33 + slip));
    let wake = 0.03 * reynolds + 0.48 * reynolds.sqrt();
    let inertial = (4.5 + 0.38 * wake) / (1.0 + wake) + 0.1 * mach.powi(2) + 0.2 * mach.powi(8);
    let free_molecular = (1.0 - (-mach / reynolds).exp()) * 0.6 * speed_ratio;
    viscous + (-0.5 * mach / reynolds.sqrt()).exp() * inertial + free_molecular
}

fn henderson_fast(meeting: Meeting) -> f64 {
    let Meeting {
        reynolds,
        mach,
        wall_ratio,
        gamma,
    } = meeting;
    let speed_ratio = mach * (gamma / 2.0).sqrt();
    let rarefied = 1.86 * (mach / reynolds).sqrt();
    let free_molecular = 2.0 + 2.0 / speed_ratio.powi(2) + 1.058 / speed_ratio * wall_ratio.sqrt()
        - 1.0 / speed_ratio.powi(4);
    (0.9 + 0.34 / mach.powi(2) + rarefied * free_molecular) / (1.0 + rarefied)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drag(law: DragLaw, reynolds: f64, mach: f64) -> f64 {
        law.coefficient(Meeting {
            reynolds,
            mach,
            wall_ratio: 1.0,
            gamma: 1.4,
        })
    }

    /// Spots of both laws, computed apart from this code in Python; to the fourth decimal.
    #[test]
    fn both_laws_give_their_spots() {
        for (law, reynolds, mach, expected) in [
            (DragLaw::CarlsonHoglund, 100.0, 1.0, 1.7028),
            (DragLaw::CarlsonHoglund, 1000.0, 2.0, 0.8596),
            (DragLaw::CarlsonHoglund, 50.0, 0.5, 1.4815),
            (DragLaw::Henderson, 100.0, 1.0, 1.3288),
            (DragLaw::Henderson, 1000.0, 2.0, 1.1566),
            (DragLaw::Henderson, 50.0, 0.5, 1.5321),
            (DragLaw::Henderson, 500.0, 1.4, 1.0709),
        ] {
            let got = drag(law, reynolds, mach);
            assert!(
                (got - expected).abs() < 6e-5,
                "{law:?} {reynolds} {mach}: {got}"
            );
        }
    }

    /// Stokes 1851: 24 / Re for a slow sphere in a dense gas.
    #[test]
    fn slow_spheres_feel_the_drag_of_stokes() {
        for &law in DragLaw::ALL {
            let got = drag(law, 1e-3, 1e-9) * 1e-3 / 24.0;
            assert!((got - 1.0).abs() < 0.01, "{law:?}: {got}");
        }
    }
}
