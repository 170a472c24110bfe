//! What was typed on the page, as assumptions.

use std::str::FromStr;

use mendpost_core::catalogue::Skill;
use mendpost_core::code::{DeliveryCode, InvalidCode};
use mendpost_core::lineup::{
    Assumption, AssumptionFault, MOST_BOTTLES, MOST_DAYS, MOST_FUEL_ML, MOST_GRAMS, MOST_PERMILLE,
    assume,
};
use mendpost_core::situation::Situation;

use crate::cell::scale::Scale;
use crate::form::{FieldErrors, choice, decimal, integer, local_time};
use crate::words::Words;

/// The value that stands for the cell in the list of stations, and for anybody in that of skills.
pub const CELL: &str = "/cell";
pub const ANYBODY: &str = "anybody";

/// Names and values, as they stand in the address.
#[derive(Debug, Clone, Default)]
pub struct Typed(pub Vec<(String, String)>);

/// The fields of the page beside those of the deliveries.
const FIELDS: [&str; 15] = [
    "out",
    "out_from",
    "out_until",
    "fewer",
    "powder",
    "kg",
    "bank",
    "bottles",
    "pressure",
    "fuel",
    "given_up",
    "first",
    "without",
    "loss",
    "times",
];

/// The fields of a delivery: by how many days it is late, and whether it does not come.
pub fn of_delivery(delivery: &DeliveryCode) -> [String; 2] {
    ["late", "never"].map(|kind| format!("{kind}.{delivery}"))
}

impl Typed {
    /// What was typed in a field; nothing where it is not there.
    pub fn of(&self, name: &str) -> &str {
        let found = self.0.iter().find(|(field, _)| field == name);
        found.map_or("", |(_, value)| value.trim())
    }
}

/// Assumptions, each with the field that a fault of it is told beside.
#[derive(Default)]
pub struct Parsed {
    pub made: Vec<(String, Assumption)>,
    pub errors: FieldErrors,
}

impl Parsed {
    /// Every field read, and every assumption tried on the situation.
    pub fn new(typed: &Typed, situation: &Situation) -> Parsed {
        let mut parsed = Parsed::default();
        parsed.errors.repeated(&typed.0);
        parsed.deliveries(typed, situation);
        parsed.station(typed, situation);
        parsed.person(typed);
        parsed.powder(typed);
        parsed.gas(typed, situation);
        if !typed.of("fuel").is_empty() {
            let ml = decimal(typed.of("fuel"), 3, 1..=MOST_FUEL_ML);
            let ml = parsed.errors.check("fuel", ml);
            parsed.add("fuel", ml.map(|ml| Assumption::Fuel { ml }));
        }
        parsed.given_up(typed, situation);
        let first = parsed.code(typed, "first");
        parsed.add("first", first.map(|request| Assumption::First { request }));
        let without = parsed.code(typed, "without");
        let without = without.map(|request| Assumption::LeftOut { request });
        parsed.add("without", without);
        parsed.loss(typed);
        parsed.unknown(typed, situation);
        parsed.try_on(situation);
        parsed
    }

    /// The assumptions alone.
    pub fn assumptions(&self) -> Vec<Assumption> {
        self.made.iter().map(|(_, made)| made.clone()).collect()
    }

    fn add(&mut self, field: &str, made: Option<Assumption>) {
        self.made.extend(made.map(|made| (field.to_owned(), made)));
    }

    fn unknown(&mut self, typed: &Typed, situation: &Situation) {
        let coming: Vec<String> = situation
            .deliveries
            .iter()
            .map(|d| d.code.to_string())
            .collect();
        let known: Vec<String> = situation
            .deliveries
            .iter()
            .flat_map(|d| of_delivery(&d.code))
            .collect();
        let is_known = |name: &str| FIELDS.contains(&name) || known.iter().any(|it| it == name);
        let fields = typed
            .0
            .iter()
            .map(|(name, value)| (name.as_str(), value.as_str()));
        let coming = match coming.is_empty() {
            true => "No delivery is on its way.".to_owned(),
            false => format!("On their way: {}.", coming.join(", ")),
        };
        self.errors
            .unknown(fields.filter(|(name, _)| !is_known(name)), &coming);
    }

    fn try_on(&mut self, situation: &Situation) {
        let words = Words::new(situation);
        for (place, fault) in assume(situation, &self.assumptions())
            .err()
            .unwrap_or_default()
        {
            let text = match &fault {
                AssumptionFault::EndsTooSoon { until, after } => format!(
                    "it ends {}, which is not after {}; give a later end",
                    words.clock(*until),
                    words.clock(*after)
                ),
                _ => fault.to_string(),
            };
            if let Some((field, _)) = self.made.get(place) {
                self.errors.add(field, text);
            }
        }
    }

    /// A code that was chosen of a list; none where nothing was.
    fn code<T: FromStr<Err = InvalidCode>>(&mut self, typed: &Typed, field: &str) -> Option<T> {
        let given = typed.of(field);
        if given.is_empty() {
            return None;
        }
        self.errors.check(field, choice(given))
    }

    /// A code of a list that goes with figures: missing is a fault once one of them is given.
    fn code_with<T: FromStr<Err = InvalidCode>>(
        &mut self,
        typed: &Typed,
        field: &str,
        figures: &[&str],
    ) -> Option<T> {
        let asked = figures.iter().any(|figure| !typed.of(figure).is_empty());
        if typed.of(field).is_empty() && asked {
            self.errors.add(field, "choose which one");
        }
        self.code(typed, field)
    }

    fn deliveries(&mut self, typed: &Typed, situation: &Situation) {
        for coming in &situation.deliveries {
            let delivery = coming.code.clone();
            let [late, never] = of_delivery(&delivery);
            if !typed.of(&late).is_empty() {
                let days = integer(typed.of(&late), 1..=MOST_DAYS);
                let days = self.errors.check(&late, days);
                let delivery = delivery.clone();
                self.add(&late, days.map(|days| Assumption::Late { delivery, days }));
            }
            let never_comes = Assumption::NeverComes { delivery };
            let never_comes = (!typed.of(&never).is_empty()).then_some(never_comes);
            self.add(&late, never_comes);
        }
    }

    fn station(&mut self, typed: &Typed, situation: &Situation) {
        let zone = situation.site.zone;
        let given = typed.of("out");
        if given.is_empty() {
            if !typed.of("out_from").is_empty() || !typed.of("out_until").is_empty() {
                self.errors.add("out", "choose which one");
            }
            return;
        }
        let station = match given {
            CELL => Some(None),
            _ => self.errors.check("out", choice(given)).map(Some),
        };
        let moment = |ms: i64| chrono::DateTime::from_timestamp_millis(ms).unwrap_or_default();
        let from = match typed.of("out_from") {
            "" => Some(situation.now),
            from => self
                .errors
                .check("out_from", local_time(from, zone))
                .map(moment),
        };
        let until = local_time(typed.of("out_until"), zone);
        let until = self.errors.check("out_until", until).map(moment);
        if let (Some(station), Some(from), Some(until)) = (station, from, until) {
            let known = station
                .as_ref()
                .is_none_or(|code| situation.station(code).is_some());
            let out = Assumption::Out {
                station,
                from,
                until,
            };
            self.add(if known { "out_until" } else { "out" }, Some(out));
        }
    }

    fn person(&mut self, typed: &Typed) {
        let skill = match typed.of("fewer") {
            "" => return,
            ANYBODY => Some(None),
            given => self.errors.check("fewer", choice::<Skill>(given)).map(Some),
        };
        self.add("fewer", skill.map(|skill| Assumption::OneFewer { skill }));
    }

    fn powder(&mut self, typed: &Typed) {
        let Some(powder) = self.code_with(typed, "powder", &["kg"]) else {
            return;
        };
        let grams = decimal(typed.of("kg"), 3, 1..=MOST_GRAMS);
        let grams = self.errors.check("kg", grams);
        let made = grams.map(|grams| Assumption::Powder { powder, grams });
        self.add("powder", made);
    }

    fn gas(&mut self, typed: &Typed, situation: &Situation) {
        let Some(bank) = self.code_with(typed, "bank", &["bottles", "pressure"]) else {
            return;
        };
        let bottles = integer(typed.of("bottles"), 1..=MOST_BOTTLES);
        let bottles = self.errors.check("bottles", bottles);
        let pressure = Scale::BarGauge.mbar(typed.of("pressure"), situation.site.altitude_m);
        let pressure = self.errors.check("pressure", pressure);
        if let (Some(bottles), Some(pressure_mbar)) = (bottles, pressure) {
            let gas = Assumption::Gas {
                bank,
                bottles,
                pressure_mbar,
            };
            self.add("bank", Some(gas));
        }
    }

    fn given_up(&mut self, typed: &Typed, situation: &Situation) {
        let given = typed.of("given_up");
        if given.is_empty() {
            return;
        }
        let mut numbers = situation.keep_backs.iter().map(|it| it.number);
        match numbers.find(|number| number.to_string() == given) {
            Some(keep_back) => self.add("given_up", Some(Assumption::GivenUp { keep_back })),
            None => {
                let fault = format!("'{given}' is no keep-back here; choose one of the list");
                self.errors.add("given_up", fault);
            }
        }
    }

    fn loss(&mut self, typed: &Typed) {
        let Some(capability) = self.code_with(typed, "loss", &["times"]) else {
            return;
        };
        let permille = decimal(typed.of("times"), 3, 0..=MOST_PERMILLE);
        let permille = self.errors.check("times", permille);
        let made = permille.map(|permille| Assumption::LossTimes {
            capability,
            permille,
        });
        self.add("loss", made);
    }
}
