//! Work that has begun: what is done is done, and the rest is planned.

use super::site::{at, code, part, site};
use super::{place, plan_of, planned};
use crate::catalogue::{
    About, Answer, Came, Flag, Operation, OperationKind, RecipeState, Said, Who,
};
use crate::lineup::{Accepted, Work, anew, draft, still_done};
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

/// Blasting and masking before the spraying: masked within two hours of blasting, sprayed within three of
/// masking. Two of four operations are done.
fn masked(ended: i64) -> Situation {
    let mut situation = begun(2, ended);
    let step = |kind, within_min| Operation {
        within_min,
        ..Operation::step(kind, OperationKind::as_str(kind), 30)
    };
    let operations = &mut situation.recipes[0].operations;
    operations[0].within_min = Some(180);
    operations.insert(0, step(OperationKind::Mask, Some(120)));
    operations.insert(0, step(OperationKind::Blast, None));
    situation
}

/// Masked an hour before midnight, and nobody is here to spray until 06:00: the metal has waited longer than
/// three hours by then, so it is blasted and masked again.
#[test]
fn what_would_wait_too_long_is_blasted_again() {
    assert_eq!(
        kinds(&masked(-60)),
        [
            Some(OperationKind::Blast),
            Some(OperationKind::Mask),
            None,
            Some(OperationKind::Cut),
            Some(OperationKind::FirstRun)
        ]
    );
}

/// Masked at 05:00, with somebody here from 06:00 on: it is sprayed from its set-up on, well before 08:00.
#[test]
fn what_can_be_sprayed_in_time_is_not_blasted_again() {
    let mut situation = masked(300);
    situation.now = at(310);
    assert_eq!(kinds(&situation)[0], None);
    let place = place(&situation, "R1");
    let (_, stage) = place.stages().next().expect("a stage");
    assert!(stage.start <= at(300 + 180), "{}", stage.start);
    // Half an hour too late already, there is no choice.
    situation.now = at(300 + 210);
    assert_eq!(kinds(&situation)[0], Some(OperationKind::Blast));
}

/// After three hours the count of what is done goes back to the first step of the haste, the blasting.
#[test]
fn what_counts_as_done_goes_back_after_too_long_a_wait() {
    let situation = masked(0);
    let (recipe, request) = (&situation.recipes[0], &situation.requests[0]);
    let begun = request.begun.as_ref().expect("begun");
    assert_eq!(still_done(recipe, begun, at(180)), 2);
    assert_eq!(still_done(recipe, begun, at(181)), 0);
}

/// Blasted, masked and sprayed in one plan: each starts as soon after the one before as it may wait.
#[test]
fn no_wait_of_a_plan_is_longer_than_it_may_be() {
    let mut situation = masked(0);
    situation.requests[0].begun = None;
    let work = place(&situation, "R1").work;
    let waits: Vec<i64> = work[..3]
        .windows(2)
        .map(|pair| match &pair[1] {
            Work::Stage(stage) => (stage.start - pair[0].ends()).num_minutes(),
            Work::Step(step) => (step.start - pair[0].ends()).num_minutes(),
        })
        .collect();
    assert!(waits[0] <= 120 && waits[1] <= 180, "{waits:?}");
}

/// Both ways of what is masked, in time and blasted again, hang on the same yes that is awaited: the problem
/// has its limit once.
#[test]
fn two_ways_by_one_recipe_share_their_yeses() {
    let mut situation = masked(300);
    situation.now = at(310);
    situation.parts[0] = part("P-1", &[Flag::CarriesLoad]);
    situation.recipes[0].flags = [Flag::CarriesLoad].into();
    let answer = |about, said| Answer {
        about,
        who: Who::OwnersEngineer,
        name: "Owner's engineer".to_owned(),
        came: Came::Paper,
        words: "as asked".to_owned(),
        limits: String::new(),
        said,
    };
    let built = Said::Yes {
        until: None,
        only: None,
    };
    let released = Said::Awaited {
        expected: Some(at(2 * 1440)),
    };
    situation.requests[0].answers = vec![
        answer(About::Build, built),
        answer(About::Release, released),
    ];
    situation.recipes[0]
        .operations
        .push(Operation::step(OperationKind::Release, "release", 15));
    let problem = draft(&situation).problem;
    assert_eq!(problem.jobs[0].options.len(), 2);
    assert_eq!(
        problem
            .limits
            .iter()
            .filter(|l| l.id.starts_with("yes/R1"))
            .count(),
        1
    );
    assert_eq!(problem.faults(), vec![]);
}

/// The accepted order blasts and masks again before it sprays. Both are done since: the order that is kept
/// begins with the spraying, though the plan could blast a third time.
#[test]
fn an_order_that_is_kept_does_not_blast_a_third_time() {
    let before = masked(-60);
    let problem = draft(&before).problem;
    let accepted = Accepted {
        number: 1,
        now: before.now,
        plan: plan_of(&problem),
    };
    assert_eq!(accepted.plan.jobs[0].operations.len(), 5);
    let mut after = masked(420);
    after.now = at(425);
    let problem = draft(&after).problem;
    let kept = anew(&after, &problem, &accepted).expect("it is still to be done");
    assert_eq!(kept.jobs[0].operations.len(), 3);
}

/// Accepted while the metal was fresh, and kept after it waited too long: what is blasted again keeps the turn.
#[test]
fn what_is_blasted_again_keeps_its_turn() {
    let mut before = masked(300);
    before.now = at(310);
    let problem = draft(&before).problem;
    let accepted = Accepted {
        number: 1,
        now: before.now,
        plan: plan_of(&problem),
    };
    assert_eq!(accepted.plan.jobs[0].operations.len(), 3);
    let mut after = masked(300);
    after.now = at(600);
    let problem = draft(&after).problem;
    let kept = anew(&after, &problem, &accepted).expect("it is still to be done");
    assert_eq!(kept.jobs[0].operations.len(), 5);
}
