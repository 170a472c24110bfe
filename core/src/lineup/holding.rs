//! What keep-backs hold at the moment, where it lies, and how long it lasts.

use super::hold::{kept_level_g, recipes_for};
use super::least::least;
use super::line_up::LineUp;
use super::need::{bank, stage_need};
use super::stock::{LotStock, stock};
use super::supply::{content_g, landing};
use crate::catalogue::Recipe;
use crate::code::{AssetCode, DeliveryCode, LotCode, PowderCode};
use crate::gas::Bar;
use crate::situation::{Bank, Brings, Held, KeepBack, Situation};
use chrono::{DateTime, Utc};
use std::collections::BTreeSet;

/// What a keep-back holds. Of several of one powder or bank the lowest number comes first.
#[derive(Debug, Clone, PartialEq)]
pub struct Holding<'a> {
    /// Which.
    pub keep_back: &'a KeepBack,
    /// Grams of it that are there now; of gas, above the pressure that the machines' recipes ask for.
    pub there_g: i64,
    /// The delivery with which all of it is there, where some is missing and one is expected that brings it.
    pub filled_by: Option<(DeliveryCode, DateTime<Utc>)>,
    /// Where it lies when the line-up's draws are made: the lots that last longest, and of these the largest.
    pub lots: Vec<(LotCode, i64)>,
    /// What a stage of the machines' recipes takes from one lot, in grams, where there is as much left in all and
    /// no lot holds it; the largest such stage.
    pub scattered_g: Option<i64>,
    /// What of it goes out of date before the line-up's end and nothing takes its place.
    pub lapses: Option<Lapse>,
    /// Pressure down to which others may draw the bank, absolute, in millibar; of gas only.
    pub left_mbar: Option<i64>,
}

/// Powder held that goes out of date.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lapse {
    /// How much, in grams.
    pub grams: i64,
    /// When the first of it does.
    pub at: DateTime<Utc>,
}

impl Holding<'_> {
    /// Grams that are missing.
    #[must_use]
    pub const fn short_g(&self) -> i64 {
        self.keep_back.grams - self.there_g
    }
}

/// What each keep-back of a situation holds, by number.
#[must_use]
pub fn holdings<'a>(situation: &'a Situation, line_up: Option<&LineUp>) -> Vec<Holding<'a>> {
    let keep_backs = &situation.keep_backs;
    let each = keep_backs.iter().enumerate().map(|(place, keep_back)| {
        let same = keep_backs[..=place].iter();
        let same: Vec<&KeepBack> = same.filter(|it| it.held == keep_back.held).collect();
        let before_g = same.iter().map(|it| it.grams).sum::<i64>() - keep_back.grams;
        match &keep_back.held {
            Held::Powder(powder) => of_powder(situation, line_up, keep_back, powder, before_g),
            Held::Gas(code) => {
                let stand = situation.banks.iter().find(|it| it.code == *code);
                of_gas(situation, &same, keep_back, stand)
            }
        }
    });
    each.collect()
}

fn of_powder<'a>(
    situation: &'a Situation,
    line_up: Option<&LineUp>,
    keep_back: &'a KeepBack,
    powder: &PowderCode,
    before_g: i64,
) -> Holding<'a> {
    let lots = stock(situation, line_up, powder).lots.into_iter();
    let mut lots: Vec<LotStock> = lots.filter(|it| it.usable).collect();
    lots.sort_by_key(|it| {
        let use_by = it.lot.use_by;
        std::cmp::Reverse((use_by.is_none(), use_by, it.free_g))
    });
    let grams = keep_back.grams;
    let here: i64 = lots.iter().map(|it| it.on_hand_g).sum();
    let there_g = (here - before_g).clamp(0, grams);
    let shares = share_out(lots.iter().map(|it| it.free_g), before_g, grams);
    let lie = lots.iter().zip(&shares).filter(|(_, share)| **share > 0);
    let end = situation.moment(situation.horizon());
    let brief = |it: &LotStock| it.lot.use_by.is_some_and(|at| at < end);
    let lapsing = lie.clone().filter(|(it, _)| brief(it));
    let lapsing_g: i64 = lapsing.clone().map(|(_, share)| share).sum();
    let coming_g: i64 = coming(situation, powder, end).map(|it| it.1).sum();
    let lapses_g = lapsing_g - (coming_g - (grams - there_g)).max(0);
    let at = lapsing.filter_map(|(it, _)| it.lot.use_by).min();
    let mut total = here;
    let mut filled =
        coming(situation, powder, situation.now).filter_map(|(code, grams_come, at)| {
            total += grams_come;
            (total >= before_g + grams).then(|| (code.clone(), at))
        });
    Holding {
        keep_back,
        there_g,
        filled_by: (there_g < grams).then(|| filled.next()).flatten(),
        scattered_g: scattered_g(situation, keep_back, powder, &lots),
        lots: lie
            .map(|(it, share)| (it.lot.code.clone(), *share))
            .collect(),
        lapses: at.filter(|_| lapses_g > 0).map(|at| Lapse {
            grams: lapses_g,
            at,
        }),
        left_mbar: None,
    }
}

fn scattered_g(
    situation: &Situation,
    keep_back: &KeepBack,
    powder: &PowderCode,
    lots: &[LotStock],
) -> Option<i64> {
    let assets: BTreeSet<&AssetCode> = keep_back.assets.iter().collect();
    let recipes = recipes_for(situation, &assets).into_iter();
    let stages = recipes.flat_map(Recipe::sprays);
    let of_one_lot = stages.filter(|spray| spray.one_lot && spray.powder == *powder);
    let needs = of_one_lot.filter_map(|spray| stage_need(situation, spray).ok());
    let left = || lots.iter().map(|it| it.free_g);
    let (all, largest): (i64, i64) = (left().sum(), left().max().unwrap_or(0));
    let scattered = |need: &i64| *need <= all && *need > largest;
    needs.map(|need| need.powder_g).filter(scattered).max()
}

/// Of each amount in turn what falls to `grams` behind the first `before` of all.
fn share_out(amounts: impl Iterator<Item = i64>, before: i64, grams: i64) -> Vec<i64> {
    let (mut skip, mut open) = (before, grams);
    let share = |amount: i64| {
        let skipped = amount.min(skip);
        let taken = (amount - skipped).min(open);
        skip -= skipped;
        open -= taken;
        taken
    };
    amounts.map(share).collect()
}

/// What deliveries bring of a powder that is good until then at least, in the order of their landing: which,
/// how many grams, from when on they may be used.
fn coming<'a>(
    situation: &'a Situation,
    powder: &'a PowderCode,
    good_until: DateTime<Utc>,
) -> impl Iterator<Item = (&'a DeliveryCode, i64, DateTime<Utc>)> {
    let mut deliveries: Vec<_> = situation.deliveries.iter().collect();
    deliveries.sort_by_key(|it| it.expected);
    deliveries.into_iter().flat_map(move |delivery| {
        let at = situation.moment(landing(situation, delivery));
        delivery
            .brings
            .iter()
            .filter_map(move |brings| match brings {
                Brings::Powder {
                    powder: brought,
                    grams,
                    use_by,
                } if brought == powder && use_by.is_none_or(|it| it >= good_until) => {
                    Some((&delivery.code, *grams, at))
                }
                _ => None,
            })
    })
}

/// What of a bank the last of these keep-backs of it holds: above the pressure that any of their machines asks
/// for, since others leave that for all of them.
fn of_gas<'a>(
    situation: &'a Situation,
    to_here: &[&KeepBack],
    keep_back: &'a KeepBack,
    stand: Option<&Bank>,
) -> Holding<'a> {
    let mut holding = Holding {
        keep_back,
        there_g: 0,
        filled_by: None,
        lots: Vec::new(),
        scattered_g: None,
        lapses: None,
        left_mbar: None,
    };
    if let Some(stand) = stand {
        let assets = to_here.iter().flat_map(|it| &it.assets).collect();
        let all_g: i64 = to_here.iter().map(|it| it.grams).sum();
        let before_g = all_g - keep_back.grams;
        let level_g = kept_level_g(situation, stand, all_g, &assets);
        let above_g = content_g(stand) - (level_g - all_g);
        holding.there_g = (above_g - before_g).clamp(0, keep_back.grams);
        holding.left_mbar = mbar_of(stand, level_g);
    }
    holding
}

/// No bank holds more.
const MOST_MBAR: i64 = 400_000;

/// The pressure at which a bank holds so much at its present temperature, absolute, in millibar, rounded up.
fn mbar_of(stand: &Bank, grams: i64) -> Option<i64> {
    let stand_now = bank(stand).ok()?;
    let holds = |mbar: i64| {
        let bar = Bar::new(mbar as f64 / 1000.0).ok()?;
        stand_now.content_grams_at(bar).ok()
    };
    let enough = |mbar| holds(mbar).is_some_and(|held| held >= grams);
    enough(MOST_MBAR).then(|| least(0, MOST_MBAR, enough))
}
