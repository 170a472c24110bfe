use super::{Broken, Placed};
use crate::planner::problem::{Draw, Problem, StoreDraw, Work};

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

/// The plan names a store for each draw that has a choice, and one of those that it may be taken from.
pub(super) fn stores_taken(it: &Placed<'_>, broken: &mut Vec<Broken>) {
    let draws = &it.operation.draws;
    let choice = draws.iter().any(|draw| matches!(draw, Draw::AnyOf(_)));
    let (wanted, given) = (if choice { draws.len() } else { 0 }, it.spot.from.len());
    if wanted != given {
        broken.push(Broken::FromCount {
            place: it.place.clone(),
            wanted,
            given,
        });
    }
    for (n, (draw, from)) in draws.iter().zip(&it.spot.from).enumerate() {
        let (place, draw_number) = (it.place.clone(), n + 1);
        match (draw, from) {
            (Draw::Of(_), None) => {}
            (Draw::Of(_), Some(store)) => broken.push(Broken::FromWithoutChoice {
                place,
                draw: draw_number,
                store: store.clone(),
            }),
            (Draw::AnyOf(_), None) => broken.push(Broken::FromMissing {
                place,
                draw: draw_number,
            }),
            (Draw::AnyOf(choices), Some(store)) => {
                if choices.iter().all(|of| of.store != *store) {
                    broken.push(Broken::FromNotAllowed {
                        place,
                        draw: draw_number,
                        store: store.clone(),
                    });
                }
            }
        }
    }
}

/// What an operation takes from stores: the only store of a draw, or the one that the plan names.
fn taken<'a>(it: &'a Placed<'_>) -> impl Iterator<Item = &'a StoreDraw> {
    let draws = it.operation.draws.iter().enumerate();
    draws.filter_map(|(n, draw)| match draw {
        Draw::Of(of) => Some(of),
        Draw::AnyOf(choices) => {
            let from = it.spot.from.get(n)?.as_ref()?;
            choices.iter().find(|of| of.store == *from)
        }
    })
}

/// After each draw, with all arrivals and draws up to its minute counted, its floor is left.
pub(super) fn stores(problem: &Problem, placed: &[Placed<'_>], broken: &mut Vec<Broken>) {
    for store in &problem.stores {
        let mut draws: Vec<_> = placed
            .iter()
            .flat_map(|it| taken(it).map(move |draw| (it.start, draw, &it.place)))
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
