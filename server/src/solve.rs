//! Planning with several threads, and the command `mendpost solve`.

use std::io::{Read, Write};
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use mendpost_core::planner::{
    CrewOrder, Plan, Problem, Search, bound, check, crew_plan, decode, is_small, prove,
};
use tokio::sync::Semaphore;

use crate::error::AppError;

/// One at a time: each takes both processors of a small machine.
static ASIDE: Semaphore = Semaphore::const_new(1);

/// Works something out for one page, away from the threads that answer requests, in its turn. Nothing of it
/// is stored; what it is given is set when nobody waits for it any more.
///
/// # Errors
/// When the thread fails.
pub async fn aside<T: Send + 'static>(
    work: impl FnOnce(&AtomicBool) -> T + Send + 'static,
) -> Result<T, AppError> {
    let turn = ASIDE.acquire().await.map_err(AppError::internal)?;
    let stop = StopOnDrop(Arc::new(AtomicBool::new(false)));
    let stopped = Arc::clone(&stop.0);
    let worked = tokio::task::spawn_blocking(move || {
        let _turn = turn;
        work(&stopped)
    });
    worked.await.map_err(AppError::internal)
}

struct StopOnDrop(Arc<AtomicBool>);

impl Drop for StopOnDrop {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// When a search ends, and what makes it repeatable.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// Wall time; without it and without `iterations`, one second.
    pub seconds: Option<f64>,
    /// Changes tried by each thread, and orders looked at for a proof; with it alone, the plan does not depend on
    /// the speed of the machine.
    pub iterations: Option<u64>,
    /// Searches side by side, at least one.
    pub threads: usize,
    /// Another seed tries other changes.
    pub seed: u64,
}

/// For a page of the site, whose answer takes some tenths of a second more: the best plans are compared, and
/// what is to be expected is worked out.
impl Default for Limits {
    fn default() -> Limits {
        Limits::lasting(Duration::from_millis(750))
    }
}

impl Limits {
    /// For a page of the site: so long, on both processors of a small machine.
    pub const fn lasting(time: Duration) -> Limits {
        Limits {
            seconds: Some(time.as_secs_f64()),
            iterations: None,
            threads: 2,
            seed: 1,
        }
    }
}

/// How far a search is.
#[derive(Debug, Clone, Copy)]
pub struct Progress {
    /// The best loss so far, as rate x minutes.
    pub loss: i64,
    /// No plan goes below this.
    pub bound: i64,
    /// Changes tried by each thread.
    pub iterations: u64,
    /// Time since the begin.
    pub elapsed: Duration,
}

/// Plans, with `progress` told after each round, until a limit is reached, `stop` is set or the plan is
/// proven best.
///
/// The plan is verified, and never worse than the better of the crew's own orders. With an iteration limit
/// alone it depends on the problem, the seed and the number of threads only: threads meet after a fixed
/// number of iterations.
pub fn solve(
    problem: &Problem,
    limits: &Limits,
    stop: &AtomicBool,
    progress: &mut dyn FnMut(Progress),
) -> Plan {
    solve_from(problem, None, limits, stop, progress)
}

/// Plans as [`solve`] does, from a plan that is known already if it is better than other beginnings.
pub fn solve_from(
    problem: &Problem,
    known: Option<&Plan>,
    limits: &Limits,
    stop: &AtomicBool,
    progress: &mut dyn FnMut(Progress),
) -> Plan {
    solve_several(problem, known, limits, stop, progress).swap_remove(0)
}

/// Plans as [`solve_from`] does, and tells the next best plans that the searches came by as well: the best
/// one first, at least that. All of them are verified.
pub fn solve_several(
    problem: &Problem,
    known: Option<&Plan>,
    limits: &Limits,
    stop: &AtomicBool,
    progress: &mut dyn FnMut(Progress),
) -> Vec<Plan> {
    let begin = Instant::now();
    let seconds = limits
        .seconds
        .or(limits.iterations.is_none().then_some(1.0));
    let over = |share: f64| {
        let spent = begin.elapsed().as_secs_f64();
        stop.load(Ordering::Relaxed) || seconds.is_some_and(|most| spent >= most * share)
    };
    let (mut least, mut searches) = begin_all(problem, known, limits);
    let small = is_small(problem);
    let searched = match seconds {
        Some(most) if small => SEARCHED.min(LONGEST_S / most),
        _ => 1.0,
    };
    let time = seconds.map(|most| most * searched);
    let (mut done, mut share) = (0, 0.0);
    let mut others = Vec::new();
    while !over(searched)
        && searches[0].best_loss() > least
        && limits.iterations.is_none_or(|most| done < most)
    {
        let round =
            round_length(problem).min(limits.iterations.map_or(u64::MAX, |most| most - done));
        let end = share_at_end(limits, (done, round), share, begin.elapsed(), time);
        std::thread::scope(|scope| {
            for search in &mut searches {
                scope.spawn(|| search.run(round, share..end, &mut || over(searched)));
            }
        });
        done += round;
        share = end;
        searches.iter().for_each(|it| note(&mut others, it.best()));
        meet(&mut searches);
        progress(Progress {
            loss: searches[0].best_loss(),
            bound: least,
            iterations: done,
            elapsed: begin.elapsed(),
        });
    }
    let mut found = vec![searches[0].best().clone()];
    if small && found[0].loss > least {
        let so_far = Progress {
            loss: found[0].loss,
            bound: least,
            iterations: done,
            elapsed: Duration::ZERO,
        };
        let proof = prove(problem, &found[0], &mut |orders| {
            if orders.is_multiple_of(TOLD) {
                let elapsed = begin.elapsed();
                progress(Progress { elapsed, ..so_far });
            }
            over(1.0) || limits.iterations.is_some_and(|most| orders >= most)
        });
        least = least.max(proof.least);
        found.extend(proof.better);
        found.iter().for_each(|plan| note(&mut others, plan));
    }
    let best = verified(problem, found.into_iter().chain(known.cloned()));
    others.retain(|plan| plan.jobs != best.jobs && check(problem, plan).is_empty());
    let plans = std::iter::once(best).chain(others);
    plans.map(|plan| plan.bounded(Some(least))).collect()
}

/// The bound, and a search for each thread, all worked out side by side.
fn begin_all<'a>(
    problem: &'a Problem,
    known: Option<&Plan>,
    limits: &Limits,
) -> (i64, Vec<Search<'a>>) {
    let begun = |seed| {
        let mut search = Search::new(problem, seed);
        known.into_iter().for_each(|plan| search.warm_start(plan));
        search
    };
    std::thread::scope(|scope| {
        let least = scope.spawn(|| bound(problem));
        let seeds = (0..limits.threads.max(1)).zip(limits.seed..);
        let searches: Vec<_> = seeds
            .map(|(_, seed)| scope.spawn(move || begun(seed)))
            .collect();
        let searches = searches.into_iter().map(joined).collect();
        (joined(least), searches)
    })
}

/// What a thread came to; a fault in it goes on here.
fn joined<T>(thread: std::thread::ScopedJoinHandle<'_, T>) -> T {
    thread
        .join()
        .unwrap_or_else(|fault| std::panic::resume_unwind(fault))
}

/// A small problem is searched for this share of the time, and no longer than so many seconds; in the rest of it
/// the plan found is to be proven.
const SEARCHED: f64 = 0.4;
const LONGEST_S: f64 = 0.5;
/// Progress is told each time that so many orders have been looked at for a proof.
const TOLD: u64 = 1 << 15;

/// So many plans are kept beside the best one.
const OTHERS: usize = 3;

/// Keeps a plan that is among the best so far and not there yet; the best first.
fn note(plans: &mut Vec<Plan>, plan: &Plan) {
    let at = plans.partition_point(|known| known.loss <= plan.loss);
    if at <= OTHERS && plans.iter().all(|known| known.jobs != plan.jobs) {
        plans.insert(at, plan.clone());
        plans.truncate(OTHERS + 1);
    }
}

/// How far through its limits a search will be after a round. With a limit by time a round is taken to
/// last as long as those before it did on the average.
#[expect(clippy::cast_precision_loss, reason = "a share of the time, not a sum")]
fn share_at_end(
    limits: &Limits,
    (done, round): (u64, u64),
    begin: f64,
    elapsed: Duration,
    seconds: Option<f64>,
) -> f64 {
    let after = (done + round) as f64;
    let by_count = limits.iterations.map_or(0.0, |most| after / most as f64);
    let by_time = seconds.filter(|_| done > 0).map_or(0.0, |most| {
        elapsed.as_secs_f64() / most * (after / done as f64)
    });
    by_count.max(by_time).clamp(begin, 1.0)
}

/// A round takes some tens of milliseconds whatever the size of the problem.
fn round_length(problem: &Problem) -> u64 {
    let jobs = u64::try_from(problem.jobs.len()).unwrap_or(u64::MAX);
    (60_000 / jobs.max(1)).clamp(100, 10_000)
}

/// Gives every search the best plan of all, the first of equals.
fn meet(searches: &mut [Search<'_>]) {
    let best = (0..searches.len())
        .min_by_key(|n| (searches[*n].best_loss(), *n))
        .unwrap_or(0);
    let (left, rest) = searches.split_at_mut(best);
    if let Some((best, right)) = rest.split_first_mut() {
        left.iter_mut()
            .chain(right)
            .for_each(|search| search.adopt(best));
    }
}

/// The best of the plans that keep every rule, or a crew's own order where that is better.
fn verified(problem: &Problem, plans: impl Iterator<Item = Plan>) -> Plan {
    let crew = [CrewOrder::OldestFirst, CrewOrder::LargestRateFirst]
        .map(|order| crew_plan(problem, order));
    let nothing = decode(problem, &[]);
    let candidates = plans.chain(crew).chain([nothing.clone()]);
    let sound = candidates.filter(|plan| {
        let broken = check(problem, plan);
        if let Some(first) = broken.first() {
            tracing::error!(broken = broken.len(), %first, "a plan of the search breaks a rule and is not used");
        }
        broken.is_empty()
    });
    sound.min_by_key(|plan| plan.loss).unwrap_or(nothing)
}

/// The options of `mendpost solve`.
#[derive(Debug, Clone, clap::Args)]
pub struct SolveArgs {
    /// The problem as JSON (`planning-problem/1`); `-` reads standard input
    pub problem: PathBuf,
    /// Seconds to search; 1 if neither this nor --iterations is given
    #[arg(long)]
    pub seconds: Option<f64>,
    /// Changes to try in each thread; alone, it gives the same plan on every machine
    #[arg(long)]
    pub iterations: Option<u64>,
    /// Searches side by side
    #[arg(long, default_value_t = 2, value_parser = clap::value_parser!(u16).range(1..=256))]
    pub threads: u16,
    /// Another seed tries other changes
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
}

/// Reads a problem, plans, and prints the plan as JSON.
///
/// Faults go to standard error, one line each, with exit code 2.
#[must_use]
pub fn command(args: &SolveArgs) -> ExitCode {
    match run(args) {
        Ok(plan) => match writeln!(std::io::stdout(), "{plan}") {
            Ok(()) => ExitCode::SUCCESS,
            Err(_) => ExitCode::FAILURE,
        },
        Err(faults) => {
            for fault in faults {
                eprintln!("{fault}");
            }
            ExitCode::from(2)
        }
    }
}

fn run(args: &SolveArgs) -> Result<String, Vec<String>> {
    if let Some(seconds) = args.seconds.filter(|s| !s.is_finite() || *s < 0.0) {
        return Err(vec![format!("--seconds is {seconds}; give 0 or more")]);
    }
    let text = read(&args.problem)?;
    let problem = Problem::from_json(&text)
        .map_err(|faults| faults.iter().map(ToString::to_string).collect::<Vec<_>>())?;
    let limits = Limits {
        seconds: args.seconds,
        iterations: args.iterations,
        threads: usize::from(args.threads),
        seed: args.seed,
    };
    let plan = solve(&problem, &limits, &AtomicBool::new(false), &mut |_| {});
    serde_json::to_string(&plan).map_err(|error| vec![error.to_string()])
}

fn read(path: &std::path::Path) -> Result<String, Vec<String>> {
    let mut text = String::new();
    let read = if path.as_os_str() == "-" {
        std::io::stdin().read_to_string(&mut text).map(|_| ())
    } else {
        std::fs::read_to_string(path).map(|content| text = content)
    };
    read.map(|()| text)
        .map_err(|error| vec![format!("{}: {error}", path.display())])
}
