//! Every flag against every kind of answer: exactly what may be built is planned, begun and released.

use super::site::{at, code, part, site};
use super::{is_planned, place, planned};
use crate::catalogue::{About, Answer, Came, Flag, NoYes, OperationKind, Said, Who};
use crate::lineup::{Gate, IfYes, Readiness, Work, begin_gates, release_gates};
use crate::situation::Situation;

/// An answer as it stands on record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Missing,
    OnPaper,
    ByRadio,
    ForThisRecipe,
    ForAnother,
    Expired,
    OtherRole,
    ByAuthor,
    BySecondAuthor,
    Declined,
    Awaited,
    AwaitedWithoutTime,
    Overdue,
}

use Kind::{
    Awaited, AwaitedWithoutTime, ByAuthor, ByRadio, BySecondAuthor, Declined, Expired, ForAnother,
    ForThisRecipe, Missing, OnPaper, OtherRole, Overdue,
};

const ALL: [Kind; 13] = [
    Missing,
    OnPaper,
    ByRadio,
    ForThisRecipe,
    ForAnother,
    Expired,
    OtherRole,
    ByAuthor,
    BySecondAuthor,
    Declined,
    Awaited,
    AwaitedWithoutTime,
    Overdue,
];

/// What everybody whose yes it could take has answered.
fn answers(about: About, kind: Kind, whose: &[Who]) -> Vec<Answer> {
    let given = |until, only| Said::Yes { until, only };
    let said = match kind {
        Missing => return Vec::new(),
        OnPaper | ByRadio | OtherRole | ByAuthor | BySecondAuthor => given(None, None),
        ForThisRecipe => given(None, Some((code("P-1-316L"), 1))),
        ForAnother => given(None, Some((code("P-1-316L"), 2))),
        Expired => given(Some(at(-1)), None),
        Declined => Said::No,
        Awaited => Said::Awaited {
            expected: Some(at(2 * 1440)),
        },
        AwaitedWithoutTime => Said::Awaited { expected: None },
        Overdue => Said::Awaited {
            expected: Some(at(-1)),
        },
    };
    let whose: Vec<Who> = match kind {
        OtherRole => vec![Who::CellLead],
        _ => whose.to_vec(),
    };
    let answer = |who: Who| Answer {
        about,
        who,
        name: match kind {
            ByAuthor => "Checker".to_owned(),
            BySecondAuthor => "Miller".to_owned(),
            _ => who.to_string(),
        },
        came: match kind {
            ByRadio => Came::Radio,
            _ => Came::Paper,
        },
        words: "as asked".to_owned(),
        limits: String::new(),
        said: said.clone(),
    };
    whose.into_iter().map(answer).collect()
}

fn asked(flag: Flag, about: About, kind: Kind, whose: &[Who]) -> Situation {
    let mut situation = site();
    situation.parts[0] = part("P-1", &[flag]);
    situation.requests[0].answers = answers(about, kind, whose);
    situation
}

fn may_begin(situation: &Situation) -> bool {
    begin_gates(situation, &situation.requests[0], &situation.recipes[0]).is_empty()
}

fn may_release(situation: &Situation) -> bool {
    release_gates(situation, &situation.requests[0], &situation.recipes[0]).is_empty()
}

/// Who answers for each flag; the recipe was written by 'checker', and 'miller' wrote a line of it.
const WHOSE: [(Flag, &[Who]); 10] = [
    (Flag::FormOnly, &[Who::OwnersEngineer]),
    (Flag::Guard, &[Who::OwnersEngineer]),
    (Flag::FoodOrWater, &[Who::OwnersEngineer]),
    (Flag::CarriesLoad, &[Who::OwnersEngineer]),
    (Flag::CanInjure, &[Who::OwnersEngineer]),
    (Flag::Lifts, &[Who::OwnersEngineer, Who::LiftingExaminer]),
    (Flag::HoldsPressure, &[Who::PressureInspector]),
    (Flag::SteersOrBrakes, &[Who::LicensedBody]),
    (Flag::ExplosiveArea, &[Who::LicensedBody]),
    (Flag::Unknown, &[Who::OwnersEngineer]),
];

/// Common practice, no source. What nobody has to answer for before it is built may be begun unless
/// somebody said no; what can injure waits for its yes; the rest is not begun whatever is said.
#[test]
fn exactly_the_allowed_builds_begin() {
    for (flag, whose) in WHOSE {
        let begin: &[Kind] = match flag {
            Flag::FormOnly | Flag::Guard | Flag::FoodOrWater | Flag::CarriesLoad | Flag::Lifts => {
                &[
                    Missing,
                    OnPaper,
                    ByRadio,
                    ForThisRecipe,
                    ForAnother,
                    Expired,
                    OtherRole,
                    ByAuthor,
                    BySecondAuthor,
                    Awaited,
                    AwaitedWithoutTime,
                    Overdue,
                ]
            }
            Flag::CanInjure => &[OnPaper, ByRadio, ForThisRecipe],
            Flag::HoldsPressure | Flag::SteersOrBrakes | Flag::ExplosiveArea | Flag::Unknown => &[],
        };
        for kind in ALL {
            let situation = asked(flag, About::Build, kind, whose);
            assert_eq!(
                may_begin(&situation),
                begin.contains(&kind),
                "{flag}, {kind:?}"
            );
            // the line-up may count on an answer that is awaited and has a time
            let plans = begin.contains(&kind) || (flag == Flag::CanInjure && kind == Awaited);
            assert_eq!(is_planned(&situation, "R1"), plans, "{flag}, {kind:?}");
        }
    }
}

/// Common practice, no source. Form and guards go out on the crew's own word; all else on a written yes
/// of everybody who answers for it.
#[test]
fn exactly_the_allowed_parts_are_released() {
    for (flag, whose) in WHOSE {
        let release: Vec<Kind> = match flag {
            Flag::FormOnly | Flag::Guard => {
                ALL.into_iter().filter(|kind| *kind != Declined).collect()
            }
            Flag::FoodOrWater | Flag::CarriesLoad | Flag::CanInjure | Flag::Lifts => {
                vec![OnPaper, ForThisRecipe]
            }
            Flag::HoldsPressure | Flag::SteersOrBrakes | Flag::ExplosiveArea | Flag::Unknown => {
                vec![]
            }
        };
        for kind in ALL {
            let situation = asked(flag, About::Release, kind, whose);
            let told = "the release of";
            assert_eq!(
                may_release(&situation),
                release.contains(&kind),
                "{told} {flag}, {kind:?}"
            );
        }
    }
}

/// The engineer alone has said yes to the sheave: without the examiner's yes it is not fitted.
#[test]
fn what_lifts_takes_both_yeses() {
    let mut situation = asked(Flag::Lifts, About::Release, OnPaper, &[Who::OwnersEngineer]);
    assert!(!may_release(&situation));
    let examiner = answers(About::Release, OnPaper, &[Who::LiftingExaminer]);
    situation.requests[0].answers.extend(examiner);
    assert!(may_release(&situation));
}

/// The engineer promised an answer for the third day: nothing starts before, and the place says on what
/// it counts. The written yes to release is asked for too, and nobody has asked.
#[test]
fn the_line_up_counts_on_an_awaited_yes_and_says_so() {
    let expected = at(2 * 1440);
    let situation = asked(
        Flag::CanInjure,
        About::Build,
        Awaited,
        &[Who::OwnersEngineer],
    );
    let place = place(&situation, "R1");
    assert!(place.starts() >= expected);
    assert_eq!(place.readiness, Readiness::WaitsForYes(expected));
    let who = Who::OwnersEngineer;
    assert_eq!(
        place.if_yes,
        [
            IfYes {
                about: About::Build,
                who,
                expected: Some(expected),
                why: None
            },
            IfYes {
                about: About::Release,
                who,
                expected: None,
                why: Some(NoYes::Missing)
            }
        ]
    );
}

/// The release is put off until the answer is expected; spraying is not.
#[test]
fn an_awaited_yes_to_release_puts_off_the_release() {
    let mut situation = asked(
        Flag::CarriesLoad,
        About::Release,
        Awaited,
        &[Who::OwnersEngineer],
    );
    let release = situation.recipes[0].operations.last_mut();
    release.expect("the last step").kind = OperationKind::Release;
    let place = place(&situation, "R1");
    assert!(place.starts() < at(1440));
    let last = place.work.last().map(Work::starts);
    assert!(last.is_some_and(|at_| at_ >= at(2 * 1440)), "{last:?}");
}

/// The yes holds until 07:00 and spraying ends at 08:19: 79 minutes longer let it in, 78 do not.
#[test]
fn a_yes_that_runs_out_before_it_can_be_built() {
    let mut situation = asked(
        Flag::CanInjure,
        About::Build,
        OnPaper,
        &[Who::OwnersEngineer],
    );
    let until = |situation: &mut Situation, minute: i64| {
        situation.requests[0].answers[0].said = Said::Yes {
            until: Some(at(minute)),
            only: None,
        };
    };
    until(&mut situation, 420);
    let gate = &planned(&situation).waiting[0].ways[0].shut[0];
    assert_eq!(gate.gate, Gate::YesRunsOut { until: at(420) });
    let crate::lineup::Opens::YesUntil { until: longer } = gate.opens else {
        panic!("{gate:?}")
    };
    let minute = situation.minute_until(longer);
    until(&mut situation, minute - 1);
    assert!(!is_planned(&situation, "R1"));
    until(&mut situation, minute);
    assert!(is_planned(&situation, "R1"));
}
