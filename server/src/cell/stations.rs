//! The cell and the stations as they stand now, and who is on duty in the days to come.

use mendpost_core::lineup::{LineUp, Work};
use mendpost_core::situation::{Closed, Situation};

use crate::page::whole;
use crate::words::Words;
use crate::words::work::sentence;

/// The cell or a station.
pub struct StationRow {
    pub name: String,
    pub room: String,
    pub state: String,
    /// Closures to come.
    pub later: Vec<String>,
}

pub fn rows(situation: &Situation, words: &Words<'_>, line_up: Option<&LineUp>) -> Vec<StationRow> {
    let mut rows = vec![cell(situation, words, line_up)];
    rows.extend(situation.stations.iter().map(|station| {
        let open = closed_now(situation, words, &station.closed, station.slots);
        let busy = || working(situation, words, line_up, Some(station.code.as_str()));
        StationRow {
            name: sentence(&station.name),
            room: match station.slots {
                1 => "1 place".to_owned(),
                slots => format!("{} places", whole(slots)),
            },
            state: open.or_else(busy).unwrap_or_else(|| "free".to_owned()),
            later: later(situation, words, &station.closed, station.slots),
        }
    }));
    rows
}

fn cell(situation: &Situation, words: &Words<'_>, line_up: Option<&LineUp>) -> StationRow {
    let cell = &situation.cell;
    let closed = closed_now(situation, words, &cell.closed, 1);
    let busy = || {
        let until = cell.free_from.filter(|at| *at > situation.now)?;
        Some(format!("in work until {}", words.clock(until)))
    };
    let planned = || working(situation, words, line_up, None);
    StationRow {
        name: cell.name.clone(),
        room: cell.feeder.as_ref().map_or_else(
            || "feeder empty".to_owned(),
            |powder| format!("{} in", words.powder_short(powder.as_str())),
        ),
        state: closed
            .or_else(busy)
            .or_else(planned)
            .unwrap_or_else(|| "free".to_owned()),
        later: later(situation, words, &cell.closed, 1),
    }
}

fn closed_now(
    situation: &Situation,
    words: &Words<'_>,
    closed: &[Closed],
    slots: i64,
) -> Option<String> {
    let now = situation.now;
    let mut closed = closed.iter().filter(|c| c.from <= now && c.to > now);
    closed.next().map(|c| {
        let until = words.clock_day(c.to);
        format!("{} until {until}: {}", shut(c, slots), c.reason)
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
) -> Option<String> {
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
        let planned = || format!("place {number} planned until {}", words.clock(to));
        (here && from <= now && now < to).then(planned)
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
