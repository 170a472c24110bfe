//! People on duty who can do what an operation asks for.

use crate::catalogue::{Operation, Skill};
use crate::planner::{self, Limit, Load};
use crate::situation::Situation;

/// How the limits of people who can do something begin.
pub(super) const ABLE: &str = "able/";

/// The limit of those who can do this.
pub(super) fn limit_id(skill: Skill) -> String {
    format!("{ABLE}{skill}")
}

/// One for each skill that not everybody on duty has.
pub(super) fn limits(situation: &Situation) -> impl Iterator<Item = Limit> {
    Skill::ALL
        .iter()
        .filter(|skill| is_scarce(situation, **skill))
        .map(|skill| limit(situation, *skill))
}

fn is_scarce(situation: &Situation, skill: Skill) -> bool {
    situation
        .shifts
        .iter()
        .any(|shift| shift.able(skill) < shift.crew)
}

fn limit(situation: &Situation, skill: Skill) -> Limit {
    let horizon = situation.horizon();
    let windows = situation.shifts.iter().map(|shift| {
        let from = situation.minute_from(shift.from).max(0);
        let to = situation.minute_until(shift.to).min(horizon);
        (from, to, shift.able(skill))
    });
    Limit {
        id: limit_id(skill),
        capacity: 0,
        windows: windows.filter(|(from, to, _)| from < to).collect(),
    }
}

/// Makes each operation that keeps somebody keep one who can do it.
pub(super) fn load(
    situation: &Situation,
    written: &[Operation],
    operations: &mut [planner::Operation],
) {
    for (written, operation) in written.iter().zip(operations) {
        let skill = written.kind.skill().filter(|_| written.crew > 0);
        let Some(skill) = skill.filter(|skill| is_scarce(situation, *skill)) else {
            continue;
        };
        operation.loads.push(Load {
            limit: limit_id(skill),
            amount: 1,
            through: None,
        });
    }
}
