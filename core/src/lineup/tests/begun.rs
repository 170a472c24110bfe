//! Work that has begun: what is done is done, and the rest is planned.

use super::site::{at, code, part, site};
use super::{place, planned};
use crate::catalogue::{Flag, OperationKind, RecipeState};
use crate::lineup::Work;
use crate::situation::{Begun, Situation};

fn begun(done: usize, ended: i64) -> Situation {
    let mut situation = site();
    situation.requests[0].begun = Some(Begun {
        recipe: code("P-1-316L"),
        revision: 1,
        done,
        ended_at: at(ended),
    });
    situation
}

fn kinds(situation: &Situation) -> Vec<Option<OperationKind>> {
    let work = place(situation, "R1").work;
    work.iter()
        .map(|work| match work {
            Work::Stage(_) => None,
            Work::Step(step) => Some(step.kind),
        })
        .collect()
}

/// The part is sprayed: no powder is planned for it any more, and milling comes next.
#[test]
fn what_is_sprayed_takes_no_more_powder() {
    let situation = begun(1, -30);
    assert_eq!(
        kinds(&situation),
        [Some(OperationKind::Cut), Some(OperationKind::FirstRun)]
    );
    assert_eq!(planned(&situation).committed_g.len(), 0);
}

/// The recipe was superseded while the part lay in the cell: it is finished by the revision by which it
/// was begun.
#[test]
fn it_is_finished_by_the_revision_by_which_it_was_begun() {
    let mut situation = begun(1, -30);
    situation.recipes[0].state = RecipeState::Superseded;
    assert_eq!(kinds(&situation).len(), 2);
    situation.requests[0].begun = None;
    assert!(planned(&situation).places.is_empty());
}

/// Sprayed at 09:00 of the day before, and to cool for 36 hours: it is milled from 21:00 of this day,
/// when nobody is on duty, hence at 06:00 of the next.
#[test]
fn cooling_counts_from_the_end_of_what_is_done() {
    let mut situation = begun(1, 540 - 1440);
    situation.recipes[0].operations[1].after_min = 36 * 60;
    assert_eq!(place(&situation, "R1").starts(), at(1440 + 360));
}

/// The part is sprayed; meanwhile the yes to build has run out, the base metal is in doubt and no air is
/// to be had. It is milled and run all the same.
#[test]
fn what_is_asked_before_spraying_is_asked_no_more() {
    let mut situation = begun(1, -30);
    situation.parts[0] = part("P-1", &[Flag::CanInjure]);
    situation.recipes[0].base_metals = [code("ST")].into();
    situation.compressor = None;
    assert_eq!(kinds(&situation).len(), 2);
    situation.requests[0].begun = None;
    assert!(planned(&situation).places.is_empty());
}
