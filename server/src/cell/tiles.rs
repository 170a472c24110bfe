//! What else ends the spraying: fuel, nozzle, collector, compressor, furnaces, people. Each with how
//! much is left, the age of the reading and who took it.

use mendpost_core::lineup::{LineUp, camp_fuel_minutes};
use mendpost_core::situation::Situation;

use super::gauge::Gauge;
use super::queries::Gauges;
use super::reads::{Reads, Told};
use super::stations::{self, Standing};
use crate::page::{minutes, whole};
use crate::words::flight::millimetres;
use crate::words::{Words, bar, litres};

/// One of them.
pub struct Tile {
    pub name: &'static str,
    pub value: String,
    pub marks: Marks,
    pub lines: Vec<String>,
    /// Age and author; may be empty.
    pub read: String,
    /// To be read again, and why.
    pub again: Option<String>,
}

/// How much is left, as a stack; the state of each furnace as a mark.
pub enum Marks {
    /// Passes, full ones, and the share of the next one in per cent; none without a measure of full.
    Stack(Option<(usize, usize, usize)>),
    Each(Vec<&'static str>),
}

/// What the tiles are made of.
pub struct Around<'a> {
    pub situation: &'a Situation,
    pub gauges: &'a Gauges,
    pub reads: &'a Reads<'a>,
    pub words: &'a Words<'a>,
    pub line_up: Option<&'a LineUp>,
    /// Minutes that the fuel lasts while it sprays at the setting shown.
    pub spraying_min: Option<i64>,
}

pub fn tiles(around: &Around<'_>) -> Vec<Tile> {
    [
        Some(around.fuel()),
        Some(around.nozzle()),
        Some(around.collector()),
        around.compressor(),
        around.furnaces(),
        Some(around.people()),
    ]
    .into_iter()
    .flatten()
    .collect()
}

const PASSES: i64 = 6;

/// What is left of what is full.
fn stack(left: i64, full: i64) -> Marks {
    let filled = || {
        let hundredths = (left.max(0) * PASSES * 100)
            .checked_div(full)?
            .min(PASSES * 100);
        let whole = usize::try_from(hundredths / 100).ok()?;
        Some((6, whole, usize::try_from(hundredths % 100).ok()?))
    };
    Marks::Stack(filled())
}

impl Tile {
    fn new(name: &'static str, value: String, marks: Marks, lines: Vec<String>) -> Tile {
        Tile {
            name,
            value,
            marks,
            lines,
            read: String::new(),
            again: None,
        }
    }

    fn read(self, told: Told) -> Tile {
        Tile {
            read: told.when,
            again: told.again,
            ..self
        }
    }
}

impl Around<'_> {
    fn fuel(&self) -> Tile {
        let on_hand = self.situation.fuel.on_hand_ml;
        let camp = camp_fuel_minutes(self.situation);
        let lines = [
            self.spraying_min
                .map(|left| format!("{} spraying", minutes(left))),
            camp.map(|left| format!("{} camp alone", minutes(left))),
        ];
        let told = self.reads.of(Gauge::Fuel, None);
        let unread = self.gauges.only(Gauge::Fuel).is_none();
        let mut lines: Vec<String> = lines.into_iter().flatten().collect();
        if unread {
            lines.push("counts as empty".to_owned());
        }
        let marks = stack(on_hand, self.gauges.fullest_ml);
        Tile::new("Fuel", litres(on_hand), marks, lines).read(told)
    }

    /// A throat takes gas by its area: a bore 2 % wider takes 4 % more.
    fn nozzle(&self) -> Tile {
        let cell = &self.situation.cell;
        let (bore, machined) = (cell.throat_um, self.gauges.machined_um.max(1));
        let permille = bore * bore * 1000 / (machined * machined) - 1000;
        let gas = match permille {
            0 => "as machined".to_owned(),
            _ => format!("gas {} over new", per_cent(permille)),
        };
        let (marks, wear) = match cell.worn_um.filter(|worn| *worn > machined) {
            None => (
                Marks::Stack(None),
                "no bore on record at which to change it".to_owned(),
            ),
            Some(worn) => {
                let (left, life) = ((worn - bore).max(0), worn - machined);
                let used = ((bore - machined).max(0) * 100 / life).min(100);
                let at = millimetres(worn);
                let word = if left == 0 {
                    format!("change it: worn at {at}")
                } else {
                    format!("{used} % worn, change at {at}")
                };
                (stack(left, life), word)
            }
        };
        Tile::new("Nozzle", millimetres(bore), marks, vec![wear, gas])
            .read(self.reads.of(Gauge::NozzleBore, None))
    }

    fn collector(&self) -> Tile {
        let limit = self.situation.cell.collector_limit_pa;
        let drop = self.gauges.only(Gauge::CollectorDrop).map(|r| r.value);
        let value = drop.map_or_else(|| "not read".to_owned(), |pa| format!("{} Pa", whole(pa)));
        let line = match (limit, drop) {
            (None, _) => "no limit on record".to_owned(),
            (Some(most), Some(pa)) if pa >= most => {
                format!("change elements: limit {} Pa", whole(most))
            }
            (Some(most), _) => format!("change elements at {} Pa", whole(most)),
        };
        let marks = match (limit, drop) {
            (Some(most), Some(pa)) => stack(most - pa, most),
            _ => Marks::Stack(None),
        };
        Tile::new("Collector", value, marks, vec![line])
            .read(self.reads.of(Gauge::CollectorDrop, None))
    }

    fn compressor(&self) -> Option<Tile> {
        let compressor = self.situation.compressor.as_ref()?;
        let (value, marks) = match compressor.service_in_min {
            None => ("not counted".to_owned(), Marks::Stack(None)),
            Some(left) => (
                format!("{} h", whole(left / 60)),
                stack(left, self.gauges.longest_service_min),
            ),
        };
        let lines = vec![
            "to its service".to_owned(),
            format!("reaches {}", bar(compressor.max_mbar)),
        ];
        let read = self.gauges.only(Gauge::CompressorService);
        let tile = Tile::new("Compressor", value, marks, lines);
        Some(match (read, compressor.service_in_min) {
            (None, Some(_)) => Tile {
                read: "as set up".to_owned(),
                again: Some("read it".to_owned()),
                ..tile
            },
            _ => tile.read(self.reads.of(Gauge::CompressorService, None)),
        })
    }

    fn furnaces(&self) -> Option<Tile> {
        let states: Vec<(String, Standing)> = self
            .gauges
            .furnaces
            .iter()
            .filter_map(|furnace| {
                let mut stations = self.situation.stations.iter();
                let station = stations.find(|s| s.code.as_str() == furnace.code)?;
                let state = stations::standing(self.situation, self.words, station, self.line_up);
                Some((station.name.clone(), state))
            })
            .collect();
        if states.is_empty() {
            return None;
        }
        let free = states.iter().filter(|(_, s)| *s == Standing::Free).count();
        let name = if states.len() == 1 {
            "Furnace"
        } else {
            "Furnaces"
        };
        let value = match (free, states.len()) {
            (0, _) => "none free".to_owned(),
            (free, all) if free == all => "free".to_owned(),
            (free, all) => format!("{free} of {all} free"),
        };
        let marks = Marks::Each(states.iter().map(|(_, s)| s.mark()).collect());
        let lines = states.iter();
        let lines = lines.map(|(name, state)| format!("{name}: {}", state.short()));
        Some(Tile::new(name, value, marks, lines.collect()))
    }

    fn people(&self) -> Tile {
        let now = self.situation.now;
        let mut coming = self.situation.shifts.iter().filter(|s| s.to > now);
        let most = self.situation.shifts.iter().map(|s| s.crew).max();
        let passes = usize::try_from(most.unwrap_or(0)).unwrap_or(0).max(4);
        let first = coming.next();
        let on = first.filter(|s| s.from <= now);
        let crew = on.map_or(0, |s| s.crew);
        let when = |s: &mendpost_core::situation::Shift| {
            format!("{} from {}", whole(s.crew), self.words.clock_day(s.from))
        };
        let mut lines = Vec::new();
        lines.extend(on.map(|s| format!("until {}", self.words.clock_day(s.to))));
        let next = if on.is_some() { coming.next() } else { first };
        lines.push(next.map_or_else(|| "nobody after that".to_owned(), when));
        let marks = Marks::Stack(Some((passes, usize::try_from(crew).unwrap_or(0), 0)));
        let value = match crew {
            0 => "nobody".to_owned(),
            1 => "1 person".to_owned(),
            more => format!("{} people", whole(more)),
        };
        Tile::new("On duty", value, marks, lines)
    }
}

/// '+4.0 %'.
fn per_cent(permille: i64) -> String {
    let sign = if permille < 0 { "-" } else { "+" };
    let tenths = permille.abs();
    format!("{sign}{}.{} %", tenths / 10, tenths % 10)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of 600 L that once were in the tank, 425 are left: 4.25 of six passes.
    #[test]
    fn a_stack_is_full_at_the_most_there_ever_was() {
        let filled = |left, full| match stack(left, full) {
            Marks::Stack(filled) => filled,
            Marks::Each(_) => None,
        };
        assert_eq!(filled(425, 600), Some((6, 4, 25)));
        assert_eq!(filled(700, 600), Some((6, 6, 0)));
        assert_eq!(filled(-5, 600), Some((6, 0, 0)));
        assert_eq!(filled(5, 0), None);
    }

    /// 2.04 mm over 2.00 is 1.0404 times the area.
    #[test]
    fn a_wider_bore_takes_more_gas_by_its_area() {
        assert_eq!(
            per_cent(2040 * 2040 * 1000 / (2000 * 2000) - 1000),
            "+4.0 %"
        );
        assert_eq!(per_cent(-15), "-1.5 %");
    }
}
