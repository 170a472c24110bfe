//! What is assumed, in words.

use mendpost_core::lineup::Assumption;

use super::work::sentence;
use super::{Words, authority::skill_word, bar, kilograms, litres};
use crate::form::plain_decimal;
use crate::page::whole;

impl Words<'_> {
    /// 'Supply boat comes 3 days later'.
    pub fn assumption(&self, assumption: &Assumption) -> String {
        match assumption {
            Assumption::Late { delivery, days } => {
                let word = if *days == 1 { "day" } else { "days" };
                let name = sentence(&self.delivery(delivery.as_str()));
                format!("{name} comes {days} {word} later")
            }
            Assumption::NeverComes { delivery } => {
                let name = sentence(&self.delivery(delivery.as_str()));
                format!("{name} does not come")
            }
            Assumption::Out {
                station,
                from,
                until,
            } => {
                let name = station.as_ref().map_or_else(
                    || "The cell".to_owned(),
                    |code| sentence(&self.station(code.as_str())),
                );
                let (from, until) = (self.clock(*from), self.clock(*until));
                format!("{name} is out from {from} to {until}")
            }
            Assumption::OneFewer { skill } => skill.map_or_else(
                || "One person fewer on duty, without a skill of their own".to_owned(),
                |skill| format!("One person fewer on duty who can {}", skill_word(skill)),
            ),
            Assumption::Powder { powder, grams } => format!(
                "{} more {} here now, released, in one lot",
                kilograms(*grams),
                self.powder(powder.as_str())
            ),
            Assumption::Gas {
                bank,
                bottles,
                pressure_mbar,
            } => format!(
                "{bottles} more bottles as in bank {bank} here now, filled at {} absolute",
                bar(*pressure_mbar)
            ),
            Assumption::Fuel { ml } => format!("{} more fuel here now", litres(*ml)),
            Assumption::GivenUp { keep_back } => {
                let mut all = self.situation.keep_backs.iter();
                let known = all.find(|it| it.number == *keep_back);
                let kept = known.map_or_else(|| keep_back.to_string(), |it| self.kept(it));
                format!("{kept}: given up")
            }
            Assumption::First { request } => {
                format!("{} is done first", self.request(request.as_str()))
            }
            Assumption::LeftOut { request } => {
                format!("{} is left out", self.request(request.as_str()))
            }
            Assumption::LossTimes {
                capability,
                permille,
            } => {
                let mut all = self.situation.capabilities.iter();
                let known = all.find(|c| c.code == *capability);
                let name = known.map_or(capability.as_str(), |c| c.name.as_str());
                let rates = known.map(|c| c.loss_per_hour.iter().map(|rate| whole(*rate)));
                let rates: Vec<String> = rates.into_iter().flatten().collect();
                format!(
                    "The loss figures of {name} ({}) times {}",
                    rates.join(", "),
                    plain_decimal(*permille, 3)
                )
            }
        }
    }
}
