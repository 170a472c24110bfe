use super::{Broken, Placed};
use crate::planner::problem::{Problem, Work};

/// A stage's lots are of its powder, usable throughout it, one if it asks for one, and add up.
pub(super) fn lots_of_stage(problem: &Problem, it: &Placed<'_>, broken: &mut Vec<Broken>) {
    let Work::Stage {
        powder,
        grams,
        one_lot,
        ..
    } = &it.operation.work
    else {
        return;
    };
    let place = || it.place.clone();
    let given = it
        .spot
        .lots
        .iter()
        .fold(0_i64, |sum, draw| sum.saturating_add(draw.grams));
    if given != *grams {
        broken.push(Broken::LotSum {
            place: place(),
            given,
            wanted: *grams,
        });
    }
    if *one_lot && it.spot.lots.len() > 1 {
        broken.push(Broken::NotOneLot {
            place: place(),
            lots: it.spot.lots.len(),
        });
    }
    for draw in &it.spot.lots {
        if draw.grams < 1 {
            broken.push(Broken::LotGrams {
                place: place(),
                lot: draw.lot.clone(),
                grams: draw.grams,
            });
        }
        let Some(lot) = problem
            .lots
            .iter()
            .find(|lot| lot.id == draw.lot && lot.powder == *powder)
        else {
            broken.push(Broken::LotPowder {
                place: place(),
                lot: draw.lot.clone(),
                powder: powder.clone(),
            });
            continue;
        };
        if it.start < lot.from || lot.until < it.end {
            broken.push(Broken::LotTime {
                place: place(),
                lot: lot.id.clone(),
                from: lot.from,
                until: lot.until,
                start: it.start,
                end: it.end,
            });
        }
    }
}

/// No lot is overdrawn.
pub(super) fn lots(problem: &Problem, placed: &[Placed<'_>], broken: &mut Vec<Broken>) {
    for lot in &problem.lots {
        let draws = placed
            .iter()
            .flat_map(|it| &it.spot.lots)
            .filter(|draw| draw.lot == lot.id);
        let drawn: i128 = draws.map(|draw| i128::from(draw.grams)).sum();
        if drawn > i128::from(lot.grams) {
            broken.push(Broken::LotOverdrawn {
                lot: lot.id.clone(),
                drawn,
                grams: lot.grams,
            });
        }
    }
}

/// After each draw, with all arrivals and draws up to its minute counted, its floor is left.
pub(super) fn stores(problem: &Problem, placed: &[Placed<'_>], broken: &mut Vec<Broken>) {
    for store in &problem.stores {
        let mut draws: Vec<_> = placed
            .iter()
            .flat_map(|it| {
                it.operation
                    .draws
                    .iter()
                    .map(move |draw| (it.start, draw, &it.place))
            })
            .filter(|(_, draw, _)| draw.store == store.id)
            .collect();
        draws.sort_by_key(|(minute, _, _)| *minute);
        for (minute, draw, place) in &draws {
            let come: i64 = store
                .arrivals
                .iter()
                .filter(|(at, _)| at <= minute)
                .map(|(_, amount)| amount)
                .sum();
            let gone: i64 = draws
                .iter()
                .take_while(|(at, _, _)| at <= minute)
                .map(|(_, draw, _)| draw.amount)
                .sum();
            let left = store.level + come - gone;
            if left < draw.floor {
                broken.push(Broken::Floor {
                    place: (*place).clone(),
                    store: store.id.clone(),
                    left,
                    floor: draw.floor,
                });
            }
        }
    }
}
