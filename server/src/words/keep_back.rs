//! Words for keep-backs.

use std::collections::BTreeSet;

use mendpost_core::code::AssetCode;
use mendpost_core::lineup::{Holding, Inroad, taken_by};
use mendpost_core::situation::{Held, KeepBack, trip_after_next};

use super::{Words, bar, kilograms};
use crate::page::whole;

impl Words<'_> {
    /// 'aluminium bronze', or 'nitrogen in bank N1'.
    pub fn substance(&self, held: &Held) -> String {
        match held {
            Held::Powder(powder) => self.powder(powder.as_str()),
            Held::Gas(code) => {
                let mut banks = self.situation.banks.iter();
                let gas = banks.find(|bank| bank.code == *code);
                let gas = gas.map_or_else(|| "gas".to_owned(), |bank| bank.gas.to_string());
                format!("{gas} in {}", self.bank(code))
            }
        }
    }

    /// '1 500 g of aluminium bronze', or '6.0 kg of nitrogen in bank N1'.
    pub fn held(&self, held: &Held, grams: i64) -> String {
        let amount = amount(held, grams);
        format!("{amount} of {}", self.substance(held))
    }

    /// 'Feed pump 1, Feed pump 2'.
    pub fn machines(&self, assets: &BTreeSet<AssetCode>) -> String {
        let names: Vec<String> = assets.iter().map(|it| self.asset(it.as_str())).collect();
        names.join(", ")
    }

    /// 'Keep-back 1: 1 500 g of aluminium bronze for Feed pump 1, Feed pump 2'.
    pub fn kept(&self, keep_back: &KeepBack) -> String {
        format!(
            "Keep-back {}: {} for {}",
            keep_back.number,
            self.held(&keep_back.held, keep_back.grams),
            self.machines(&keep_back.assets)
        )
    }

    /// Short enough for a list to choose from: '1: 1 500 g of aluminium bronze for Feed pump 1 and 1 more'.
    pub fn kept_briefly(&self, keep_back: &KeepBack) -> String {
        let mut assets = keep_back.assets.iter();
        let first = assets
            .next()
            .map_or_else(String::new, |it| self.asset(it.as_str()));
        let more = match assets.count() {
            0 => String::new(),
            count => format!(" and {count} more"),
        };
        let what = self.held(&keep_back.held, keep_back.grams);
        format!("{}: {what} for {first}{more}", keep_back.number)
    }

    /// 'Spraying takes 4 475 g of bronze and leaves 1 000 g, less than the 3 500 g kept back for other machines.
    /// Keep-back 1: 3 500 g of bronze for Feed pump 1.'
    pub fn inroad(&self, inroad: &Inroad<'_>) -> String {
        let held = &inroad.held;
        let of = |grams| amount(held, grams);
        let each = inroad.keep_backs.iter().map(|it| self.kept(it));
        let each: Vec<String> = each.collect();
        format!(
            "Spraying takes {} and leaves {}, less than the {} kept back for other machines. {}.",
            self.held(held, inroad.takes_g),
            of(inroad.left_g),
            of(inroad.held_g()),
            each.join(". ")
        )
    }

    /// That no recipe for the machines takes it, and what theirs take; none where one does.
    pub fn untaken(&self, held: &Held, assets: &BTreeSet<AssetCode>) -> Option<String> {
        let taken = taken_by(self.situation, assets);
        if taken.contains(held) {
            return None;
        }
        let theirs: Vec<String> = taken.iter().map(|it| self.substance(it)).collect();
        let theirs = match theirs.as_slice() {
            [] => "there is none for them".to_owned(),
            _ => format!("theirs take {}", theirs.join(", ")),
        };
        let what = self.substance(held);
        Some(format!(
            "No approved recipe for these machines takes {what}: {theirs}."
        ))
    }

    /// How far it is planned, and why so far: 'Planned 14 days ahead, beyond the trip after next (small aircraft,
    /// 4 Dec 11:00).'
    pub fn reach(&self) -> String {
        let days = self.situation.site.plan_days;
        let end = self.situation.moment(self.situation.horizon());
        let Some(trip) = trip_after_next(&self.situation.deliveries) else {
            return format!("Planned {days} days ahead; the trip after next is not known.");
        };
        let far = if trip.expected <= end {
            "past"
        } else {
            "not as far as"
        };
        format!(
            "Planned {days} days ahead, {far} the trip after next: {}, {}.",
            trip.name,
            self.clock_day(trip.expected)
        )
    }

    /// How much of a keep-back is there, where, and for how long.
    pub fn holding(&self, holding: &Holding<'_>) -> Vec<String> {
        let held = &holding.keep_back.held;
        let of = |grams| amount(held, grams);
        let mut lines = Vec::new();
        if holding.short_g() > 0 {
            let full = match &holding.filled_by {
                Some((delivery, at)) => format!(
                    "; full with the {}, {}",
                    self.delivery(delivery.as_str()),
                    self.clock_day(*at)
                ),
                None => "; no delivery that is known fills it".to_owned(),
            };
            lines.push(format!(
                "Holds {} of {}, short by {}{full}.",
                of(holding.there_g),
                of(holding.keep_back.grams),
                of(holding.short_g())
            ));
        }
        let lots: Vec<String> = holding
            .lots
            .iter()
            .map(|(lot, grams)| format!("{}\u{a0}g in lot\u{a0}{lot}", whole(*grams)))
            .collect();
        if !lots.is_empty() {
            lines.push(format!("Left by the order: {}.", lots.join(", ")));
        }
        if let Some(grams) = holding.scattered_g {
            lines.push(format!(
                "No lot left holds the {}\u{a0}g that a part of theirs takes from one lot.",
                whole(grams)
            ));
        }
        if let Some(mbar) = holding.left_mbar {
            lines.push(format!("Others leave {} absolute in the bank.", bar(mbar)));
        }
        if let Some(lapse) = holding.lapses {
            lines.push(format!(
                "{}\u{a0}g of it go out of date from {} on, before the order ends, and nothing takes their place.",
                whole(lapse.grams),
                self.clock_day(lapse.at)
            ));
        }
        lines
    }
}

fn amount(held: &Held, grams: i64) -> String {
    match held {
        Held::Powder(_) => format!("{}\u{a0}g", whole(grams)),
        Held::Gas(_) => kilograms(grams).replace(' ', "\u{a0}"),
    }
}

/// 'keep-back 2', 'keep-backs 2 and 3'.
pub fn numbered(keep_backs: &[i64]) -> String {
    let numbers: Vec<String> = keep_backs.iter().map(ToString::to_string).collect();
    let word = if numbers.len() == 1 {
        "keep-back"
    } else {
        "keep-backs"
    };
    format!("{word} {}", numbers.join(" and "))
}
