//! What is to be done next, in the order of time, as the line-up has it.

use chrono::{DateTime, Utc};
use mendpost_core::lineup::{LineUp, Place, StagePlan, StepPlan, Work};

use crate::page::whole;
use crate::words::Words;
use crate::words::work::sentence;

/// One thing to do.
#[derive(Debug, Clone, Copy)]
pub struct Next<'a> {
    /// When; of a draw: by when.
    pub at: DateTime<Utc>,
    pub place: &'a Place,
    pub what: What<'a>,
}

/// What is to be done.
#[derive(Debug, Clone, Copy)]
pub enum What<'a> {
    Draw(&'a StagePlan),
    Spray(&'a StagePlan),
    Step(&'a StepPlan),
}

/// Everything that has not begun at this moment. Powder is to be drawn before set-up, and stays on the
/// list, late, until it should be flowing.
pub fn to_do(line_up: &LineUp, now: DateTime<Utc>) -> Vec<Next<'_>> {
    let mut all = Vec::new();
    for place in &line_up.places {
        for work in &place.work {
            match work {
                Work::Stage(stage) if stage.start > now => {
                    all.push(Next {
                        at: stage.setup_from,
                        place,
                        what: What::Draw(stage),
                    });
                    all.push(Next {
                        at: stage.start,
                        place,
                        what: What::Spray(stage),
                    });
                }
                Work::Step(step) if step.start > now => all.push(Next {
                    at: step.start,
                    place,
                    what: What::Step(step),
                }),
                Work::Stage(_) | Work::Step(_) => {}
            }
        }
    }
    all.sort_by_key(|next| (next.at, next.place.number));
    all
}

impl Next<'_> {
    /// The verb of the block that is pressed.
    pub fn verb(&self) -> String {
        match self.what {
            What::Draw(_) => "Draw powder".to_owned(),
            What::Spray(_) => "Start spraying".to_owned(),
            What::Step(step) => sentence(&step.name),
        }
    }

    /// The answer to what to do next, in one sentence.
    pub fn answer(&self, words: &Words<'_>, now: DateTime<Utc>) -> String {
        let name = words.asset_part(self.place.asset.as_str(), &self.place.part_name);
        match self.what {
            What::Draw(stage) => {
                let when = if stage.setup_from <= now {
                    "now".to_owned()
                } else {
                    format!("by {}", words.when(stage.setup_from))
                };
                let start = words.when(stage.start);
                format!(
                    "Draw {} {when}; spraying starts at {start}.",
                    words.shares(&stage.lots)
                )
            }
            What::Spray(stage) => {
                format!("Start spraying the {name} at {}.", words.when(stage.start))
            }
            What::Step(step) => {
                format!(
                    "{} at {}: {name}.",
                    sentence(&step.name),
                    words.when(step.start)
                )
            }
        }
    }

    /// Where it is done.
    pub fn location(&self, words: &Words<'_>) -> String {
        match self.what {
            What::Draw(_) => "Powder".to_owned(),
            What::Spray(_) => "Cell".to_owned(),
            What::Step(step) => sentence(&words.place_of(step)),
        }
    }

    /// What is done to what, for a row.
    pub fn line(&self, words: &Words<'_>) -> String {
        let name = words.asset_part(self.place.asset.as_str(), &self.place.part_name);
        match self.what {
            What::Draw(stage) => {
                format!("Draw {}", words.shares(&stage.lots))
            }
            What::Spray(_) => format!("Spray place {}, {name}", self.place.number),
            What::Step(step) => format!("{}, {name}", sentence(&step.name)),
        }
    }

    /// How many people it takes.
    pub fn people(&self) -> String {
        let crew = match self.what {
            What::Draw(stage) | What::Spray(stage) => stage.crew,
            What::Step(step) => step.crew,
        };
        match crew {
            0 => "runs unattended".to_owned(),
            1 => "one person".to_owned(),
            many => format!("{} people", whole(many)),
        }
    }
}

/// What has begun and has not ended, where it is done.
pub fn under_way(line_up: &LineUp, now: DateTime<Utc>) -> Vec<(&Place, &Work)> {
    let begun = |work: &&Work| work.starts() <= now && now < work.ends();
    line_up
        .places
        .iter()
        .flat_map(|place| {
            place
                .work
                .iter()
                .filter(begun)
                .map(move |work| (place, work))
        })
        .collect()
}
