//! What is held at the same time and given back: people, slots of stations, limits.

use std::collections::BTreeMap;

use super::decode::Room;
use super::problem::{Limit, Operation, Problem, Work};
use super::rules::numbered;

/// What an operation holds of what is shared, and what its job's loads do at its end.
#[derive(Debug, Default)]
pub(super) struct SharesRule {
    /// Held from its set-up or start to its end; at most one entry for each thing shared.
    pub held: Vec<Share>,
    /// Of that, what is held on behind its end, until a later operation lets it go.
    pub kept: Vec<Kept>,
    /// What earlier operations kept, and is let go at its end.
    pub let_go: Vec<Share>,
    /// What earlier operations kept, and is still held throughout it.
    pub carried: Vec<Carried>,
}

/// An amount of one thing shared, by its position among them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Share {
    pub of: usize,
    pub amount: i64,
}

/// A share that outlasts the operation that takes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Kept {
    pub share: Share,
    /// It lasts at least so many minutes longer.
    pub minutes: i64,
}

/// All that a job still holds of one thing shared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Carried {
    pub share: Share,
    /// The last operation that added to it.
    pub since: usize,
}

impl SharesRule {
    /// What the operation at a position of an option holds.
    pub fn new(operations: &[Operation], at: usize, places: &SharedPlaces<'_>) -> Self {
        let operation = &operations[at];
        let mut rule = Self::default();
        rule.hold(CREW, operation.crew);
        if let Work::Step {
            station: Some(station),
            ..
        } = &operation.work
        {
            rule.hold(places.stations[station.as_str()], 1);
        }
        for load in &operation.loads {
            let of = places.limits[load.limit.as_str()];
            rule.hold(of, load.amount);
            let last = load.through.unwrap_or(at);
            if last > at && load.amount > 0 {
                let behind = operations[at + 1..=last].iter();
                let share = Share {
                    of,
                    amount: load.amount,
                };
                let minutes = behind.map(|it| it.after + it.minutes).sum();
                rule.kept.push(Kept { share, minutes });
            }
        }
        for (since, before) in operations[..at].iter().enumerate() {
            for load in before.loads.iter().filter(|load| load.amount > 0) {
                let of = places.limits[load.limit.as_str()];
                rule.carry(
                    Share {
                        of,
                        amount: load.amount,
                    },
                    since,
                    at,
                    load.through.unwrap_or(since),
                );
            }
        }
        rule
    }

    fn hold(&mut self, of: usize, amount: i64) {
        match self.held.iter_mut().find(|share| share.of == of) {
            Some(share) => share.amount += amount,
            None if amount > 0 => self.held.push(Share { of, amount }),
            None => {}
        }
    }

    fn carry(&mut self, share: Share, since: usize, at: usize, last: usize) {
        if last < at {
            return;
        }
        if last == at {
            self.let_go.push(share);
        }
        match self
            .carried
            .iter_mut()
            .find(|carried| carried.share.of == share.of)
        {
            Some(carried) => {
                carried.share.amount += share.amount;
                carried.since = since;
            }
            None => self.carried.push(Carried { share, since }),
        }
    }
}

/// Positions of what is shared, by id.
pub(super) struct SharedPlaces<'a> {
    stations: BTreeMap<&'a str, usize>,
    limits: BTreeMap<&'a str, usize>,
}

impl<'a> SharedPlaces<'a> {
    pub fn of(problem: &'a Problem) -> Self {
        let behind = |places: BTreeMap<&'a str, usize>, first: usize| -> BTreeMap<_, _> {
            places.into_iter().map(|(id, n)| (id, first + n)).collect()
        };
        let first_station = CREW + 1;
        let first_limit = first_station + problem.stations.len();
        Self {
            stations: behind(
                numbered(problem.stations.iter().map(|s| &s.id)),
                first_station,
            ),
            limits: behind(numbered(problem.limits.iter().map(|l| &l.id)), first_limit),
        }
    }
}

/// The position of the crew among what is shared.
const CREW: usize = 0;

/// The room of what is shared while nothing is held: the crew, then each station, then each limit.
pub(super) fn rooms(problem: &Problem) -> Vec<Room> {
    let stations = problem
        .stations
        .iter()
        .map(|s| station_room(s.slots, &s.closed));
    let crew = std::iter::once(crew_on_duty(problem));
    let limits = problem.limits.iter().map(|limit| {
        let room = limit_room(limit);
        if outlasted(problem, &limit.id) {
            room
        } else {
            room.compact(problem.horizon)
        }
    });
    crew.chain(stations)
        .map(|room| room.compact(problem.horizon))
        .chain(limits)
        .collect()
}

/// Whether some operation holds a limit beyond its own end: then it may be overdrawn for a while.
fn outlasted(problem: &Problem, limit: &str) -> bool {
    let options = problem.jobs.iter().flat_map(|job| &job.options);
    let loads = options
        .flat_map(|option| &option.operations)
        .flat_map(|operation| &operation.loads);
    loads
        .filter(|load| load.limit == limit)
        .any(|load| load.through.is_some())
}

fn crew_on_duty(problem: &Problem) -> Room {
    let mut crew = Room::constant(0);
    for window in &problem.windows {
        crew.take(window.from, window.to, -window.crew);
    }
    crew
}

fn limit_room(limit: &Limit) -> Room {
    let mut room = Room::constant(limit.capacity);
    for (from, to, capacity) in &limit.windows {
        room.take(*from, *to, limit.capacity - capacity);
    }
    room
}

fn station_room(slots: i64, closed: &[(i64, i64, i64)]) -> Room {
    let mut room = Room::constant(slots);
    for (from, to, fewer) in closed {
        room.take(*from, *to, *fewer);
    }
    room
}
