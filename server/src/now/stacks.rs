//! The cell, the stations, gas and fuel as stacks on one base line.

use chrono::{DateTime, Utc};
use mendpost_core::lineup::{LineUp, Place, Work};
use mendpost_core::situation::{Bank, Closed, Fuel, Situation, Station};

use super::acts::under_way;
use crate::page::{Layout, minutes, whole};
use crate::words::work::sentence;
use crate::words::{Words, bar, kilowatts, litres};

/// One stack with its words.
#[derive(Debug, Clone)]
pub struct Stack {
    pub name: String,
    pub word: String,
    pub foot: String,
    pub caption: String,
    pub passes: usize,
    pub done: usize,
    /// Share of the pass in work, in per cent.
    pub share: usize,
}

/// The cell, the stations, every bank, the fuel.
pub fn stacks(
    page: &Layout,
    words: &Words<'_>,
    situation: &Situation,
    line_up: Option<&LineUp>,
) -> Vec<Stack> {
    let mut stacks = vec![cell(words, situation, line_up)];
    stacks.extend(
        situation
            .stations
            .iter()
            .map(|s| station(words, situation, line_up, s)),
    );
    stacks.extend(situation.banks.iter().map(|b| bank(page, b)));
    stacks.push(fuel(page, &situation.fuel));
    stacks
}

/// A place for work, with what is on it.
struct Spot<'a> {
    name: String,
    closed: &'a [Closed],
    on: Vec<(&'a Place, &'a Work)>,
    next: Option<(&'a Place, &'a Work)>,
}

fn cell(words: &Words<'_>, situation: &Situation, line_up: Option<&LineUp>) -> Stack {
    let is_stage = |work: &Work| matches!(work, Work::Stage(_));
    let spot = spot("Cell", &situation.cell.closed, situation, line_up, is_stage);
    let now = situation.now;
    let mut stack = spot.stack(words, now);
    if let Some((_, Work::Stage(stage))) = spot.on.first() {
        stack.word = if stage.start <= now {
            "spraying"
        } else {
            "set-up"
        }
        .to_owned();
    } else if let Some(free) = situation.cell.free_from.filter(|at| *at > now) {
        stack.word = "busy".to_owned();
        stack.foot = format!("free {}", words.when(free));
    }
    stack
}

fn station(
    words: &Words<'_>,
    situation: &Situation,
    line_up: Option<&LineUp>,
    station: &Station,
) -> Stack {
    let here = |work: &Work| match work {
        Work::Step(step) => step.station.as_ref() == Some(&station.code),
        Work::Stage(_) => false,
    };
    spot(&station.name, &station.closed, situation, line_up, here).stack(words, situation.now)
}

fn spot<'a>(
    name: &str,
    closed: &'a [Closed],
    situation: &Situation,
    line_up: Option<&'a LineUp>,
    here: impl Fn(&Work) -> bool,
) -> Spot<'a> {
    let now = situation.now;
    let all = line_up.into_iter().flat_map(|line_up| &line_up.places);
    let coming = all
        .flat_map(|place| place.work.iter().map(move |work| (place, work)))
        .filter(|(_, work)| here(work) && work.starts() > now)
        .min_by_key(|(_, work)| work.starts());
    let begun = line_up
        .map(|line_up| under_way(line_up, now))
        .unwrap_or_default();
    Spot {
        name: sentence(name),
        closed,
        on: begun.into_iter().filter(|(_, work)| here(work)).collect(),
        next: coming,
    }
}

impl Spot<'_> {
    fn stack(&self, words: &Words<'_>, now: DateTime<Utc>) -> Stack {
        let next = self.next.map_or_else(
            || "nothing planned on it".to_owned(),
            |(place, work)| {
                format!(
                    "next: place {}, {}",
                    place.number,
                    words.when(work.starts())
                )
            },
        );
        let (passes, done, share) = self
            .on
            .first()
            .map_or((FEWEST, 0, 0), |(place, work)| progress(place, work, now));
        let closed = self.closed.iter().find(|c| c.from <= now && now < c.to);
        let (word, foot, caption) = match (self.on.as_slice(), closed) {
            ([], Some(closed)) => (
                "out",
                closed.reason.clone(),
                format!("to {}; {next}", words.when(closed.to)),
            ),
            ([], None) => ("free", "nothing on it".to_owned(), next),
            ([(place, work), more @ ..], _) => {
                let more = if more.is_empty() {
                    String::new()
                } else {
                    format!(", and {} more", more.len())
                };
                (
                    "running",
                    words.asset_part(place.asset.as_str(), &place.part_name) + &more,
                    format!(
                        "place {}, to {}, {} left",
                        place.number,
                        words.when(work.ends()),
                        minutes((work.ends() - now).num_minutes())
                    ),
                )
            }
        };
        Stack {
            name: self.name.clone(),
            word: word.to_owned(),
            foot,
            caption,
            passes,
            done,
            share,
        }
    }
}

/// The fewest passes that still read as a stack.
const FEWEST: usize = 4;

/// A part's work as passes: how many, how many are done, and the share of the one in work.
fn progress(place: &Place, work: &Work, now: DateTime<Utc>) -> (usize, usize, usize) {
    let done = place.work.iter().take_while(|w| w.ends() <= now).count();
    let (gone, whole) = (now - work.starts(), work.ends() - work.starts());
    let share = gone.num_minutes() * 100 / whole.num_minutes().max(1);
    (
        place.work.len().max(FEWEST),
        done,
        usize::try_from(share).unwrap_or(0),
    )
}

/// A pass of a bank's stack, in millibar.
const PASS_MBAR: i64 = 25_000;

/// Bottles are filled to this as a rule, absolute, in millibar: 200 bar above the air's.
const FULL_MBAR: i64 = 201_000;

fn bank(page: &Layout, bank: &Bank) -> Stack {
    let (passes, done, share) = level(bank.pressure_mbar, PASS_MBAR, FULL_MBAR);
    let read = bank.read_at.timestamp_millis();
    Stack {
        name: format!("Bank {}", bank.code),
        word: bar(bank.pressure_mbar),
        foot: format!("{} bottles of {}", whole(bank.bottles), bank.gas),
        caption: format!(
            "a pass is 25 bar; read {}, {}",
            page.age(&read),
            bank.read_by
        ),
        passes,
        done,
        share,
    }
}

fn fuel(page: &Layout, fuel: &Fuel) -> Stack {
    // So that what is there makes four to ten passes.
    let pass_ml = [10_000, 20_000, 50_000, 100_000, 200_000, 500_000]
        .into_iter()
        .find(|pass| fuel.on_hand_ml <= pass * 10)
        .unwrap_or(1_000_000);
    let (passes, done, share) = level(fuel.on_hand_ml, pass_ml, 0);
    let read = fuel.read_at.timestamp_millis();
    Stack {
        name: "Fuel".to_owned(),
        word: litres(fuel.on_hand_ml),
        foot: format!("for the {} set", kilowatts(fuel.rated_w)),
        caption: format!(
            "a pass is {}; read {}, {}",
            litres(pass_ml),
            page.age(&read),
            fuel.read_by
        ),
        passes,
        done,
        share,
    }
}

/// A stock as passes of one size up to at least `full`.
fn level(stock: i64, pass: i64, full: i64) -> (usize, usize, usize) {
    let count = |value: i64| usize::try_from(value.max(0)).unwrap_or(0);
    let passes = count((stock.max(full) + pass / 2) / pass).max(FEWEST);
    let done = count(stock / pass).min(passes);
    (passes, done, count(stock % pass * 100 / pass))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 31 bar of 201: eight passes of 25 bar, one full and 6/25 = 24 % of the next. 410 L in passes of
    /// 50 L: eight full, and a fifth of the ninth is not drawn because half a pass makes none.
    #[test]
    fn a_stock_is_shown_in_passes_of_one_size() {
        assert_eq!(level(31_000, PASS_MBAR, FULL_MBAR), (8, 1, 24));
        assert_eq!(level(410_000, 50_000, 0), (8, 8, 20));
        assert_eq!(level(0, 10_000, 0), (FEWEST, 0, 0));
        assert_eq!(level(-5, 10_000, 0), (FEWEST, 0, 0));
    }
}
