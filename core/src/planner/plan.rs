use serde::{Deserialize, Serialize};

/// The format a plan is written in; there is one so far.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum PlanSchema {
    /// `planning-solution/1`.
    #[default]
    #[serde(rename = "planning-solution/1")]
    V1,
}

/// What is done when, in which cell, from which lots; and what is left out.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// The format.
    pub schema: PlanSchema,
    /// The loss as rate x minutes: divide by 60 for the loss itself.
    pub loss: i64,
    /// A proven lower bound on the loss of any plan, if there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bound: Option<i64>,
    /// Whether no plan can be better; said only where it is proven.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub proven: Option<bool>,
    /// The jobs that are planned, in the order in which they were placed.
    pub jobs: Vec<PlannedJob>,
    /// The jobs that are not.
    pub left_out: Vec<String>,
}

impl Plan {
    /// With what is known of the least loss of any plan; it is proven best if it loses no more.
    #[must_use]
    pub fn bounded(self, bound: Option<i64>) -> Self {
        Self {
            bound,
            proven: Some(bound == Some(self.loss)),
            ..self
        }
    }
}

/// A job with the option chosen for it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlannedJob {
    /// The job.
    pub id: String,
    /// Which of its options.
    pub option: String,
    /// One spot for each operation of the option, in order.
    pub operations: Vec<Spot>,
}

/// Where and when an operation is done.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Spot {
    /// The cell; stages only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cell: Option<String>,
    /// When set-up begins; stages only. Set-up runs right up to `start`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub setup_from: Option<i64>,
    /// When the operation itself begins.
    pub start: i64,
    /// Powder by lot; stages only.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lots: Vec<LotDraw>,
    /// For each draw of the operation, the store it is taken from, and none for a draw without a choice;
    /// empty if no draw of the operation has a choice.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub from: Vec<Option<String>>,
}

/// Powder taken from one lot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LotDraw {
    /// The lot.
    pub lot: String,
    /// How much, at least 1.
    pub grams: i64,
}
