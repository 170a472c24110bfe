//! The efficiency that a stage is planned with: its approval, updated by the builds that were
//! weighed in circumstances which the data do not tell from today's.

use crate::catalogue::{Spray, WeighedBuild};
use crate::code::LotCode;
use crate::deposit::{DepositError, Efficiency, Learned, Predicted, Quantile};
use crate::powder::LotState;
use crate::situation::Situation;

/// Builds in other circumstances are set apart only where the data say so by these odds.
///
/// Ten to one is called strong evidence (Jeffreys, 'Theory of probability', appendix B; from
/// memory). Of two groups of six that do not differ, 2 in 1000 are set apart.
pub const ODDS_APART: f64 = 10.0;

/// Two throats count as the same nozzle if they differ by no more, in thousandths of today's: that
/// changes the flow by 4 %. Our choice, no source.
pub const SAME_THROAT_PERMILLE: i64 = 20;

/// The efficiency that a stage is planned with, and what it rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct StageEfficiency {
    /// What the approval says.
    pub approval: Efficiency,
    /// Every weighed build of the stage; none if there are none.
    pub weighed: Option<Weighed>,
    /// Builds at another gas, pressure or temperature.
    pub other_setting: Others,
    /// Builds with a throat other than today's.
    pub other_nozzle: Others,
    /// Each lot that the builds left came from, where there are several.
    pub lots: Vec<LotEfficiency>,
    /// What the plan rests on.
    pub basis: Basis,
    /// What the next build may reach, by that.
    pub predicted: Predicted,
}

/// Builds that were weighed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighed {
    /// How many.
    pub builds: usize,
    /// Mean of their efficiencies, of 1.
    pub mean: f64,
    /// Standard deviation of their efficiencies, of 1; none for one build.
    pub sd: Option<f64>,
}

/// What becomes of builds in circumstances other than today's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Others {
    /// There are none.
    None,
    /// There are none in today's, so nothing can be compared.
    Only {
        /// How many.
        builds: usize,
    },
    /// They count with the rest: the data do not tell them apart.
    Together {
        /// How many.
        builds: usize,
        /// The odds that they differ, to one.
        odds: f64,
    },
    /// They are left out: the data tell them apart.
    Apart {
        /// How many.
        builds: usize,
        /// The odds that they differ, to one.
        odds: f64,
    },
}

/// The builds of one lot beside those of all others.
#[derive(Debug, Clone, PartialEq)]
pub struct LotEfficiency {
    /// The lot.
    pub lot: LotCode,
    /// Its builds.
    pub weighed: Weighed,
    /// The odds that it differs from all others, to one.
    pub odds: f64,
    /// Whether some of it may still be sprayed, now or once it is released.
    pub on_hand: bool,
}

impl LotEfficiency {
    /// Whether the data tell it from all others.
    #[must_use]
    pub fn is_apart(&self) -> bool {
        self.odds >= ODDS_APART
    }
}

/// What a stage's efficiency rests on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Basis {
    /// The approval alone.
    Approval,
    /// The approval and so many builds.
    Builds(usize),
    /// The approval and the builds of one lot, as it is on hand and the worst.
    Lot(LotCode),
}

/// The efficiency that a stage is planned with.
///
/// Builds at another setting are compared first, then those with another throat among the rest, then
/// lots among what is left. Which lot a build will draw is not known when its need is reckoned: where
/// lots differ, the plan takes the worst of those on hand and of all lots together, which stands for
/// lots not weighed yet, so that the powder suffices whichever is drawn. Where no build was weighed at
/// today's setting, the worse of the approval and the others is taken, since that approval was given
/// for this setting.
///
/// # Errors
/// [`DepositError`] for an approval or a build that is out of range.
pub fn stage_efficiency(
    situation: &Situation,
    spray: &Spray,
) -> Result<StageEfficiency, DepositError> {
    let approval = Efficiency::new(
        thousandths(spray.efficiency_permille),
        thousandths(spray.efficiency_sd_permille),
    )?;
    let prior = Learned::from_approval(approval, spray.approval_builds)?;
    let all: Vec<&WeighedBuild> = spray.weighed.iter().collect();
    let (used, other_setting) = matching(prior, &all, |b| at_setting(b, spray))?;
    let (used, other_nozzle) = matching(prior, &used, |b| same_throat(situation, b))?;
    let lots = lots(situation, prior, &used)?;

    let mut bases = Vec::new();
    if used.is_empty() || matches!(other_setting, Others::Only { .. }) {
        bases.push((Basis::Approval, prior));
    }
    if !used.is_empty() {
        bases.push((Basis::Builds(used.len()), prior.after(&shares(&used))?));
    }
    for lot in lots.iter().filter(|l| l.on_hand && l.is_apart()) {
        let of_lot: Vec<&WeighedBuild> = of_lot(&used, &lot.lot).collect();
        bases.push((Basis::Lot(lot.lot.clone()), prior.after(&shares(&of_lot))?));
    }
    let (basis, predicted) = worst(situation, bases)?;
    Ok(StageEfficiency {
        approval,
        weighed: weighed(&shares(&all)),
        other_setting,
        other_nozzle,
        lots,
        basis,
        predicted,
    })
}

/// The builds to go on with: all, unless the data tell those in today's circumstances apart.
fn matching<'a>(
    prior: Learned,
    all: &[&'a WeighedBuild],
    today: impl Fn(&WeighedBuild) -> bool,
) -> Result<(Vec<&'a WeighedBuild>, Others), DepositError> {
    let (same, others): (Vec<_>, Vec<_>) = all.iter().copied().partition(|b| today(b));
    let builds = others.len();
    if others.is_empty() {
        return Ok((same, Others::None));
    }
    if same.is_empty() {
        return Ok((others, Others::Only { builds }));
    }
    let odds = prior
        .log_odds_apart(&shares(&same), &shares(&others))?
        .exp();
    Ok(if odds >= ODDS_APART {
        (same, Others::Apart { builds, odds })
    } else {
        (all.to_vec(), Others::Together { builds, odds })
    })
}

fn at_setting(build: &WeighedBuild, spray: &Spray) -> bool {
    (build.gas, build.pressure_mbar, build.temperature_c)
        == (spray.gas, spray.pressure_mbar, spray.temperature_c)
}

fn same_throat(situation: &Situation, build: &WeighedBuild) -> bool {
    let today = situation.cell.throat_um;
    (build.throat_um - today).abs() * 1000 <= SAME_THROAT_PERMILLE * today
}

/// Each lot beside the others; nothing where all builds are of one lot, or of lots nobody named.
fn lots(
    situation: &Situation,
    prior: Learned,
    builds: &[&WeighedBuild],
) -> Result<Vec<LotEfficiency>, DepositError> {
    let mut codes: Vec<&LotCode> = builds.iter().filter_map(|b| b.lot.as_ref()).collect();
    codes.sort();
    codes.dedup();
    let mut found = Vec::new();
    for code in codes {
        let (own, others): (Vec<_>, Vec<_>) = builds
            .iter()
            .copied()
            .partition(|b| b.lot.as_ref() == Some(code));
        let (own, others) = (shares(&own), shares(&others));
        if let Some(weighed) = weighed(&own).filter(|_| !others.is_empty()) {
            let lot = situation.lot(code);
            found.push(LotEfficiency {
                lot: code.clone(),
                weighed,
                odds: prior.log_odds_apart(&own, &others)?.exp(),
                on_hand: lot.is_some_and(|l| {
                    !matches!(l.state, LotState::Rejected | LotState::Empty) && l.on_hand.0 > 0
                }),
            });
        }
    }
    Ok(found)
}

fn of_lot<'a>(
    builds: &[&'a WeighedBuild],
    lot: &LotCode,
) -> impl Iterator<Item = &'a WeighedBuild> {
    builds
        .iter()
        .copied()
        .filter(move |b| b.lot.as_ref() == Some(lot))
}

/// The one that asks for most powder at the site's quantile; of equals the first.
fn worst(
    situation: &Situation,
    bases: Vec<(Basis, Learned)>,
) -> Result<(Basis, Predicted), DepositError> {
    let quantile = Quantile::new(thousandths(situation.site.need_permille))?;
    let mut worst: Option<(f64, Basis, Predicted)> = None;
    for (basis, learned) in bases {
        let predicted = learned.predicted()?;
        let reached = predicted.efficiency.reached_with(quantile).unwrap_or(0.0);
        if worst.as_ref().is_none_or(|(least, ..)| reached < *least) {
            worst = Some((reached, basis, predicted));
        }
    }
    let (_, basis, predicted) = worst.expect("there is always one basis");
    Ok((basis, predicted))
}

fn shares(builds: &[&WeighedBuild]) -> Vec<f64> {
    builds.iter().map(|b| b.efficiency()).collect()
}

fn weighed(shares: &[f64]) -> Option<Weighed> {
    let builds = shares.len();
    let count = builds as f64;
    let mean = shares.iter().sum::<f64>() / count;
    let squares: f64 = shares.iter().map(|s| (s - mean).powi(2)).sum();
    (builds > 0).then(|| Weighed {
        builds,
        mean,
        sd: (builds > 1).then(|| (squares / (count - 1.0)).sqrt()),
    })
}

const fn thousandths(value: i64) -> f64 {
    value as f64 / 1000.0
}
