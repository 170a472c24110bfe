//! Every gate of the demonstration, opened by what the page says opens it: with that the request finds
//! its place behind the line-up, and with one unit less it does not.

use chrono::TimeDelta;
use mendpost_core::catalogue::{About, Answer, Came, Flag, RecipeState, Said};
use mendpost_core::code::RequestCode;
use mendpost_core::lineup::{Gate, Opens, Shut, Waiting, candidates, draft};
use mendpost_core::planner::{Plan, Problem, add};
use mendpost_core::powder::{Lot, LotState};
use mendpost_core::quantity::Milligrams;
use mendpost_core::situation::{BaseMetal, Situation};
use mendpost_server::situation;
use mendpost_tests::{App, planned};

/// Whether a request finds a place behind what is planned, by any of its ways.
fn enters(site: &Situation, plan: &Plan, code: &RequestCode) -> bool {
    let problem: Problem = draft(site).problem;
    let job = problem
        .jobs
        .iter()
        .position(|job| job.id == code.as_str())
        .expect("every open request is a job");
    (0..problem.jobs[job].options.len()).any(|option| {
        let with = add(&problem, plan, &[(job, option)]);
        with.jobs.iter().any(|planned| planned.id == code.as_str())
    })
}

/// One unit less of what is measured; 0 for what is there or not.
fn units(opens: &Opens) -> i64 {
    match opens {
        Opens::MorePowder { .. }
        | Opens::MoreFuel { .. }
        | Opens::LongerDuty { .. }
        | Opens::MorePeople { .. }
        | Opens::MoreQualified { .. }
        | Opens::Sooner { .. }
        | Opens::StationBack { by: Some(_), .. }
        | Opens::MoreKit { .. }
        | Opens::MoreGas { .. }
        | Opens::YesUntil { .. }
        | Opens::GiveUp { .. } => 1,
        _ => 0,
    }
}

/// The site with the change made, less so many units; none for what nothing opens here.
#[expect(clippy::too_many_lines, reason = "one arm for each way to open a gate")]
fn opened(site: &Situation, code: &RequestCode, shut: &Shut, less: i64) -> Option<Situation> {
    let mut site = site.clone();
    let at = site.requests.iter().position(|r| r.code == *code)?;
    let part = site.requests[at].part.clone();
    match &shut.opens {
        Opens::Shut { .. } | Opens::TruePart | Opens::ListPart | Opens::WriteRecipe => return None,
        Opens::Approve { recipe, revision } => {
            let mut recipes = site.recipes.iter_mut();
            let found = recipes.find(|r| r.code == *recipe && r.revision == *revision)?;
            found.state = RecipeState::Approved;
        }
        Opens::Yes { who, written } => {
            let Gate::NoYes { about, .. } = shut.gate else {
                return None;
            };
            site.requests[at].answers.push(Answer {
                about,
                who: *who,
                name: "somebody else".to_owned(),
                came: if *written { Came::Paper } else { Came::Radio },
                words: "yes".to_owned(),
                limits: String::new(),
                said: Said::Yes {
                    until: None,
                    only: None,
                },
            });
        }
        Opens::Judge { .. } => site.requests[at].on_hold.clear(),
        Opens::SayUse => {
            let part = site
                .parts
                .iter_mut()
                .find(|p| Some(&p.code) == part.as_ref())?;
            part.flags = [Flag::FormOnly].into();
        }
        Opens::FindMetal => {
            let ways = candidates(&site, &site.requests[at]);
            let (recipe, _) = ways.first()?.recipe.clone()?;
            let recipe = site.recipes.iter().find(|r| r.code == recipe)?;
            site.requests[at].base_metal = Some(BaseMetal {
                metal: recipe.base_metals.first()?.clone(),
                known: true,
            });
        }
        Opens::RecipeFor { metal } => {
            let ways = candidates(&site, &site.requests[at]);
            let (recipe, _) = ways.first()?.recipe.clone()?;
            let recipe = site.recipes.iter_mut().find(|r| r.code == recipe)?;
            recipe.base_metals.insert(metal.clone());
        }
        Opens::Release { lot } => {
            site.lots.iter_mut().find(|l| l.code == *lot)?.state = LotState::Released;
        }
        Opens::MorePowder { powder, grams, .. } => site.lots.push(Lot {
            code: "NEW".parse().ok()?,
            powder: powder.clone(),
            state: LotState::Released,
            on_hand: Milligrams((grams - less) * 1000),
            use_by: None,
            state_note: String::new(),
            opened: false,
        }),
        Opens::MoreFuel { ml } => site.fuel.on_hand_ml += ml - less,
        Opens::MoreGas { bank, bottles, .. } => {
            let stand = site.banks.iter().find(|b| b.code == *bank)?.clone();
            if *bottles > less {
                site.banks.push(mendpost_core::situation::Bank {
                    code: "NEW".parse().ok()?,
                    bottles: bottles - less,
                    pressure_mbar: 201_000,
                    ..stand
                });
            }
        }
        Opens::GiveUp {
            keep_backs, grams, ..
        } => {
            let named = |number: i64| keep_backs.contains(&number);
            let mut same = site.keep_backs.iter_mut().filter(|it| named(it.number));
            same.next()?.grams -= grams - less;
            site.keep_backs.retain(|it| it.grams > 0);
        }
        Opens::LongerDuty { minutes } => {
            let longer = TimeDelta::minutes(minutes - less);
            let ends: Vec<_> = site.shifts.iter().map(|s| s.from).skip(1).collect();
            for (n, shift) in site.shifts.iter_mut().enumerate() {
                let next = ends.get(n).copied();
                if next != Some(shift.to) {
                    let to = shift.to + longer;
                    shift.to = next.map_or(to, |next| to.min(next));
                }
            }
        }
        Opens::MorePeople { people } => {
            for shift in &mut site.shifts {
                shift.crew += people - less;
                shift.sprayers += people - less;
                shift.machinists += people - less;
            }
        }
        Opens::MoreQualified { people, .. } => {
            site.shifts
                .iter_mut()
                .for_each(|shift| shift.machinists += people - less);
        }
        Opens::StationBack {
            station,
            by: Some(by),
        } => {
            let station = site.stations.iter_mut().find(|s| s.code == *station)?;
            let last = station.closed.iter_mut().max_by_key(|c| c.to)?;
            last.to = *by + TimeDelta::minutes(less);
        }
        Opens::Sooner { delivery, minutes } => {
            let mut deliveries = site.deliveries.iter_mut();
            let delivery = deliveries.find(|d| d.code == *delivery)?;
            delivery.expected -= TimeDelta::minutes(minutes - less);
        }
        other => panic!("{code}: nobody wrote here how to open {other:?}"),
    }
    Some(site)
}

/// Every request of the demonstration that waits at one gate, and what it says.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_said_to_open_a_gate_opens_it() {
    let app = App::new().await;
    let site = situation::now(&app.state).await.expect("a site");
    let found = planned(&site);
    let mut tried = 0;
    for waiting in &found.line_up.waiting {
        let Waiting { request, ways, .. } = waiting;
        let [shut] = ways[0].shut.as_slice() else {
            continue;
        };
        let plan = &found.plan;
        assert!(!enters(&site, plan, request), "{request} waits");
        let Some(with) = opened(&site, request, shut, 0) else {
            continue;
        };
        // What lay behind a gate of the part may show another one: then that is told next.
        assert!(enters(&with, plan, request), "{request}: {shut:?}");
        if units(&shut.opens) > 0 {
            let less = opened(&site, request, shut, units(&shut.opens)).expect("the same change");
            assert!(
                !enters(&less, plan, request),
                "{request}, one less: {shut:?}"
            );
        }
        tried += 1;
    }
    assert!(tried >= 12, "{tried} gates were opened");
}

/// The gates that authority, base metal and people put up, each with its request.
#[tokio::test(flavor = "multi_thread")]
async fn gates_of_authority_metal_and_people() {
    use mendpost_core::catalogue::{NoYes, Skill, Who};
    let app = App::new().await;
    let site = situation::now(&app.state).await.expect("a site");
    let found = planned(&site);
    let gate = |code: &str| {
        let waiting = &found.line_up.waiting;
        let one = waiting.iter().find(|w| w.request.as_str() == code);
        let one = one.unwrap_or_else(|| panic!("{code} waits"));
        one.ways[0].shut[0].gate.clone()
    };
    let about = About::Build;
    let who = Who::OwnersEngineer;
    assert_eq!(gate("R31"), Gate::UseUnknown);
    let metal = |code: &str| code.parse().expect("a code");
    let assumed = Some(metal("ST"));
    assert_eq!(gate("R32"), Gate::BaseMetalUnknown { assumed });
    assert_eq!(
        gate("R33"),
        Gate::OtherMetal {
            metal: metal("AL"),
            holds_on: vec![metal("CI"), metal("ST")]
        }
    );
    assert!(
        matches!(
            gate("R34"),
            Gate::NoYes {
                why: NoYes::Expired(_),
                ..
            }
        ),
        "{:?}",
        gate("R34")
    );
    let why = NoYes::Limited("AL-017".parse().expect("a code"), 1);
    assert_eq!(gate("R35"), Gate::NoYes { about, who, why });
    assert_eq!(
        gate("R36"),
        Gate::NobodyQualified {
            skill: Skill::Machinist,
            most: 3
        }
    );
}
