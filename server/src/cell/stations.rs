//! The cell and the stations as they stand now, and who is on duty in the days to come.

use mendpost_core::lineup::{LineUp, Work};
use mendpost_core::situation::{Closed, Situation, Station};

use super::gauge::Gauge;
use super::queries::Gauges;
use super::reads::{Reads, Told};
use crate::page::whole;
use crate::words::Words;
use crate::words::work::sentence;

/// The cell or a station.
pub struct StationRow {
    pub name: String,
    pub room: String,
    pub state: String,
    /// What a furnace showed, its age and author, and whether to read again.
    pub read: Vec<(String, bool)>,
    /// Closures to come.
    pub later: Vec<String>,
}

/// How a station stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    Free,
    /// In whose work, and until when.
    Work {
        what: String,
        until: String,
    },
    /// Until when, and why.
    Closed {
        what: String,
        until: String,
        why: String,
    },
}

impl Standing {
    pub const fn mark(&self) -> &'static str {
        match self {
            Standing::Free => "ready",
            Standing::Work { .. } => "work",
            Standing::Closed { .. } => "lost",
        }
    }

    /// In a narrow place.
    pub fn short(&self) -> String {
        match self {
            Standing::Free => "free".to_owned(),
            Standing::Work { until, .. } => format!("in work, free {until}"),
            Standing::Closed { until, .. } => format!("closed, free {until}"),
        }
    }

    fn long(&self) -> String {
        match self {
            Standing::Free => "free".to_owned(),
            Standing::Work { what, until } => format!("{what} until {until}"),
            Standing::Closed { what, until, why } => format!("{what} until {until}: {why}"),
        }
    }
}

pub fn rows(
    situation: &Situation,
    gauges: &Gauges,
    reads: &Reads<'_>,
    words: &Words<'_>,
    line_up: Option<&LineUp>,
) -> Vec<StationRow> {
    let mut rows = vec![cell(situation, words, line_up)];
    rows.extend(situation.stations.iter().map(|station| {
        let state = standing(situation, words, station, line_up);
        let mut furnaces = gauges.furnaces.iter();
        let furnace = furnaces.find(|f| f.code == station.code.as_str());
        let celsius = furnace.and_then(|f| gauges.latest(Gauge::FurnaceTemperature, Some(f.id)));
        let in_work = matches!(state, Standing::Work { .. });
        StationRow {
            name: sentence(&station.name),
            room: match (station.slots, station.batch) {
                (1, _) => "1 place".to_owned(),
                (slots, false) => format!("{} places", whole(slots)),
                (slots, true) => format!("{} parts of one cycle at a time", whole(slots)),
            },
            state: state.long(),
            read: furnace.map_or_else(Vec::new, |f| {
                let told = reads.of(Gauge::FurnaceTemperature, Some(f.id));
                temperature(celsius.map(|c| c.value), told, in_work)
            }),
            later: later(situation, words, &station.closed, station.slots),
        }
    }));
    rows
}

/// A furnace that stands idle need not be read.
fn temperature(milli_c: Option<i64>, told: Told, in_work: bool) -> Vec<(String, bool)> {
    let shown = milli_c.map(|c| format!("{} °C", whole((c + 500).div_euclid(1000))));
    let mut lines = Vec::new();
    match shown {
        Some(celsius) => lines.push((format!("{celsius}, {}", told.when), false)),
        None => lines.push(("temperature never read".to_owned(), false)),
    }
    lines.extend(told.again.filter(|_| in_work).map(|again| (again, true)));
    lines
}

/// How a station stands now, by its closures and the line-up.
pub fn standing(
    situation: &Situation,
    words: &Words<'_>,
    station: &Station,
    line_up: Option<&LineUp>,
) -> Standing {
    let code = Some(station.code.as_str());
    closed_now(situation, words, &station.closed, station.slots)
        .or_else(|| working(situation, words, line_up, code))
        .unwrap_or(Standing::Free)
}

fn cell(situation: &Situation, words: &Words<'_>, line_up: Option<&LineUp>) -> StationRow {
    let cell = &situation.cell;
    let busy = || {
        let until = cell.free_from.filter(|at| *at > situation.now)?;
        Some(Standing::Work {
            what: "in work".to_owned(),
            until: words.clock(until),
        })
    };
    let state = closed_now(situation, words, &cell.closed, 1)
        .or_else(busy)
        .or_else(|| working(situation, words, line_up, None))
        .unwrap_or(Standing::Free);
    StationRow {
        name: cell.name.clone(),
        room: cell.feeder.as_ref().map_or_else(
            || "feeder empty".to_owned(),
            |powder| format!("{} in", words.powder_short(powder.as_str())),
        ),
        state: state.long(),
        read: Vec::new(),
        later: later(situation, words, &cell.closed, 1),
    }
}

fn closed_now(
    situation: &Situation,
    words: &Words<'_>,
    closed: &[Closed],
    slots: i64,
) -> Option<Standing> {
    let now = situation.now;
    let mut closed = closed.iter().filter(|c| c.from <= now && c.to > now);
    closed.next().map(|c| Standing::Closed {
        what: shut(c, slots),
        until: words.clock_day(c.to),
        why: c.reason.clone(),
    })
}

fn later(situation: &Situation, words: &Words<'_>, closed: &[Closed], slots: i64) -> Vec<String> {
    let coming = closed.iter().filter(|c| c.from > situation.now);
    coming
        .map(|c| {
            let (from, to) = (words.clock_day(c.from), words.clock_day(c.to));
            format!("{} {from} to {to}: {}", shut(c, slots), c.reason)
        })
        .collect()
}

fn shut(closed: &Closed, slots: i64) -> String {
    if closed.slots >= slots {
        "closed".to_owned()
    } else {
        format!("{} of {} closed", whole(closed.slots), whole(slots))
    }
}

/// What the line-up has there now; the cell is the station without a code.
fn working(
    situation: &Situation,
    words: &Words<'_>,
    line_up: Option<&LineUp>,
    station: Option<&str>,
) -> Option<Standing> {
    let now = situation.now;
    let open = line_up?
        .places
        .iter()
        .filter(|place| situation.request(&place.request).is_some());
    let mut there = open.flat_map(|place| place.work.iter().map(move |work| (place.number, work)));
    there.find_map(|(number, work)| {
        let (here, from, to) = match work {
            Work::Stage(stage) => (station.is_none(), stage.setup_from, stage.end),
            Work::Step(step) => {
                let code = step.station.as_ref().map(|code| code.as_str());
                (station.is_some() && code == station, step.start, step.end)
            }
        };
        (here && from <= now && now < to).then(|| Standing::Work {
            what: format!("place {number} planned"),
            until: words.clock(to),
        })
    })
}

/// A stretch of duty: day, hours, people.
pub struct DutyRow {
    pub day: String,
    pub hours: String,
    pub crew: String,
    pub now: bool,
}

/// The stretches of the days to come.
pub fn duty(situation: &Situation) -> Vec<DutyRow> {
    let zone = situation.site.zone;
    let shifts = situation.shifts.iter().filter(|s| s.to > situation.now);
    shifts
        .take(STRETCHES)
        .map(|shift| {
            let (from, to) = (
                shift.from.with_timezone(&zone),
                shift.to.with_timezone(&zone),
            );
            DutyRow {
                day: from.format("%a %-d").to_string(),
                hours: format!("{} to {}", from.format("%H:%M"), to.format("%H:%M")),
                crew: whole(shift.crew),
                now: shift.from <= situation.now,
            }
        })
        .collect()
}

const STRETCHES: usize = 8;
