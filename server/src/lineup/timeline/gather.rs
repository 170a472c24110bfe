//! What the timeline shows, in minutes since 1970, before any of it has a place on the page.

use chrono::{DateTime, Days, NaiveTime, TimeZone, Utc};
use mendpost_core::lineup::{LineUp, Place, Readiness, Work, power_by_time};
use mendpost_core::situation::Situation;

use crate::words::Words;

/// How far the timeline reaches at the most.
const LONGEST: i64 = 9 * 1440;
/// An idle stretch of the cell shorter than this on duty is not told.
const LONG_IDLE: i64 = 360;

/// All that the timeline shows.
pub struct Data {
    pub start: i64,
    pub end: i64,
    pub now: i64,
    pub now_words: String,
    pub title: String,
    /// Names of the lanes with bars: the cell first, then the stations.
    pub lanes: Vec<String>,
    /// Sorted by start.
    pub spans: Vec<Span>,
    /// From, to.
    pub shifts: Vec<(i64, i64)>,
    /// From, to, people.
    pub duty: Vec<(i64, i64, i64)>,
    /// From, to, for each person busy.
    pub busy: Vec<(i64, i64)>,
    /// From when on so many watts are taken, the camp's included; sorted.
    pub power: Vec<(i64, i64)>,
    /// What the set gives, in watts.
    pub rated_w: i64,
    /// When an asset is back, and by which place: of each order that is shown.
    pub back: Vec<Vec<(i64, String)>>,
    /// When, and its words.
    pub deliveries: Vec<(i64, String)>,
    /// The start of each day at the site, with its name.
    pub days: Vec<(i64, String)>,
    /// The longest idle stretch of the cell, and why.
    pub idle: Option<(i64, i64, String)>,
}

/// A bar.
pub struct Span {
    pub lane: usize,
    pub kind: Kind,
    pub name: String,
    pub from: i64,
    pub to: i64,
}

#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Setup,
    Work,
}

impl Data {
    pub fn spans_of(&self, lane: usize) -> impl Iterator<Item = &Span> {
        self.spans.iter().filter(move |s| s.lane == lane)
    }

    /// Whether two orders are shown, the other one in every second lane.
    pub const fn is_pair(&self) -> bool {
        self.back.len() > 1
    }

    /// Whether a lane is of the other order.
    pub const fn is_other(&self, lane: usize) -> bool {
        self.is_pair() && lane % 2 == 1
    }

    /// Whether a lane is of the cell.
    pub const fn is_cell(&self, lane: usize) -> bool {
        lane < self.back.len()
    }

    pub fn most_people(&self) -> i64 {
        self.duty
            .iter()
            .map(|(_, _, people)| *people)
            .max()
            .unwrap_or(1)
    }
}

/// What the bars of a place are called.
type Name<'a> = &'a dyn Fn(&Place) -> String;

/// What the lanes of the other one of two orders are called.
pub const OTHER: &str = "other";

/// Gathers what a line-up and its situation show.
pub fn gather(situation: &Situation, line_up: &LineUp, words: &Words<'_>) -> Data {
    gather_named(situation, line_up, words, &|place| place.number.to_string())
}

/// Gathers two orders for one axis, each in lanes of its own, by the same names.
pub fn gather_pair(
    [planned, other]: [(&Situation, &LineUp); 2],
    words: &Words<'_>,
    name: Name<'_>,
) -> Data {
    let mut data = gather_named(planned.0, planned.1, words, name);
    let other = gather_named(other.0, other.1, words, name);
    (data.start, data.end) = (data.start.min(other.start), data.end.max(other.end));
    data.title = "Timeline: both orders, the planned one above the other for the cell and each \
                  station, and returns; the lists beside it say the same in words"
        .to_owned();
    data.days = days(planned.0, data.start, data.end);
    let own = |mut spans: Vec<Span>, row: usize| {
        for span in &mut spans {
            span.lane = span.lane * 2 + row;
        }
        spans
    };
    data.spans = own(data.spans, 0);
    data.spans.extend(own(other.spans, 1));
    data.spans.sort_by_key(|s| (s.from, s.to));
    let lanes = data.lanes.into_iter();
    data.lanes = lanes.flat_map(|lane| [lane, OTHER.to_owned()]).collect();
    let mut moved = other.deliveries;
    moved.retain(|delivery| !data.deliveries.contains(delivery));
    let moved = moved.into_iter();
    data.deliveries
        .extend(moved.map(|(at, words)| (at, format!("{OTHER}: {words}"))));
    data.back.extend(other.back);
    data.idle = None;
    data
}

fn gather_named(
    situation: &Situation,
    line_up: &LineUp,
    words: &Words<'_>,
    name: Name<'_>,
) -> Data {
    let now = minute(situation.now);
    let start = now.min(minute(line_up.now)) - 60;
    let spans = spans(situation, line_up, name);
    let back = back(line_up, name);
    let deliveries: Vec<(i64, String)> = situation
        .deliveries
        .iter()
        .map(|d| {
            (
                minute(d.expected),
                format!("{} {}", d.name, words.clock(d.expected)),
            )
        })
        .collect();
    let last = spans
        .iter()
        .map(|s| s.to)
        .chain(back.iter().map(|(at, _)| *at))
        .max()
        .unwrap_or(now);
    let furthest = deliveries
        .iter()
        .map(|(at, _)| *at)
        .filter(|at| *at < now + LONGEST)
        .fold(last, i64::max);
    let end = (now + LONGEST).min(furthest + 360).max(start + 1440);
    let duty: Vec<(i64, i64, i64)> = situation
        .shifts
        .iter()
        .map(|s| (minute(s.from), minute(s.to), s.crew))
        .filter(|(from, to, _)| *to > start && *from < end)
        .collect();
    let shifts = merged(&duty);
    let idle = idle(situation, line_up, &spans, &shifts, end);
    let mut lanes = vec!["Cell".to_owned()];
    lanes.extend(situation.stations.iter().map(|s| s.name.clone()));
    Data {
        now_words: format!(
            "now {}",
            situation
                .now
                .with_timezone(&situation.site.zone)
                .format("%H:%M")
        ),
        title: format!(
            "Timeline: cell, stations, people, power and returns until {}; the table says the same in words",
            words.clock(at(end))
        ),
        days: days(situation, start, end),
        deliveries: deliveries
            .into_iter()
            .filter(|(at, _)| *at <= end && *at >= now)
            .collect(),
        busy: busy(line_up, start, end),
        power: power(situation, line_up, start, end),
        rated_w: situation.fuel.rated_w,
        start,
        end,
        now,
        lanes,
        spans: spans
            .into_iter()
            .filter(|s| s.to > start && s.from < end)
            .collect(),
        shifts,
        duty,
        back: vec![back.into_iter().filter(|(at, _)| *at <= end).collect()],
        idle,
    }
}

fn spans(situation: &Situation, line_up: &LineUp, name: Name<'_>) -> Vec<Span> {
    let mut spans = Vec::new();
    for place in &line_up.places {
        let name = name(place);
        for work in &place.work {
            match work {
                Work::Stage(s) => {
                    let (setup, from, to) = (minute(s.setup_from), minute(s.start), minute(s.end));
                    spans.push(Span {
                        lane: 0,
                        kind: Kind::Setup,
                        name: String::new(),
                        from: setup,
                        to: from,
                    });
                    spans.push(Span {
                        lane: 0,
                        kind: Kind::Work,
                        name: name.clone(),
                        from,
                        to,
                    });
                }
                Work::Step(s) => {
                    let station = situation
                        .stations
                        .iter()
                        .position(|x| Some(&x.code) == s.station.as_ref());
                    if let Some(station) = station {
                        let (from, to) = (minute(s.start), minute(s.end));
                        spans.push(Span {
                            lane: station + 1,
                            kind: Kind::Work,
                            name: name.clone(),
                            from,
                            to,
                        });
                    }
                }
            }
        }
    }
    spans.sort_by_key(|s| (s.from, s.to));
    spans
}

/// An asset's return carries the number of the place whose part comes last.
fn back(line_up: &LineUp, name: Name<'_>) -> Vec<(i64, String)> {
    let last = |place: &&Place| place.back == Some(place.done);
    line_up
        .places
        .iter()
        .filter(last)
        .map(|p| (minute(p.done), name(p)))
        .collect()
}

fn busy(line_up: &LineUp, start: i64, end: i64) -> Vec<(i64, i64)> {
    let mut busy = Vec::new();
    for work in line_up.places.iter().flat_map(|p| &p.work) {
        let (from, to, crew) = match work {
            Work::Stage(s) => (minute(s.setup_from), minute(s.end), s.crew),
            Work::Step(s) => (minute(s.start), minute(s.end), s.crew),
        };
        if to > start && from < end {
            busy.extend((0..crew).map(|_| (from, to)));
        }
    }
    busy
}

fn power(situation: &Situation, line_up: &LineUp, start: i64, end: i64) -> Vec<(i64, i64)> {
    let levels = power_by_time(situation, line_up).into_iter();
    let mut levels: Vec<(i64, i64)> = levels
        .map(|(at, watts)| (minute(at), watts))
        .filter(|(at, _)| *at < end)
        .collect();
    let before = levels.iter().rposition(|(at, _)| *at <= start).unwrap_or(0);
    levels.drain(..before);
    levels
}

fn merged(duty: &[(i64, i64, i64)]) -> Vec<(i64, i64)> {
    let mut shifts: Vec<(i64, i64)> = Vec::new();
    for (from, to, _) in duty {
        match shifts.last_mut() {
            Some(last) if last.1 >= *from => last.1 = last.1.max(*to),
            _ => shifts.push((*from, *to)),
        }
    }
    shifts
}

/// The longest stretch on duty in which the cell does nothing, if it is long, with its reason.
fn idle(
    situation: &Situation,
    line_up: &LineUp,
    spans: &[Span],
    shifts: &[(i64, i64)],
    end: i64,
) -> Option<(i64, i64, String)> {
    let stages: Vec<&Span> = spans.iter().filter(|s| s.lane == 0).collect();
    let mut gaps: Vec<(i64, i64)> = stages
        .windows(2)
        .map(|pair| (pair[0].to, pair[1].from))
        .collect();
    gaps.extend(stages.last().map(|last| (last.to, end)));
    let on_duty = |(from, to): (i64, i64)| {
        shifts
            .iter()
            .map(|(a, b)| (to.min(*b) - from.max(*a)).max(0))
            .sum::<i64>()
    };
    let (from, to) = gaps
        .into_iter()
        .max_by_key(|gap| on_duty(*gap))
        .filter(|gap| on_duty(*gap) >= LONG_IDLE)?;
    let next = line_up
        .places
        .iter()
        .find(|p| p.stages().any(|(_, s)| minute(s.setup_from) == to));
    let why = match next.map(|p| &p.readiness) {
        Some(Readiness::WaitsForDelivery(code)) => {
            let name = situation
                .deliveries
                .iter()
                .find(|d| d.code == *code)
                .map_or(code.as_str(), |d| d.name.as_str());
            format!("waits for the {name}")
        }
        Some(Readiness::WaitsForPart(_)) => "waits for the broken part".to_owned(),
        Some(Readiness::WaitsForYes(_)) => "waits for a yes".to_owned(),
        Some(_) => "waits for furnace, mill or people".to_owned(),
        None if line_up.waiting.is_empty() => "nothing waits".to_owned(),
        None => "waits: see the gates".to_owned(),
    };
    Some((from, to.min(end), why))
}

fn days(situation: &Situation, start: i64, end: i64) -> Vec<(i64, String)> {
    let zone = situation.site.zone;
    let first = at(start).with_timezone(&zone).date_naive();
    (0..=12)
        .filter_map(|n| first.checked_add_days(Days::new(n)))
        .filter_map(|day| {
            let midnight = zone
                .from_local_datetime(&day.and_time(NaiveTime::MIN))
                .earliest()?;
            Some((
                minute(midnight.to_utc()).max(start),
                day.format("%a %-d").to_string(),
            ))
        })
        .filter(|(at, _)| *at < end)
        .collect()
}

fn minute(at: DateTime<Utc>) -> i64 {
    at.timestamp().div_euclid(60)
}

fn at(minute: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(minute * 60, 0).unwrap_or_default()
}
