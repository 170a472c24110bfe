//! The demand of several parts together.

use super::{Count, DemandError, Distribution, size};
use crate::gas::range::{whole_down, whole_up, within};

/// As many steps as a whole demand is worked out in, up to eight standard deviations above its mean.
const MOST_STEPS: f64 = 8000.0;

/// A step is no more than this share of a size that is known, and of the mean of one that spreads (our
/// choice).
const SHARE_OF_KNOWN: f64 = 0.005;
const SHARE_OF_MEAN: f64 = 0.02;

/// What failures of one part take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// How often it fails.
    pub rate: Rate,
    /// What one failure takes on the average, in grams, 1 to a million.
    pub grams_mean: f64,
    /// The standard deviation of that, in grams, at most three times the mean; less than a
    /// thousandth of it counts as always the same.
    pub grams_sd: f64,
}

/// How often something fails.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rate {
    /// So many times a day, which is taken as known.
    Known {
        /// Failures a day.
        per_day: f64,
    },
    /// Known from what was seen: a gamma distribution of that shape, as if so many failures had come in so
    /// many days.
    Learned {
        /// The failures.
        failures: f64,
        /// The days, above 0.
        days: f64,
    },
}

impl Rate {
    /// The number of failures in so many days.
    fn count(self, days: f64) -> Result<Count, DemandError> {
        match self {
            Rate::Known { per_day } => {
                Count::poisson(within("failures a day", "", per_day, 0.0..=1000.0)? * days)
            }
            Rate::Learned {
                failures,
                days: seen,
            } => {
                let seen = within("days behind a rate", "d", seen, 1e-3..=1e6)?;
                Count::negative_binomial(failures / seen * days, failures)
            }
        }
    }
}

/// A part's count and size, checked.
struct Checked {
    count: Count,
    known: bool,
    mean: f64,
    sd: f64,
}

impl Distribution {
    /// What parts take together within so many days, 0 to 3650, in grams.
    ///
    /// The step is chosen here: fine enough that a size which is known is rounded up by little, half a per
    /// cent unless failures are many, and coarse enough for some thousand steps. Sizes that spread keep their
    /// mean.
    ///
    /// # Errors
    /// A number outside what is allowed.
    pub fn of_parts(parts: &[Part], days: f64) -> Result<Distribution, DemandError> {
        let days = within("days", "d", days, 0.0..=3650.0)?;
        let checked = parts.iter().map(|part| Checked::of(part, days));
        let checked: Vec<Checked> = checked.collect::<Result<_, _>>()?;
        let step = step(&checked);
        let sizes = |part: &Checked| size::chances(part.mean / step as f64, part.sd / step as f64);
        let mut demand = known_rates(&checked, step, &sizes)?;
        for part in checked.iter().filter(|part| !part.known) {
            let one = Distribution::compound(part.count, &sizes(part), step)?;
            demand = demand.convolve(&one)?;
        }
        Ok(demand)
    }
}

impl Checked {
    fn of(part: &Part, days: f64) -> Result<Checked, DemandError> {
        let mean = within(
            "mean of what one failure takes",
            "g",
            part.grams_mean,
            1.0..=1e6,
        )?;
        let most = 3.0 * mean;
        let sd = within(
            "spread of what one failure takes",
            "g",
            part.grams_sd,
            0.0..=most,
        )?;

        // So narrow a spread is none on any step worked in.
        let sd = if sd < mean / 1000.0 { 0.0 } else { sd };
        Ok(Checked {
            count: part.rate.count(days)?,
            known: matches!(part.rate, Rate::Known { .. }),
            // A need is rounded up to the gram.
            mean: if sd > 0.0 {
                mean
            } else {
                whole_up(mean) as f64
            },
            sd,
        })
    }

    fn variance(&self) -> f64 {
        self.count.mean() * self.sd.powi(2) + self.count.variance() * self.mean.powi(2)
    }
}

/// Compound Poisson demands are one compound Poisson demand, whose sizes are mixed as the rates are.
fn known_rates(
    parts: &[Checked],
    step: i64,
    sizes: &dyn Fn(&Checked) -> Vec<f64>,
) -> Result<Distribution, DemandError> {
    let known = || parts.iter().filter(|part| part.known);
    let total: f64 = known().map(|part| part.count.mean()).sum();
    if total <= 0.0 {
        return Ok(Distribution::none(step));
    }
    let mut mixed = Vec::new();
    for part in known() {
        let sizes = sizes(part);
        mixed.resize(sizes.len().max(mixed.len()), 0.0);
        for (sum, chance) in mixed.iter_mut().zip(sizes) {
            *sum += chance * part.count.mean() / total;
        }
    }
    Distribution::compound(Count::poisson(total)?, &mixed, step)
}

/// The step to work in: of those between half and all of what is allowed the one that rounds known sizes up
/// by least.
fn step(parts: &[Checked]) -> i64 {
    let asked = || parts.iter().filter(|part| part.count.mean() > 0.0);
    let wanted = asked().map(|part| match part.sd {
        0.0 => part.mean * SHARE_OF_KNOWN,
        _ => part.mean * SHARE_OF_MEAN,
    });
    let wanted = wanted.fold(f64::INFINITY, f64::min);
    let mean: f64 = asked().map(|part| part.count.mean() * part.mean).sum();
    let variance: f64 = asked().map(Checked::variance).sum();
    let reach = mean + 8.0 * variance.sqrt();
    let most = whole_down(wanted.max(reach / MOST_STEPS).clamp(1.0, 1e9));
    let rounding = |step: i64| {
        let fixed = asked().filter(|part| part.sd == 0.0);
        let each = fixed.map(|part| {
            let step = step as f64;
            part.count.mean() * ((part.mean / step).ceil() * step - part.mean)
        });
        each.sum::<f64>()
    };
    let steps = (most / 2 + 1)..=most;
    let best = steps
        .rev()
        .min_by(|a, b| rounding(*a).total_cmp(&rounding(*b)));
    best.unwrap_or(1)
}
