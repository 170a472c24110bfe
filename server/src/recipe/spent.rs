//! How long the operations of a recipe took, and where the minutes of its builds went.

use mendpost_core::catalogue::{Operation, Pace, Recipe, Timed};
use mendpost_core::lineup::stage_need;
use mendpost_core::situation::Situation;

use crate::form::plain_decimal;
use crate::pace::Spent;
use crate::page::minutes;
use crate::words::build::cause_word;
use crate::words::work::sentence;

/// An operation that was timed.
pub struct TookRow {
    pub name: String,
    /// By the recipe's figures then, on average; of a build with its set-up, as what it took.
    pub reckoned: String,
    /// On average, and how many times.
    pub took: String,
    pub times: String,
    /// What the line-up plans.
    pub planned: String,
    /// How it comes to that.
    pub pace: String,
}

/// The operations of a recipe that were timed.
pub fn rows(situation: &Situation, recipe: &Recipe) -> Vec<TookRow> {
    let operations = recipe.operations.iter();
    operations
        .filter_map(|operation| row(situation, operation))
        .collect()
}

fn row(situation: &Situation, operation: &Operation) -> Option<TookRow> {
    let timed = operation.times();
    let times = i64::try_from(timed.len()).ok().filter(|it| *it > 0)?;
    let today = match &operation.spray {
        Some(spray) => stage_need(situation, spray).ok()?.reckoned_min,
        None => operation.minutes,
    };
    let mean = |of: fn(&Timed) -> i64| {
        let all: i64 = timed.iter().map(of).sum();
        minutes((all + times / 2) / times)
    };
    let pace = Pace::of(timed);
    Some(TookRow {
        name: sentence(&operation.name),
        reckoned: mean(|it| it.reckoned_min),
        took: mean(|it| it.took_min),
        times: match times {
            1 => "once".to_owned(),
            more => format!("mean of {more}"),
        },
        planned: minutes(pace.minutes(today)),
        pace: format!("{} times the recipe", hundredths(pace)),
    })
}

/// How long one operation took the last times, as a pair of its own.
pub fn pair(timed: &[Timed]) -> Option<(&'static str, String)> {
    let pace = Pace::of(timed);
    let of = hundredths(pace);
    let times = match pace.times {
        0 => return None,
        1 => "once timed".to_owned(),
        more => format!("{more} times timed"),
    };
    Some((
        "Learned",
        format!("{of} times the recipe’s minutes, {times}"),
    ))
}

fn hundredths(pace: Pace) -> String {
    plain_decimal((pace.permille + 5) / 10, 2)
}

/// Where the minutes of a build went on average: word, minutes, and in how many builds.
pub fn went(spent: &Spent) -> Vec<(String, String, String)> {
    let Some(builds) = i64::try_from(spent.builds).ok().filter(|it| *it > 0) else {
        return Vec::new();
    };
    let mean = |all: i64| minutes((all + builds / 2) / builds);
    let mut went = vec![
        ("Set up".to_owned(), mean(spent.set_up), String::new()),
        ("Sprayed".to_owned(), mean(spent.spraying), String::new()),
    ];
    let mut stopped: Vec<_> = spent.stopped.iter().collect();
    stopped.sort_by_key(|(_, (all, _))| std::cmp::Reverse(*all));
    went.extend(stopped.into_iter().map(|(cause, (all, of))| {
        let word = format!("Stood: {}", cause_word(*cause));
        (word, mean(*all), format!("in {of} of {builds}"))
    }));
    went
}
