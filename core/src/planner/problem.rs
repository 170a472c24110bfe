use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// The format a problem is written in; there is one so far.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum ProblemSchema {
    /// `planning-problem/1`.
    #[default]
    #[serde(rename = "planning-problem/1")]
    V1,
}

/// What is to be planned: people, cells, stations, supplies, what the site loses, and the parts to rebuild.
///
/// Times are whole minutes from 'now' (0) to `horizon`; powder is in grams; the units of a store and of
/// the loss are the site's own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Problem {
    /// The format.
    pub schema: ProblemSchema,
    /// A name for people; the planner does not use it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The best loss known for a published problem, carried along; the planner does not use it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub known: Option<i64>,
    /// The last minute that a plan may use; what is not finished by then counts as finished then.
    pub horizon: i64,
    /// When people are on duty: sorted, disjoint, within the horizon.
    pub windows: Vec<Window>,
    /// The spray cells.
    pub cells: Vec<Cell>,
    /// Furnace, mill, bench and so on.
    pub stations: Vec<Station>,
    /// What is used up and comes in bulk: gas, fuel, hours to a service.
    pub stores: Vec<Store>,
    /// What operations share at the same time: kilowatts of the set, sprayers, plates, fixtures.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub limits: Vec<Limit>,
    /// Powder in numbered lots; a delivery is a lot with a later `from`.
    pub lots: Vec<Lot>,
    /// What the site loses while machines are down.
    pub capabilities: Vec<Capability>,
    /// What is known of single assets beyond their jobs.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub assets: BTreeMap<String, Asset>,
    /// One damaged part each.
    pub jobs: Vec<Job>,
}

/// A stretch of time with people on duty; windows that touch form one attended period.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Window {
    /// First minute on duty.
    pub from: i64,
    /// First minute no longer on duty.
    pub to: i64,
    /// People on duty, at least one.
    pub crew: i64,
}

/// A spray cell: does one thing at a time, set-up then stage, within one attended period.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cell {
    /// Unique among cells.
    pub id: String,
    /// No set-up or stage before this minute.
    pub free_from: i64,
    /// The powder now in the feeder; none when clean and empty.
    pub powder: Option<String>,
    /// Extra set-up minutes for the first stage of an attended period.
    pub warm_up: i64,
    /// Set-up minutes for the same powder again, or from clean and empty.
    pub same_powder: i64,
    /// Set-up minutes between powders that `changeover` does not name.
    pub default_changeover: i64,
    /// Set-up minutes from one powder to another.
    pub changeover: BTreeMap<String, BTreeMap<String, i64>>,
    /// Stretches `(from, to)` without set-up or stage.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub closed: Vec<(i64, i64)>,
}

/// A place for so many operations at a time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Station {
    /// Unique among stations.
    pub id: String,
    /// Operations that fit at the same time.
    pub slots: i64,
    /// Whether it holds one batch at a time: steps of one cycle and of the same minutes, which start
    /// together.
    #[serde(default, skip_serializing_if = "is_false")]
    pub batch: bool,
    /// Stretches `(from, to, slots)` with so many slots fewer.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub closed: Vec<(i64, i64, i64)>,
}

/// A bulk supply; steady use until the next arrival is already set aside in `level`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Store {
    /// Unique among stores.
    pub id: String,
    /// What is there now.
    pub level: i64,
    /// What comes, as `(minute, amount)`.
    pub arrivals: Vec<(i64, i64)>,
}

/// What operations hold at the same time without using it up.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    /// Unique among limits.
    pub id: String,
    /// How much may be held at a time.
    pub capacity: i64,
    /// Stretches `(from, to, capacity)` in which another capacity holds; disjoint.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub windows: Vec<(i64, i64, i64)>,
}

/// Powder of one certificate.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lot {
    /// Unique among lots.
    pub id: String,
    /// What it is.
    pub powder: String,
    /// What is on hand, rounded down.
    pub grams: i64,
    /// First minute it may be sprayed.
    pub from: i64,
    /// A stage that draws on it ends by this minute.
    pub until: i64,
}

/// Something the site needs done, and what it loses per hour while machines for it are down.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Capability {
    /// Unique among capabilities.
    pub id: String,
    /// No loss counts before this minute.
    pub from: i64,
    /// The machines of it that are, or will be, down.
    pub assets: Vec<String>,
    /// The loss rate while 0, 1, ... of `assets` are down; never falls.
    pub loss_per_hour: Vec<i64>,
}

/// What is known of a machine beyond its jobs.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Asset {
    /// It still runs until this minute; absent means that it is down now.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub down_from: Option<i64>,
    /// When it is back if it has no job; absent means at the horizon.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub back: Option<i64>,
}

/// One damaged part to be rebuilt, a request on the screens.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Job {
    /// Unique among jobs.
    pub id: String,
    /// The machine that is back when the last of its jobs is finished.
    pub asset: String,
    /// Nothing of it starts before this minute.
    pub release: i64,
    /// The ways to get the part; a plan uses one.
    pub options: Vec<JobOption>,
}

/// One way to get a part; without operations, the part comes by other means at `earliest`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JobOption {
    /// Unique among the job's options.
    pub id: String,
    /// Nothing of it starts before this minute.
    pub earliest: i64,
    /// What using it costs later, as rate x minutes: added to the loss.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub debt: i64,
    /// In strict order.
    pub operations: Vec<Operation>,
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde asks for a reference"
)]
const fn is_zero(debt: &i64) -> bool {
    *debt == 0
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde asks for a reference"
)]
const fn is_false(batch: &bool) -> bool {
    !*batch
}

/// One piece of work, not interrupted once begun.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(
    try_from = "super::read::OperationKeys",
    into = "super::read::OperationKeys"
)]
pub struct Operation {
    /// Spraying in a cell, or a step at a station.
    pub work: Work,
    /// How long it takes, at least 1; set-up is not in it.
    pub minutes: i64,
    /// People it needs throughout; 0 runs unattended, into the night too.
    pub crew: i64,
    /// Minutes at least since the end of the operation before it, or since the job is ready.
    pub after: i64,
    /// Minutes at most since then, at least `after`; none where it may wait for any time.
    pub within: Option<i64>,
    /// What it takes from stores at its start.
    pub draws: Vec<Draw>,
    /// What it holds of limits.
    pub loads: Vec<Load>,
}

impl Operation {
    /// Whether it sprays.
    #[must_use]
    pub fn is_stage(&self) -> bool {
        matches!(self.work, Work::Stage { .. })
    }
}

/// What an operation is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Work {
    /// Spraying in a cell.
    Stage {
        /// The cells that may do it.
        cells: Vec<String>,
        /// What it sprays.
        powder: String,
        /// Powder fed, rounded up.
        grams: i64,
        /// Whether all grams must come from one lot; else any mix.
        one_lot: bool,
    },
    /// Work at a station, or at none.
    Step {
        /// Where it is done; none takes no slot.
        station: Option<String>,
        /// What a batch station does with it, as a furnace soaks for so long; there only. Steps without
        /// one count as of one cycle.
        cycle: Option<String>,
    },
}

/// What an operation takes from the stores at its start.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "super::read::DrawKeys", into = "super::read::DrawKeys")]
pub enum Draw {
    /// From this store.
    Of(StoreDraw),
    /// From one of these, of different stores; the plan says which.
    AnyOf(Vec<StoreDraw>),
}

impl Draw {
    /// A draw from one store: how much, and what must be left after it.
    pub fn of(store: impl Into<String>, amount: i64, floor: i64) -> Self {
        Self::Of(StoreDraw {
            store: store.into(),
            amount,
            floor,
        })
    }

    /// What it may be taken from; one where there is no choice.
    #[must_use]
    pub fn choices(&self) -> &[StoreDraw] {
        match self {
            Self::Of(draw) => std::slice::from_ref(draw),
            Self::AnyOf(draws) => draws,
        }
    }
}

/// What is taken from a store.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoreDraw {
    /// Which store.
    pub store: String,
    /// How much.
    pub amount: i64,
    /// What must be left after it.
    pub floor: i64,
}

/// What an operation holds of a limit, from its set-up or its start on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Load {
    /// Which limit.
    pub limit: String,
    /// How much.
    pub amount: i64,
    /// Position in the option, from 0, of the operation with whose end it ends; absent means its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub through: Option<usize>,
}
