//! Words for requests, the work on them, and what the site loses meanwhile.

use chrono::{DateTime, TimeDelta, Utc};
use mendpost_core::catalogue::Flag;
use mendpost_core::lineup::{CapabilityLoss, LotShare, Opens, StepPlan, Work};
use mendpost_core::situation::{Damage, Request, Way};

use super::Words;
use crate::page::{clock, moment, whole};

impl Words<'_> {
    /// 'feed pump 2 impeller', for the middle of a sentence.
    pub fn asset_part(&self, asset: &str, part_name: &str) -> String {
        format!("{} {part_name}", lower_first(&self.asset(asset)))
    }

    /// '3 020 g from lot L0417 and 2 140 g from lot L0422'.
    pub fn shares(&self, lots: &[LotShare]) -> String {
        let parts: Vec<String> = lots
            .iter()
            .map(|share| format!("{} g from {}", whole(share.grams), self.lot(&share.lot)))
            .collect();
        parts.join(" and ")
    }

    /// 'lot L0417'; powder that is on its way has no number yet.
    pub fn lot(&self, code: &str) -> String {
        let delivery = code.rsplit_once('/').and_then(|(delivery, _)| {
            let mut deliveries = self.situation.deliveries.iter();
            deliveries.find(|d| d.code.as_str() == delivery)
        });
        delivery.map_or_else(
            || format!("lot {code}"),
            |d| format!("what the {} brings", lower_first(&d.name)),
        )
    }

    /// Where a step is done: 'mill', or 'at the machine'.
    pub fn place_of(&self, step: &StepPlan) -> String {
        step.station.as_ref().map_or_else(
            || "at the machine".to_owned(),
            |station| self.station(station.as_str()),
        )
    }

    /// Why a true part on order does not serve, where no gate says so: it comes after the line-up.
    pub fn true_part(&self, request: &str) -> Option<(String, String)> {
        let mut requests = self.situation.requests.iter();
        let request = requests.find(|r| r.code.as_str() == request)?;
        let expected = request.ways.iter().find_map(|way| match way {
            Way::TruePart { expected, .. } => Some(*expected),
            Way::Recipe(_) | Way::StandIn(_) => None,
        })?;
        let gate = format!("time, the true part comes {}", self.when(expected));
        Some((gate, self.opens(&Opens::TruePart)))
    }

    /// What is done: 'draw 6 480 g from lot L0417', 'spray 316L', 'cut to size'. A stage whose powder
    /// is not drawn yet begins with that.
    pub fn work(&self, work: &Work) -> String {
        match work {
            Work::Stage(stage) if stage.start > self.situation.now => {
                format!("draw {}", self.shares(&stage.lots))
            }
            Work::Stage(stage) => format!("spray {}", self.powder(&stage.powder)),
            Work::Step(step) => step.name.clone(),
        }
    }

    /// When and where: 'sprayed Wed 14:40', 'to Wed 16:20, mill' for what has begun.
    pub fn span(&self, work: &Work, now: DateTime<Utc>) -> String {
        match work {
            Work::Stage(stage) if stage.start > now => {
                format!("sprayed {}", self.when(stage.start))
            }
            Work::Stage(stage) => format!("to {}, cell", self.when(stage.end)),
            Work::Step(step) if step.start <= now => {
                format!("to {}, {}", self.when(step.end), self.place_of(step))
            }
            Work::Step(step) => format!("{}, {}", self.when(step.start), self.place_of(step)),
        }
    }

    /// 'Wed 14:40' within six days, with the date beyond.
    pub fn when(&self, at: DateTime<Utc>) -> String {
        let zone = self.situation.site.zone;
        let near = (at - self.situation.now).abs() < TimeDelta::days(6);
        let show = if near { clock } else { moment };
        show(at.timestamp_millis(), zone)
    }

    /// What the site needs done, by its name.
    pub fn capability(&self, code: &str) -> String {
        let mut capabilities = self.situation.capabilities.iter();
        capabilities
            .find(|c| c.code.as_str() == code)
            .map_or_else(|| code.to_owned(), |c| c.name.clone())
    }
}

/// How a capability stands: 'short 1', 'stopped', 'none spare', '1 spare'.
pub fn standing(loss: &CapabilityLoss) -> String {
    let spare = loss.running.saturating_sub(loss.must_run);
    match (loss.running, loss.short(), spare) {
        (0, 1.., _) => "stopped".to_owned(),
        (_, 0, 0) => "none spare".to_owned(),
        (_, 0, spare) => format!("{spare} spare"),
        (_, short, _) => format!("short {short}"),
    }
}

/// What is the matter with a part.
pub const fn damage(damage: Damage) -> &'static str {
    match damage {
        Damage::Damaged => "broken",
        Damage::Worn => "worn",
        Damage::Interim => "interim part, must come off",
    }
}

/// The matter in the words of who reported it, or in one word where nothing was written.
pub fn matter(request: &Request) -> String {
    if request.description.is_empty() {
        damage(request.damage).to_owned()
    } else {
        request.description.clone()
    }
}

/// What a part does that someone may have to answer for.
pub const fn flag(flag: Flag) -> &'static str {
    match flag {
        Flag::FormOnly => "form only",
        Flag::Guard => "guard",
        Flag::FoodOrWater => "touches food or water",
        Flag::CarriesLoad => "carries load",
        Flag::CanInjure => "can injure",
        Flag::Lifts => "lifts",
        Flag::HoldsPressure => "holds pressure",
        Flag::SteersOrBrakes => "steers or brakes",
        Flag::ExplosiveArea => "works where the air can explode",
        Flag::Unknown => "use not known, counts as can injure",
    }
}

/// 'one', 'two' ... 'twelve', then figures: numbers in running text.
pub fn count(number: usize) -> String {
    const WORDS: [&str; 13] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
        "eleven", "twelve",
    ];
    WORDS
        .get(number)
        .map_or_else(|| number.to_string(), |word| (*word).to_owned())
}

/// With a capital in front.
pub fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(char::to_uppercase);
    first.into_iter().flatten().chain(letters).collect()
}

/// Without a capital in front, unless the word is an abbreviation, as in 'AC plant'.
pub fn lower_first(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next();
    let abbreviation = letters.clone().next().is_some_and(|c| !c.is_lowercase());
    match first {
        Some(first) if !abbreviation => first.to_lowercase().chain(letters).collect(),
        _ => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use mendpost_core::code::CapabilityCode;

    use super::*;

    /// Of three pumps two must run.
    #[test]
    fn a_capability_says_how_many_it_lacks_or_can_spare() {
        let code: CapabilityCode = "WATER".parse().expect("a code");
        let of = |running: usize| {
            standing(&CapabilityLoss {
                capability: code.clone(),
                total: 3,
                running,
                must_run: 2,
                down: 3 - running,
                loss_per_hour: 0,
            })
        };
        assert_eq!(
            [of(0), of(1), of(2), of(3)],
            ["stopped", "short 1", "none spare", "1 spare"]
        );
    }

    #[test]
    fn capitals_fit_the_sentence() {
        assert_eq!(lower_first("Feed pump 2"), "feed pump 2");
        assert_eq!(lower_first("AC plant"), "AC plant");
        assert_eq!(sentence("cut to size"), "Cut to size");
        assert_eq!(
            (count(0), count(12), count(13)),
            ("no".into(), "twelve".into(), "13".into())
        );
    }
}
