//! How sure an order is: by when its machines are back, whether powder and gas suffice, and on what that rests.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use mendpost_core::lineup::{Expected, FUEL, LineUp, SERVICE, kept_powder, plain};
use mendpost_core::planner::BackBy;
use mendpost_core::situation::Situation;

use crate::page::{loss, whole};
use crate::words::{Words, tenths_of};

/// What is said of it on the page.
pub struct Sure {
    pub runs: String,
    pub mean: String,
    pub most: String,
    pub planned: String,
    pub chosen: String,
    pub machines: Vec<Machine>,
    pub supplies: Vec<Supply>,
    pub counts: Vec<String>,
}

pub struct Machine {
    pub name: String,
    pub planned: String,
    pub half: String,
    pub likely: String,
    pub almost_sure: String,
}

pub struct Supply {
    pub name: String,
    pub chance: String,
}

impl Sure {
    pub fn new(
        situation: &Situation,
        words: &Words<'_>,
        line_up: &LineUp,
        expected: &Expected,
    ) -> Self {
        let outlook = &expected.outlook;
        Sure {
            runs: whole(i64::try_from(outlook.runs).unwrap_or(i64::MAX)),
            mean: loss(outlook.mean_loss),
            most: loss(outlook.loss_80),
            planned: loss(line_up.losses.ours),
            chosen: match line_up.kept {
                Some(_) => String::new(),
                None => chosen(expected),
            },
            machines: machines(words, line_up, expected),
            supplies: supplies(situation, words, expected),
            counts: counts(situation),
        }
    }
}

/// 'likely by Thu 4' for the machine of a place; nothing where nothing was worked out.
pub fn likely(words: &Words<'_>, line_up: &LineUp, asset: &str) -> String {
    let expected = line_up.expected.as_ref();
    let back = expected.and_then(|it| it.outlook.assets.get(asset));
    back.map_or_else(String::new, |back| match back.likely {
        Some(minute) => format!("likely by {}", words.weekday(moment(line_up, minute))),
        None => "likely later".to_owned(),
    })
}

fn moment(line_up: &LineUp, minute: i64) -> DateTime<Utc> {
    line_up.now + chrono::TimeDelta::minutes(minute)
}

fn chosen(expected: &Expected) -> String {
    let margin = tenths_of(expected.margin_permille, 10);
    if expected.compared < 2 {
        return format!("No other order was found within {margin} % of the least loss.");
    }
    format!(
        "Of {} orders within {margin} % of the least loss, {}, this one survives more: it loses least on the average of its runs.",
        expected.compared,
        loss(expected.least_loss)
    )
}

/// The machines of the order, and those that come back by other means, the soonest first.
fn machines(words: &Words<'_>, line_up: &LineUp, expected: &Expected) -> Vec<Machine> {
    let mut planned: BTreeMap<&str, Option<DateTime<Utc>>> = BTreeMap::new();
    for place in &line_up.places {
        let back = planned.entry(place.asset.as_str()).or_default();
        *back = (*back).max(place.back);
    }
    let all = expected.outlook.assets.iter();
    let mut shown: Vec<(&str, &BackBy)> = all
        .map(|(asset, back)| (asset.as_str(), back))
        .filter(|(asset, back)| planned.contains_key(asset) || back.half.is_some())
        .collect();
    let late = |minute: Option<i64>| minute.unwrap_or(i64::MAX);
    shown.sort_by_key(|(_, back)| (late(back.likely), late(back.half)));
    let by = |minute: Option<i64>| match minute {
        Some(minute) => words.weekday(moment(line_up, minute)),
        None => format!("after {}", words.weekday(line_up.until)),
    };
    shown
        .into_iter()
        .map(|(asset, back)| Machine {
            name: words.asset(asset),
            planned: planned
                .get(asset)
                .copied()
                .flatten()
                .map_or_else(|| "not by this order".to_owned(), |at| words.weekday(at)),
            half: by(back.half),
            likely: by(back.likely),
            almost_sure: by(back.almost_sure),
        })
        .collect()
}

/// Powders, then each gas with all its banks, then the rest.
fn supplies(situation: &Situation, words: &Words<'_>, expected: &Expected) -> Vec<Supply> {
    let outlook = &expected.outlook;
    let powders = least_of_each(&outlook.powders).into_iter();
    let powders = powders.map(|(code, permille)| (words.powder(code), permille));
    let mut others: BTreeMap<String, i64> = BTreeMap::new();
    for (store, permille) in &outlook.stores {
        let least = others
            .entry(store_name(situation, words, store))
            .or_insert(1000);
        *least = (*least).min(*permille);
    }
    powders
        .chain(others)
        .map(|(name, permille)| Supply {
            name,
            chance: in_hundred(permille),
        })
        .collect()
}

/// The least chance of each powder, whenever its lots go out of date.
fn least_of_each(powders: &BTreeMap<String, i64>) -> BTreeMap<&str, i64> {
    let mut least = BTreeMap::new();
    for (lots, permille) in powders {
        let of_powder = least.entry(plain(lots)).or_insert(*permille);
        *of_powder = (*permille).min(*of_powder);
    }
    least
}

fn store_name(situation: &Situation, words: &Words<'_>, store: &str) -> String {
    if let Some(powder) = kept_powder(store) {
        return format!("{}, kept back", words.powder(powder));
    }
    match store.split_once('/') {
        _ if store == FUEL => "Fuel".to_owned(),
        _ if store == SERVICE => "Compressor, to its service".to_owned(),
        Some(("gas", code)) => {
            let bank = situation.banks.iter().find(|it| it.code.as_str() == code);
            // Bottles on their way are of the gas of some bank that stands.
            let coming = || {
                let gases: BTreeSet<&str> =
                    situation.banks.iter().map(|it| it.gas.as_str()).collect();
                gases.into_iter().collect::<Vec<_>>().join(" or ")
            };
            let gas = bank.map_or_else(coming, |it| it.gas.as_str().to_owned());
            crate::words::work::sentence(&gas)
        }
        Some(("kit", code)) => crate::words::work::sentence(&words.kit(code)),
        _ => store.to_owned(),
    }
}

/// 'in 97 of 100', rounded down.
fn in_hundred(permille: i64) -> String {
    match permille {
        1000 => "in all runs".to_owned(),
        0 => "in no run".to_owned(),
        1..10 => "in fewer than 1 of 100".to_owned(),
        _ => format!("in {} of 100", permille / 10),
    }
}

/// What the runs take into account, with the site's own figures.
fn counts(situation: &Situation) -> Vec<String> {
    let chances = &situation.site.chances;
    let factor = tenths_of(1000 + chances.duration_permille, 1000);
    let percent = |permille: i64| tenths_of(permille, 10);
    let (passed, failed) = situation
        .outcomes
        .values()
        .fold((0, 0), |(passed, failed), it| {
            (passed + it.passed, failed + it.failed)
        });
    let seen = match (passed, failed) {
        (0, 0) => "no build is on record yet, so that this counts alone".to_owned(),
        _ => format!(
            "on record: {} released, {} sent back after spraying",
            whole(passed),
            whole(failed)
        ),
    };
    vec![
        format!(
            "Durations: two of three between the told time divided and multiplied by {factor}; a furnace goes by its clock."
        ),
        "Efficiency: as approvals and weighed builds say; powder, gas, fuel and minutes go by it.".to_owned(),
        format!(
            "Deliveries: one in two when told, else any time up to the latest told, or {} h late.",
            whole(chances.late_min / 60)
        ),
        format!(
            "Builds that pass coupon and size checks: {} % of the crew’s own, {} % with a yes, {} % of trial pieces; {seen}.",
            percent(chances.own_permille),
            percent(chances.asked_permille),
            percent(chances.trial_permille)
        ),
        "A build that fails is built anew in what the order leaves, or waits for powder. What does not fit goes to the next shift.".to_owned(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where something of a powder is kept back, lots that go out of date earlier are planned by names of their
    /// own. The page knows one powder, which suffices no surer than the scarcest of its lots.
    #[test]
    fn lots_of_another_last_day_are_the_same_powder() {
        let told = [("AL6061", 970), ("AL6061@1", 880), ("CUAL10", 1000)];
        let told = told.map(|(lots, permille)| (lots.to_owned(), permille));
        let told = BTreeMap::from(told);
        let least = least_of_each(&told);
        assert_eq!(least, [("AL6061", 880), ("CUAL10", 1000)].into());
    }

    /// A chance is never told higher than it is.
    #[test]
    fn chances_are_rounded_down() {
        assert_eq!(in_hundred(1000), "in all runs");
        assert_eq!(in_hundred(999), "in 99 of 100");
        assert_eq!(in_hundred(979), "in 97 of 100");
        assert_eq!(in_hundred(9), "in fewer than 1 of 100");
        assert_eq!(in_hundred(0), "in no run");
    }
}
