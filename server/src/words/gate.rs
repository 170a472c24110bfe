//! Words for gates, and for what opens them.

use mendpost_core::catalogue::{About, NoYes, RecipeState};
use mendpost_core::lineup::{Gate, Opens};
use mendpost_core::situation::Held;

use super::authority::{skill_word, who_word};
use super::keep_back::numbered;
use super::{Words, bar, kilograms, kilowatts, litres, size, work};
use crate::page::{minutes, whole};

impl Words<'_> {
    /// Why a request can't be built now, in one line.
    pub fn gate(&self, gate: &Gate) -> String {
        match gate {
            Gate::NotListed => "catalogue, the part is not listed".to_owned(),
            Gate::NoRecipe => "recipe, none makes this part".to_owned(),
            Gate::NotApproved {
                recipe,
                revision,
                state,
            } => {
                format!("recipe, {recipe} rev {revision} {}", recipe_state(*state))
            }
            Gate::NoYes { about, why, .. } => {
                let to = match about {
                    About::Build => "to build",
                    About::Release => "to release",
                };
                match why {
                    NoYes::Missing => format!("authority, no yes {to}"),
                    why => format!("authority, no yes {to}: {}", self.no_yes(why)),
                }
            }
            Gate::YesRunsOut { until } => {
                format!("authority, the yes to build runs out {}", self.when(*until))
            }
            Gate::Refused { flag, .. } => {
                format!("authority, not built here: it {}", work::flag(*flag))
            }
            Gate::OnHold { number, what } => format!("hold {number}, {what}"),
            Gate::UseUnknown => "authority, nobody has said what the part does".to_owned(),
            Gate::BaseMetalUnknown { assumed: None } => {
                "base metal, nobody knows what it is made of".to_owned()
            }
            Gate::BaseMetalUnknown {
                assumed: Some(metal),
            } => format!(
                "base metal, taken for {} and not proven",
                self.metal(metal.as_str())
            ),
            Gate::OtherMetal { metal, holds_on } => {
                let on: Vec<String> = holds_on.iter().map(|m| self.metal(m.as_str())).collect();
                format!(
                    "base metal, {}, and the recipe holds on {}",
                    self.metal(metal.as_str()),
                    on.join(", ")
                )
            }
            Gate::TooLarge { part_mm, booth_mm } => {
                format!("size, {} in a booth of {}", size(*part_mm), size(*booth_mm))
            }
            Gate::TooHeavy { part_g, most_g } => {
                format!(
                    "mass, {} where {} can be turned",
                    kilograms(*part_g),
                    kilograms(*most_g)
                )
            }
            other => self.gate_here(other),
        }
    }

    /// A gate of the cell, its stations, people and time.
    fn gate_here(&self, gate: &Gate) -> String {
        match gate {
            Gate::NobodyQualified { skill, most: 0 } => {
                format!("people, nobody on duty can {}", skill_word(*skill))
            }
            Gate::NobodyQualified { skill, .. } => format!(
                "people, too few on duty can {} for as long as it takes",
                skill_word(*skill)
            ),
            Gate::NotWorth { debt } => format!(
                "order, the stand-in costs {} {} later, more than it saves",
                whole(debt.div_euclid(60)),
                self.situation.site.loss_word
            ),
            Gate::Delivery { delivery, expected } => format!(
                "delivery, the {} comes too late, {}",
                self.delivery(delivery.as_str()),
                self.when(*expected)
            ),
            Gate::StationFull { station } => {
                format!("station, {} is full", self.station(station.as_str()))
            }
            Gate::BeyondCell {
                need_mbar,
                most_mbar,
                need_c,
                most_c,
            } => beyond([*need_mbar, *most_mbar], [*need_c, *most_c]),
            Gate::NoGas { gas } => format!("gas, no {gas} here"),
            Gate::Power { need_w, most_w } => {
                format!(
                    "power, takes {} and the set gives {}",
                    kilowatts(*need_w),
                    kilowatts(*most_w)
                )
            }
            Gate::Heater {
                need_w,
                most_w,
                holds_c,
            } => {
                let (need, most) = (kilowatts(*need_w), kilowatts(*most_w));
                let holds = holds_c.map(|c| format!(", which holds {c} °C"));
                format!(
                    "heater, would take {need} and takes at most {most}{}",
                    holds.unwrap_or_default()
                )
            }
            Gate::NotForFlag {
                recipe,
                revision,
                flag,
            } => format!(
                "recipe, {recipe} rev {revision} is not valid for: {}",
                work::flag(*flag)
            ),
            Gate::NoFigure { why } => format!("recipe, {why}"),
            Gate::NoStation { station } => format!("station, no {station} here"),
            Gate::Crew { need, most } => format!("people, needs {need} at once, {most} on duty"),
            Gate::DutyTooShort {
                need_min,
                longest_min,
            } => {
                format!(
                    "duty, needs {} without a break, has {}",
                    minutes(*need_min),
                    minutes(*longest_min)
                )
            }
            Gate::Time => "time, would end after this line-up".to_owned(),
            Gate::LeftOut => "left out by the crew".to_owned(),
            Gate::Outranked => "order, would delay what stops more".to_owned(),
            Gate::Station { station } => format!(
                "station, {} is out when it is wanted",
                self.station(station.as_str())
            ),
            supply => self.supply(supply),
        }
    }

    fn supply(&self, gate: &Gate) -> String {
        match gate {
            Gate::Powder {
                powder,
                need_g,
                one_lot,
                largest_g,
                total_g,
                expires,
                taken,
            } => {
                let name = self.powder(powder.as_str());
                let taken = if *taken { " after the line-up" } else { "" };
                let free = if *one_lot { largest_g } else { total_g };
                if *expires {
                    format!("powder, {name} is there and expires before it could be sprayed")
                } else if free >= need_g {
                    format!("powder, {name} is there but not usable in time")
                } else if *one_lot && total_g >= need_g {
                    format!("powder, no lot of {name} holds {} g{taken}", whole(*need_g))
                } else {
                    let (free, need) = (whole(*free), whole(*need_g));
                    format!("powder, {name} {free} g free{taken}, needs {need}")
                }
            }
            Gate::GasPressure {
                bank,
                need_mbar,
                have_mbar,
            } => {
                format!(
                    "gas, needs {}, bank {bank} {}",
                    bar(*need_mbar),
                    bar(*have_mbar)
                )
            }
            Gate::Gas {
                bank,
                need_g,
                have_g,
                taken,
            } => {
                let taken = if *taken { " after the line-up" } else { "" };
                format!(
                    "gas, bank {bank} gives {}{taken}, needs {}",
                    kilograms(*have_g),
                    kilograms(*need_g)
                )
            }
            Gate::KeptBack {
                keep_backs,
                held,
                grams,
            } => format!(
                "{}, {} held for other machines by {}",
                match **held {
                    Held::Powder(_) => "powder",
                    Held::Gas(_) => "gas",
                },
                self.held(held, *grams),
                numbered(keep_backs)
            ),
            Gate::Fuel { need_ml, have_ml } => {
                format!(
                    "fuel, {} beyond the camp, needs {}",
                    litres(*have_ml),
                    litres(*need_ml)
                )
            }
            Gate::Kit { kit, need, have } => {
                format!("{}, {have} free, needs {need}", self.kit(kit.as_str()))
            }
            Gate::Compressor { need_min, have_min } => {
                format!(
                    "compressor, {} to its service, needs {}",
                    minutes(*have_min),
                    minutes(*need_min)
                )
            }
            _ => String::new(),
        }
    }

    /// The smallest change that opens a gate, with the word before it.
    pub fn opens(&self, opens: &Opens) -> String {
        let change = match opens {
            Opens::Shut { who } => return format!("shut: {} alone may decide", who_word(*who)),
            Opens::TruePart => return "shut: wait for the true part".to_owned(),
            Opens::ListPart => "put the part into the catalogue".to_owned(),
            Opens::WriteRecipe => "write a recipe and have it approved".to_owned(),
            Opens::Approve { recipe, revision } => {
                format!("approve recipe {recipe} rev {revision}")
            }
            Opens::Yes { who, written } => {
                let written = if *written { " in writing" } else { "" };
                format!("{} says yes{written}", who_word(*who))
            }
            Opens::YesUntil { until } => format!("the yes holds until {}", self.when(*until)),
            Opens::Judge { number } => format!("judge hold {number}"),
            Opens::SayUse => "say what the part does".to_owned(),
            Opens::FindMetal => "find out what it is made of, by papers or a test".to_owned(),
            Opens::RecipeFor { metal } => {
                format!("a recipe that holds on {}", self.metal(metal.as_str()))
            }
            Opens::MoreQualified { skill, people: 1 } => {
                format!("one person more on duty who can {}", skill_word(*skill))
            }
            Opens::MoreQualified { skill, people } => format!(
                "{people} people more on duty who can {}",
                skill_word(*skill)
            ),
            Opens::LessDebt { debt } => format!(
                "a stand-in that costs {} {} less later",
                whole((debt + 59).div_euclid(60)),
                self.situation.site.loss_word
            ),
            Opens::MorePeople { people: 1 } => "one person more on duty".to_owned(),
            Opens::MorePeople { people } => format!("{people} people more on duty"),
            Opens::LongerDuty { minutes: longer } => format!("duty {} longer", minutes(*longer)),
            Opens::FurtherAhead { days: 1 } => "a line-up one day longer".to_owned(),
            Opens::FurtherAhead { days } => format!("a line-up {days} days longer"),
            Opens::Number => "a number in an order of the crew’s own".to_owned(),
            Opens::LeaveOut => "another request left out".to_owned(),
            Opens::OtherFigures => "other figures in the recipe".to_owned(),
            other => self.more(other),
        };
        format!("opens: {change}")
    }

    /// What must come, or come back.
    fn more(&self, opens: &Opens) -> String {
        match opens {
            Opens::MoreSlots { station, slots } => format!(
                "{slots} more at a time in {}",
                self.station(station.as_str())
            ),
            Opens::Sooner {
                delivery,
                minutes: sooner,
            } => format!(
                "the {} comes {} sooner",
                self.delivery(delivery.as_str()),
                minutes(*sooner)
            ),
            Opens::Release { lot } => format!("release lot {lot}"),
            Opens::MorePowder {
                powder,
                grams,
                one_lot: true,
            } => {
                format!(
                    "one lot of {}, {} g or more",
                    self.powder(powder.as_str()),
                    whole(*grams)
                )
            }
            Opens::MorePowder {
                powder,
                grams,
                one_lot: false,
            } => {
                format!("{} g more {}", whole(*grams), self.powder(powder.as_str()))
            }
            Opens::MoreGas {
                bank,
                grams,
                bottles,
            } => {
                format!(
                    "{} full {} for bank {bank}, {}",
                    whole(*bottles),
                    bottle_word(*bottles),
                    kilograms(*grams)
                )
            }
            Opens::GiveUp {
                keep_backs, all, ..
            } if *all => format!("give up {}", numbered(keep_backs)),
            Opens::GiveUp {
                keep_backs,
                held,
                grams,
                ..
            } => format!(
                "give up {} of {}",
                self.held(held, *grams),
                numbered(keep_backs)
            ),
            Opens::MoreHeat { watts } => format!("a heater of {} more", kilowatts(*watts)),
            Opens::MoreFuel { ml } => format!("{} more fuel", litres(*ml)),
            Opens::MoreKit { kit, count } => format!("{count} more of {}", self.kit(kit.as_str())),
            Opens::Service => "service the compressor".to_owned(),
            Opens::LessPower { watts } => {
                format!("{} less taken at the same time", kilowatts(*watts))
            }
            Opens::StationBack { station, by } => {
                let name = self.station(station.as_str());
                match by {
                    Some(by) => format!("{name} back in use by {}", self.when(*by)),
                    None => format!("{name} back in use"),
                }
            }
            Opens::GetGas { gas } => format!("a bank of {gas}"),
            _ => String::new(),
        }
    }
}

const fn recipe_state(state: RecipeState) -> &'static str {
    match state {
        RecipeState::Draft => "is a draft",
        RecipeState::Proposed => "waits for approval",
        RecipeState::Approved => "is approved",
        RecipeState::Superseded => "is superseded",
        RecipeState::Withdrawn => "is withdrawn",
    }
}

const fn bottle_word(bottles: i64) -> &'static str {
    if bottles == 1 { "bottle" } else { "bottles" }
}

fn beyond(mbar: [i64; 2], celsius: [i64; 2]) -> String {
    if mbar[0] > mbar[1] {
        format!("gas, recipe at {}, cell to {}", bar(mbar[0]), bar(mbar[1]))
    } else {
        format!(
            "heater, recipe at {} °C, cell to {} °C",
            celsius[0], celsius[1]
        )
    }
}
