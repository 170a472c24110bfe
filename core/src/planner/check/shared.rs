use std::collections::{BTreeMap, BTreeSet};

use super::{Broken, Place, Placed};
use crate::planner::problem::{Load, Problem, Station, Work};

/// At every minute the crew that operations need is on duty.
pub(super) fn crew(problem: &Problem, placed: &[Placed<'_>], broken: &mut Vec<Broken>) {
    let mut minutes: BTreeSet<i64> = problem
        .windows
        .iter()
        .flat_map(|w| [w.from, w.to])
        .collect();
    minutes.extend(placed.iter().map(|it| it.begin));
    for minute in minutes {
        let working = placed
            .iter()
            .filter(|it| it.begin <= minute && minute < it.end);
        let needed: i64 = working.map(|it| it.operation.crew).sum();
        let on_duty = problem
            .windows
            .iter()
            .find(|w| w.from <= minute && minute < w.to)
            .map_or(0, |w| w.crew);
        if needed > on_duty {
            broken.push(Broken::Crew {
                minute,
                needed,
                on_duty,
            });
        }
    }
}

/// A station never holds more than its slots.
pub(super) fn stations(problem: &Problem, placed: &[Placed<'_>], broken: &mut Vec<Broken>) {
    for station in &problem.stations {
        let here: Vec<_> = placed.iter().filter(|it| is_at(it, station)).collect();
        let mut minutes: BTreeSet<i64> = here.iter().map(|it| it.start).collect();
        minutes.extend(station.closed.iter().map(|(from, _, _)| *from));
        for minute in minutes {
            let held = here
                .iter()
                .map(|it| i64::from(it.start <= minute && minute < it.end))
                .sum();
            let shut = station
                .closed
                .iter()
                .filter(|(from, to, _)| (*from..*to).contains(&minute));
            let slots = station.slots - shut.map(|(_, _, slots)| slots).sum::<i64>();
            if held > 0 && held > slots {
                broken.push(Broken::Station {
                    station: station.id.clone(),
                    minute,
                    held,
                    slots,
                });
            }
        }
    }
}

/// A batch station never holds two batches at a time: what is in it starts and ends together, in one cycle.
pub(super) fn batches(problem: &Problem, placed: &[Placed<'_>], broken: &mut Vec<Broken>) {
    for station in problem.stations.iter().filter(|station| station.batch) {
        let here: Vec<_> = placed.iter().filter(|it| is_at(it, station)).collect();
        let minutes: BTreeSet<i64> = here.iter().map(|it| it.start).collect();
        for minute in minutes {
            let held = here
                .iter()
                .filter(|it| it.start <= minute && minute < it.end);
            let batches: BTreeSet<_> = held.map(|it| (it.start, it.end, cycle(it))).collect();
            if batches.len() > 1 {
                broken.push(Broken::Batches {
                    station: station.id.clone(),
                    minute,
                    batches: batches.len(),
                });
            }
        }
    }
}

fn cycle<'a>(it: &Placed<'a>) -> Option<&'a str> {
    match &it.operation.work {
        Work::Step { cycle, .. } => cycle.as_deref(),
        Work::Stage { .. } => None,
    }
}

/// No limit is exceeded at any minute.
pub(super) fn limits(problem: &Problem, placed: &[Placed<'_>], broken: &mut Vec<Broken>) {
    let ends: BTreeMap<_, _> = placed.iter().map(|it| (&it.place, it.end)).collect();
    let end_of_load = |it: &Placed<'_>, load: &Load| {
        let through = load.through.map(|position| Place {
            job: it.place.job.clone(),
            operation: position + 1,
        });
        through
            .and_then(|place| ends.get(&place).copied())
            .unwrap_or(it.end)
    };
    for limit in &problem.limits {
        let mut loads = Vec::new();
        for it in placed {
            let on_limit = it
                .operation
                .loads
                .iter()
                .filter(|load| load.limit == limit.id);
            loads.extend(on_limit.map(|load| (it.begin, end_of_load(it, load), load.amount)));
        }
        let mut minutes: BTreeSet<i64> = loads.iter().map(|(begin, _, _)| *begin).collect();
        minutes.extend(limit.windows.iter().flat_map(|(from, to, _)| [*from, *to]));
        for minute in minutes {
            let now = loads
                .iter()
                .filter(|(begin, end, _)| (*begin..*end).contains(&minute));
            let held: i64 = now.map(|(_, _, amount)| amount).sum();
            let mut windows = limit.windows.iter();
            let window = windows.find(|(from, to, _)| (*from..*to).contains(&minute));
            let capacity = window.map_or(limit.capacity, |(_, _, capacity)| *capacity);
            if held > capacity {
                broken.push(Broken::Limit {
                    limit: limit.id.clone(),
                    minute,
                    held,
                    capacity,
                });
            }
        }
    }
}

fn is_at(it: &Placed<'_>, station: &Station) -> bool {
    matches!(&it.operation.work, Work::Step { station: Some(id), .. } if *id == station.id)
}
