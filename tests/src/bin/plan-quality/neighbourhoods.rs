//! What planning a few jobs of our plans anew still gains: a good plan does not get better.

use std::ffi::OsStr;
use std::num::NonZeroUsize;
use std::path::Path;

use serde::Deserialize;
use tempfile::NamedTempFile;

use crate::figures::{head, over, row};
use crate::planned::plan;
use crate::problems::{Named, instances};
use crate::python::answer;

/// Of larger problems the model is too large.
const MOST_JOBS: usize = 60;
/// Jobs freed at a time, tries for each plan, seconds for each try.
const ASKED: [&str; 3] = ["6", "20", "5"];
const COLUMNS: [&str; 7] = [
    "problem",
    "jobs",
    "ours, 5 s",
    "tries",
    "with a gain",
    "undecided",
    "largest gain",
];

#[derive(Deserialize)]
struct Answer {
    tries: usize,
    gains: Vec<i64>,
    undecided: usize,
}

pub fn print(folder: &Path, every: NonZeroUsize) -> Result<(), String> {
    let [free, _, seconds] = ASKED;
    println!(
        "{free} jobs are free at a time, all others as planned; {seconds} s by CP-SAT for each try.\n"
    );
    head(&COLUMNS);
    let (mut tries, mut gains, mut undecided, mut largest) = (0, 0, 0, None);
    for named in instances(folder, every)? {
        if named.jobs() > MOST_JOBS {
            continue;
        }
        let (loss, answer) = tried(&named)?;
        let gain = answer.gains.iter().copied().max().unwrap_or(0);
        let share = over(loss + gain, loss);
        tries += answer.tries;
        gains += answer.gains.len();
        undecided += answer.undecided;
        if largest.as_ref().is_none_or(|(most, _)| share > *most) {
            largest = Some((share, named.name.clone()));
        }
        row(&[
            named.name.clone(),
            named.jobs().to_string(),
            loss.to_string(),
            answer.tries.to_string(),
            answer.gains.len().to_string(),
            answer.undecided.to_string(),
            format!("{gain} ({share:.2} %)"),
        ]);
    }
    let (share, name) = largest.unwrap_or_default();
    println!(
        "\n{gains} of {tries} tries gain, {undecided} are undecided; the largest gain is {share:.2} % ({name})."
    );
    Ok(())
}

/// The loss of our plan, and what came of the tries.
fn tried(named: &Named) -> Result<(i64, Answer), String> {
    let plan = plan(&named.problem, 5.0).plan;
    let file = NamedTempFile::new().map_err(|error| error.to_string())?;
    serde_json::to_writer(&file, &plan).map_err(|error| error.to_string())?;
    let paths = [named.file.as_os_str(), file.path().as_os_str()];
    let asked = paths.into_iter().chain(ASKED.map(OsStr::new));
    let answer = answer("neighbourhoods.py", &asked.collect::<Vec<_>>())
        .map_err(|error| format!("{}: {error}", named.name))?;
    Ok((plan.loss, answer))
}
