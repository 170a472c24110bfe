//! An independent verifier: holds an answer against every rule, from the problem alone.

use super::{PackItem, Packed, Packing};
use crate::planner::Fault;

/// Every rule that an answer breaks; empty if it can be packed and says of itself what is so.
///
/// The problem is taken to be free of faults (see [`Packing::faults`]). Whether the bound is one can't be
/// seen.
#[must_use]
pub fn check(packing: &Packing, packed: &Packed) -> Vec<Fault> {
    let mut faults = Vec::new();
    let mut fault = |place: String, what: String| faults.push(Fault { place, what });
    let taken = |id: &String| packed.take.get(id).copied().unwrap_or(0);
    for (id, units) in &packed.take {
        if packing.items.iter().all(|item| item.id != *id) {
            fault(
                format!("take.{id}"),
                format!("{units} of what is no item of the problem"),
            );
        }
    }
    for item in &packing.items {
        let (units, PackItem { must, max, .. }) = (taken(&item.id), item);
        if units < *must || units > *max {
            fault(
                format!("take.{}", item.id),
                format!("{units} is not within {must} to {max}"),
            );
        }
    }
    for limit in &packing.limits {
        let each = packing.items.iter().map(|item| {
            let one = item.uses.get(&limit.id).copied().unwrap_or(0);
            i128::from(one) * i128::from(taken(&item.id))
        });
        let (used, most) = (each.sum::<i128>(), limit.limit);
        if used > i128::from(most) {
            fault(
                format!("limits.{}", limit.id),
                format!("{used} is taken of {most}"),
            );
        }
    }
    for (n, set) in packing.sets.iter().enumerate() {
        let missing: Vec<&String> = set.iter().filter(|id| taken(id) == 0).collect();
        if !missing.is_empty() && missing.len() < set.len() {
            let what = format!("others of the set are taken, but '{}' is not", missing[0]);
            fault(format!("sets[{n}]"), what);
        }
    }
    for (n, (one, other)) in packing.apart.iter().enumerate() {
        if taken(one) > 0 && taken(other) > 0 {
            fault(
                format!("apart[{n}]"),
                format!("'{one}' and '{other}' are both taken"),
            );
        }
    }
    let worth: i128 = packing
        .items
        .iter()
        .map(|it| worth(it, taken(&it.id)))
        .sum();
    if worth != i128::from(packed.worth) {
        fault(
            "worth".to_owned(),
            format!("{} is said of what is worth {worth}", packed.worth),
        );
    }
    if packed.bound < packed.worth || packed.proven != (packed.bound == packed.worth) {
        let what = format!("{} beside a worth of {}", packed.bound, packed.worth);
        fault(
            "bound".to_owned(),
            format!("{what}, proven: {}", packed.proven),
        );
    }
    faults
}

/// Unit by unit, the last figure for all beyond the list.
fn worth(item: &PackItem, units: i64) -> i128 {
    let listed = item
        .worth
        .iter()
        .zip(0..units)
        .map(|(one, _)| i128::from(*one));
    let beyond = (units - item.worth.len() as i64).max(0);
    let last = item.worth.last().copied().unwrap_or(0);
    listed.sum::<i128>() + i128::from(beyond) * i128::from(last)
}
