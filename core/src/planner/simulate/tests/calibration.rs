//! Whether what is said holds as often as it says.

use super::sites::{doubts, fortnight};
use crate::planner::samples::{job, quiet_site, station, step};
use crate::planner::simulate::{
    BackBy, Doubts, OperationDoubt, OptionDoubt, simulate, single_runs,
};
use crate::planner::{Plan, Problem, Search, decode};

/// In how many of the cases something held.
#[derive(Debug, Default)]
struct Held {
    cases: usize,
    half: usize,
    likely: usize,
    almost_sure: usize,
}

impl Held {
    /// A case counts where the asset is said to be back within the horizon at all three chances.
    fn count(&mut self, said: BackBy, back: i64) {
        let (Some(half), Some(likely), Some(almost_sure)) =
            (said.half, said.likely, said.almost_sure)
        else {
            return;
        };
        self.cases += 1;
        self.half += usize::from(back <= half);
        self.likely += usize::from(back <= likely);
        self.almost_sure += usize::from(back <= almost_sure);
    }

    fn percent(&self, held: usize) -> f64 {
        held as f64 / self.cases as f64 * 100.0
    }
}

fn planned(problem: &Problem) -> Plan {
    let mut search = Search::new(problem, 1);
    search.run(300, 0.0..1.0, &mut || false);
    search.best().clone()
}

/// Sixty invented fortnights with doubts on everything, 629 cases. What becomes of each is drawn once, by other random
/// figures than those that the outlook rests on, and compared with what the outlook said of it.
#[test]
fn the_day_of_80_of_100_holds_in_80_of_100() {
    let mut held = Held::default();
    for site in 0..60 {
        let problem = fortnight(site);
        let plan = planned(&problem);
        let doubts = doubts(&problem, site);
        let said = simulate(&problem, &plan, &doubts, 1, 2000);
        let truth = single_runs(&problem, &plan, &doubts, 1_000_000 + site, 1);
        for (asset, back) in truth {
            held.count(said.assets[&asset], back[0]);
        }
    }
    assert!(held.cases > 300, "{held:?}");
    assert!((45.0..=55.0).contains(&held.percent(held.half)), "{held:?}");
    assert!(
        (75.0..=85.0).contains(&held.percent(held.likely)),
        "{held:?}"
    );
    assert!(
        (92.0..=98.0).contains(&held.percent(held.almost_sure)),
        "{held:?}"
    );
}

/// Six parts wait for one bench, one behind the other, and each is as long as it is: the end of each is a sum,
/// which is reckoned here without the planner, by draws of another kind (the sum of twelve even figures less
/// 6 is nearly normal).
#[test]
#[expect(clippy::cast_possible_truncation, reason = "minutes of a few hours")]
fn ends_at_one_bench_are_sums() {
    let mut rng = fastrand::Rng::with_seed(99);
    let mut held = Held::default();
    for site in 0..100 {
        let minutes: Vec<i64> = (0..6).map(|_| rng.i64(30..300)).collect();
        let spread = rng.f64().mul_add(0.3, 0.1);
        let (problem, doubts) = one_bench(&minutes, spread);
        let order: Vec<_> = (0..6).map(|job| (job, 0)).collect();
        let said = simulate(&problem, &decode(&problem, &order), &doubts, site, 2000);
        let mut end = 0;
        for (n, told) in minutes.iter().enumerate() {
            let normal = (0..12).map(|_| rng.f64()).sum::<f64>() - 6.0;
            end += (*told as f64 * (spread * normal).exp()).round() as i64;
            held.count(said.assets[&format!("a{}", n + 1)], end);
        }
    }
    assert_eq!(held.cases, 600);
    assert!((44.0..=56.0).contains(&held.percent(held.half)), "{held:?}");
    assert!(
        (75.0..=85.0).contains(&held.percent(held.likely)),
        "{held:?}"
    );
    assert!(
        (92.0..=98.0).contains(&held.percent(held.almost_sure)),
        "{held:?}"
    );
}

fn one_bench(minutes: &[i64], spread: f64) -> (Problem, Doubts) {
    let mut problem = quiet_site(10_000);
    problem.stations = vec![station("bench", 1)];
    let mut doubts = Doubts::default();
    for (n, minutes) in minutes.iter().enumerate() {
        let job = job(n + 1, vec![step("bench", *minutes, 1)]);
        let operations = vec![OperationDoubt {
            spread,
            spray: None,
        }];
        let option = OptionDoubt {
            operations,
            check: None,
        };
        doubts
            .options
            .insert((job.id.clone(), "way".to_owned()), option);
        problem.jobs.push(job);
    }
    (problem, doubts)
}
