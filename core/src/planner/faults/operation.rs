//! What is wrong with an operation of a problem.

use std::ops::Range;

use super::{Faults, MAX_COUNT, MAX_MINUTES, MAX_WAYS};
use crate::planner::problem::{Draw, Operation, Problem, StoreDraw, Work};

impl Faults {
    pub(super) fn operation(&mut self, place: &str, operation: &Operation, problem: &Problem) {
        self.within(
            format!("{place}.minutes"),
            operation.minutes,
            1,
            MAX_MINUTES,
        );
        self.within(format!("{place}.crew"), operation.crew, 0, MAX_COUNT);
        self.minutes(format!("{place}.after"), operation.after);
        self.latest(&format!("{place}.within"), operation);
        match &operation.work {
            Work::Stage { cells, grams, .. } => {
                self.amount(format!("{place}.grams"), *grams);
                for (n, cell) in cells.iter().enumerate() {
                    self.known(
                        &format!("{place}.cells[{n}]"),
                        "cell",
                        cell,
                        problem.cells.iter().map(|c| &c.id),
                    );
                }
            }
            Work::Step { station, cycle } => {
                self.step(place, station.as_deref(), cycle.as_deref(), problem);
            }
        }
        self.draws(&format!("{place}.draws"), &operation.draws, problem);
    }

    fn latest(&mut self, place: &str, operation: &Operation) {
        let Some(within) = operation.within else {
            return;
        };
        self.minutes(place, within);
        let after = operation.after;
        if (0..after).contains(&within) {
            self.add(
                place,
                format!("{within} is less than 'after', {after}, and could never be kept; give at least {after}, or less 'after'"),
            );
        }
    }

    fn step(&mut self, place: &str, station: Option<&str>, cycle: Option<&str>, problem: &Problem) {
        let mut here = "a step at no station".to_owned();
        if let Some(id) = station {
            let ids = problem.stations.iter().map(|s| &s.id);
            self.known(&format!("{place}.station"), "station", id, ids);
            let mut others = problem.stations.iter().filter(|it| !it.batch);
            if !others.any(|it| it.id == id) {
                return;
            }
            here = format!("station '{id}'");
        }
        if let Some(cycle) = cycle {
            self.add(
                format!("{place}.cycle"),
                format!("'{cycle}' is given for {here}, and only a batch station runs cycles; take it away, or give the station \"batch\": true"),
            );
        }
    }

    /// `from_here` are the positions of the operation and those behind it.
    pub(super) fn loads(
        &mut self,
        place: &str,
        operation: &Operation,
        from_here: Range<usize>,
        problem: &Problem,
    ) {
        for (n, load) in operation.loads.iter().enumerate() {
            let place = format!("{place}.loads[{n}]");
            self.known(
                &format!("{place}.limit"),
                "limit",
                &load.limit,
                problem.limits.iter().map(|l| &l.id),
            );
            self.within(format!("{place}.amount"), load.amount, 0, MAX_COUNT);
            if let Some(through) = load.through.filter(|through| !from_here.contains(through)) {
                self.add(
                    format!("{place}.through"),
                    format!(
                        "{through} is not the position of this operation or a later one, {} to {}",
                        from_here.start,
                        from_here.end - 1
                    ),
                );
            }
        }
    }

    fn draws(&mut self, place: &str, draws: &[Draw], problem: &Problem) {
        for (n, draw) in draws.iter().enumerate() {
            let place = format!("{place}[{n}]");
            let Draw::AnyOf(choices) = draw else {
                draw.choices()
                    .iter()
                    .for_each(|of| self.store_draw(&place, of, problem));
                continue;
            };
            let place = format!("{place}.any_of");
            if choices.is_empty() {
                self.add(&place, "empty; name at least one store");
            }
            self.unique(&place, "store", choices.iter().map(|of| &of.store));
            for (k, of) in choices.iter().enumerate() {
                self.store_draw(&format!("{place}[{k}]"), of, problem);
            }
        }
        let ways = draws.iter().fold(1_usize, |ways, draw| {
            ways.saturating_mul(draw.choices().len())
        });
        if ways > MAX_WAYS {
            self.add(
                place,
                format!("the stores can be chosen in {ways} ways, at most {MAX_WAYS} are tried; name fewer of them"),
            );
        }
    }

    fn store_draw(&mut self, place: &str, draw: &StoreDraw, problem: &Problem) {
        self.known(
            &format!("{place}.store"),
            "store",
            &draw.store,
            problem.stores.iter().map(|s| &s.id),
        );
        self.amount(format!("{place}.amount"), draw.amount);
        self.amount(format!("{place}.floor"), draw.floor);
    }
}
