use super::{Broken, Placed};
use crate::planner::problem::{Cell, Problem, Work};

/// One thing at a time in a cell, with the set-up that its powder before and the duty periods ask for.
pub(super) fn cells(problem: &Problem, placed: &[Placed<'_>], broken: &mut Vec<Broken>) {
    for it in placed {
        let Work::Stage { cells, .. } = &it.operation.work else {
            continue;
        };
        let cell = it.spot.cell.clone().unwrap_or_default();
        if !cells.contains(&cell) {
            broken.push(Broken::CellNotAllowed {
                place: it.place.clone(),
                cell,
            });
        }
    }
    for cell in &problem.cells {
        let mut stages: Vec<_> = placed
            .iter()
            .filter(|it| it.operation.is_stage() && it.spot.cell.as_ref() == Some(&cell.id))
            .collect();
        stages.sort_by_key(|it| (it.start, it.end));
        one_cell(problem, cell, &stages, broken);
    }
}

fn one_cell(problem: &Problem, cell: &Cell, stages: &[&Placed<'_>], broken: &mut Vec<Broken>) {
    let mut powder_before = cell.powder.as_deref();
    let mut free = cell.free_from;
    let mut period_before = None;
    for it in stages {
        let Work::Stage { powder, .. } = &it.operation.work else {
            continue;
        };
        let place = || it.place.clone();
        let period = attended_period(problem, it.start);
        let cold = period.is_none() || period != period_before;
        let needed = set_up(cell, powder_before, powder) + if cold { cell.warm_up } else { 0 };
        let given = it.start - it.begin;
        if given < needed {
            broken.push(Broken::SetupTooShort {
                place: place(),
                needed,
                given,
            });
        }
        if it.begin < free {
            broken.push(Broken::CellBusy {
                place: place(),
                setup_from: it.begin,
                free,
            });
        }
        if !period.is_some_and(|(from, to)| from <= it.begin && it.end <= to) {
            broken.push(Broken::SplitBySleep {
                place: place(),
                from: it.begin,
                to: it.end,
            });
        }
        if cell
            .closed
            .iter()
            .any(|(from, to)| it.begin < *to && *from < it.end)
        {
            let cell = cell.id.clone();
            broken.push(Broken::CellClosed {
                place: place(),
                cell,
                from: it.begin,
                to: it.end,
            });
        }
        powder_before = Some(powder);
        free = free.max(it.end);
        period_before = period;
    }
}

fn set_up(cell: &Cell, before: Option<&str>, powder: &str) -> i64 {
    match before {
        None => cell.same_powder,
        Some(before) if before == powder => cell.same_powder,
        Some(before) => {
            let row = cell.changeover.get(before);
            row.and_then(|row| row.get(powder))
                .copied()
                .unwrap_or(cell.default_changeover)
        }
    }
}

/// The stretch of touching windows around a minute, if somebody is on duty then.
fn attended_period(problem: &Problem, minute: i64) -> Option<(i64, i64)> {
    let at = problem
        .windows
        .iter()
        .position(|w| w.from <= minute && minute < w.to)?;
    let mut first = at;
    while first > 0 && problem.windows[first - 1].to == problem.windows[first].from {
        first -= 1;
    }
    let mut last = at;
    while last + 1 < problem.windows.len()
        && problem.windows[last].to == problem.windows[last + 1].from
    {
        last += 1;
    }
    Some((problem.windows[first].from, problem.windows[last].to))
}
