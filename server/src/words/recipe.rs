//! Words for what a revision of a recipe says, and for what it changes.

use mendpost_core::catalogue::{Changed, Field, Flag, OperationKind, Place, Value};

use super::Words;
use super::work::{flag, sentence};
use crate::page::{minutes, whole};

/// One line of what a revision changes.
pub struct Difference {
    /// Where: an operation, or the whole.
    pub place: String,
    /// Which figure or word; what was done with the operation.
    pub what: &'static str,
    pub old: String,
    pub new: String,
}

impl Words<'_> {
    /// What a revision changes, a line for each.
    pub fn differences(&self, changed: &[Changed]) -> Vec<Difference> {
        changed.iter().map(|one| self.difference(one)).collect()
    }

    fn difference(&self, changed: &Changed) -> Difference {
        let line = |at: &Place, what, old: &str, new: &str| Difference {
            place: place(at),
            what,
            old: old.to_owned(),
            new: new.to_owned(),
        };
        match changed {
            Changed::Said {
                place: at,
                field,
                old,
                new,
            } => line(
                at,
                field_word(*field),
                &self.value(*field, old),
                &self.value(*field, new),
            ),
            Changed::Added(at) => line(at, "operation", "not there", "added"),
            Changed::Removed(at) => line(at, "operation", "there", "left out"),
            Changed::Moved { from, to } => {
                let now = match to {
                    Place::Operation(now, ..) => format!("place {now}"),
                    Place::Whole => String::new(),
                };
                line(to, "moved", &format!("place {from}"), &now)
            }
        }
    }

    /// What a field says, with its unit and by the names that the crew uses.
    pub fn value(&self, field: Field, value: &Value) -> String {
        match value {
            Value::Nothing => nothing(field).to_owned(),
            Value::Choice(true) => "yes".to_owned(),
            Value::Choice(false) => "no".to_owned(),
            Value::Figure(figure) => self::figure(field, *figure),
            Value::List(words) => {
                let words: Vec<String> = words.iter().map(|w| self.word(field, w)).collect();
                let between = match field {
                    Field::Sizes | Field::CouponLimits => "; ",
                    _ => ", ",
                };
                words.join(between)
            }
            Value::Text(text) => self.word(field, text),
        }
    }

    fn word(&self, field: Field, word: &str) -> String {
        match field {
            Field::Station => self.station(word),
            Field::Powder => self.powder_short(word),
            Field::Plate | Field::Fixture => self.kit(word),
            Field::BaseMetals => self.metal(word),
            Field::Flags => word
                .parse()
                .map_or_else(|_| word.to_owned(), |known: Flag| flag(known).to_owned()),
            Field::Kind => word
                .parse()
                .map_or_else(|_| word.to_owned(), |known| kind(known).to_owned()),
            _ => word.to_owned(),
        }
    }

    /// A metal by its name.
    pub fn metal(&self, code: &str) -> String {
        let mut metals = self.situation.metals.iter();
        let metal = metals.find(|metal| metal.code.as_str() == code);
        metal.map_or_else(|| code.to_owned(), |metal| metal.name.clone())
    }
}

fn place(place: &Place) -> String {
    match place {
        Place::Whole => "the recipe".to_owned(),
        Place::Operation(number, _, name) => format!("{number} {}", sentence(name)),
    }
}

/// What is done in an operation of this kind.
pub const fn kind(kind: OperationKind) -> &'static str {
    match kind {
        OperationKind::Blast => "blast",
        OperationKind::Mask => "mask and fix",
        OperationKind::Spray => "spray",
        OperationKind::HeatTreat => "heat treat",
        OperationKind::Cut => "cut",
        OperationKind::CrackCheck => "crack check",
        OperationKind::Measure => "measure",
        OperationKind::Release => "release",
        OperationKind::Carry => "carry to the machine",
        OperationKind::Fit => "fit",
        OperationKind::FirstRun => "first run",
    }
}

/// A field as it is labelled everywhere.
pub const fn field_word(field: Field) -> &'static str {
    match field {
        Field::BaseMetals => "sprayed on",
        Field::Flags => "valid for parts that",
        Field::Coupons => "coupons",
        Field::Inspection => "inspection",
        Field::Notes => "notes",
        Field::Sizes => "dimensions",
        Field::CouponLimits => "expected of coupons",
        Field::Kind => "kind",
        Field::Name => "name",
        Field::Station => "station",
        Field::Minutes => "time",
        Field::AwayDays => "sent out",
        Field::Cycle => "furnace cycle",
        Field::Crew => "people",
        Field::AfterMin => "waits first",
        Field::WithinMin => "waits at most",
        Field::Plate => "plate used up",
        Field::Fixture => "fixture",
        Field::HeldThrough => "fixture held until operation",
        Field::Powder => "powder",
        Field::DepositedG => "deposited",
        Field::VolumeMm3 => "volume with pores",
        Field::PorosityPermille => "pores",
        Field::OneLot => "all from one lot",
        Field::Gas => "gas",
        Field::PressureMbar => "pressure",
        Field::TemperatureC => "gas temperature",
        Field::FeedGPerMin => "feed",
        Field::Nozzle => "nozzle",
        Field::StandoffUm => "stand-off",
        Field::TraverseMmS => "traverse",
        Field::SpacingUm => "line spacing",
        Field::PreheatC => "preheat",
        Field::Passes => "passes",
        Field::EfficiencyPermille => "efficiency",
        Field::EfficiencySdPermille => "give or take",
        Field::ApprovalBuilds => "rests on",
        Field::StartStopLossG => "lost at starts and stops",
        Field::CouponG => "powder for coupons",
        Field::HandlingMin => "handling",
        Field::GasOnlyMin => "of it with gas",
    }
}

const fn nothing(field: Field) -> &'static str {
    match field {
        Field::BaseMetals => "any metal",
        Field::Flags => "do anything",
        Field::AwayDays => "done here",
        Field::WithinMin => "as long as it must",
        Field::Sizes | Field::CouponLimits => "none",
        _ => "not told",
    }
}

fn figure(field: Field, figure: i64) -> String {
    let tenths = |unit: &str| format!("{} {unit}", super::tenths_of(figure, 10));
    match field {
        Field::Minutes
        | Field::AfterMin
        | Field::WithinMin
        | Field::HandlingMin
        | Field::GasOnlyMin => minutes(figure),
        Field::AwayDays if figure == 1 => "one day".to_owned(),
        Field::AwayDays => format!("{figure} days"),
        Field::DepositedG | Field::StartStopLossG | Field::CouponG => {
            format!("{} g", whole(figure))
        }
        Field::VolumeMm3 => format!("{} cm³", thousandths(figure)),
        Field::PorosityPermille | Field::EfficiencyPermille | Field::EfficiencySdPermille => {
            tenths("%")
        }
        Field::PressureMbar => format!("{} bar", thousandths(figure)),
        Field::TemperatureC | Field::PreheatC => format!("{figure} °C"),
        Field::FeedGPerMin => format!("{figure} g/min"),
        Field::StandoffUm | Field::SpacingUm => format!("{} mm", thousandths(figure)),
        Field::TraverseMmS => format!("{figure} mm/s"),
        Field::ApprovalBuilds => format!("{figure} builds or coupons"),
        _ => whole(figure),
    }
}

/// '1.5' of 1 500: no zeros that say nothing.
pub fn thousandths(value: i64) -> String {
    crate::form::plain_decimal(value, 3)
}

/// What a flag means, where its word alone does not say it.
pub const fn flag_means(of: Flag) -> &'static str {
    match of {
        Flag::FormOnly => "cover, bracket, knob: nothing depends on its strength",
        Flag::Guard => "keeps people away from what moves",
        Flag::FoodOrWater => "what people eat or drink",
        Flag::CarriesLoad => "or turns fast",
        Flag::CanInjure => "somebody is hurt if it fails",
        Flag::Lifts => "people or loads",
        Flag::HoldsPressure => "gas, steam, liquid",
        Flag::SteersOrBrakes => "a vehicle or a craft",
        Flag::ExplosiveArea | Flag::Unknown => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 35 040 mbar, 685 thousandths, 1 500 µm, 660 500 mm³: each in the unit that a crew reads.
    #[test]
    fn figures_stand_in_the_units_of_their_fields() {
        let told = |field, value| figure(field, value);
        assert_eq!(told(Field::PressureMbar, 35_040), "35.04 bar");
        assert_eq!(told(Field::EfficiencyPermille, 685), "68.5 %");
        assert_eq!(told(Field::SpacingUm, 1500), "1.5 mm");
        assert_eq!(told(Field::VolumeMm3, 660_500), "660.5 cm³");
        assert_eq!(told(Field::AwayDays, 1), "one day");
        assert_eq!(told(Field::Crew, 2), "2");
    }
}
