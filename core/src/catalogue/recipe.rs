//! How a part is made: operations in strict order, each a stage that sprays or a step that does not.

use super::{Flag, Pace, Timed, WeighedBuild};
use crate::code::{KitCode, MetalCode, PartCode, PowderCode, RecipeCode, StationCode};
use crate::deposit::{DepositError, deposited_grams};
use crate::finish::{Dimension, Expected};
use crate::gas::Gas;
use crate::word_enum;
use serde::Serialize;
use std::collections::BTreeSet;
use std::iter;

word_enum! {
    /// Where a revision of a recipe stands.
    RecipeState {
        /// Being written.
        Draft = "draft",
        /// Waits for approval.
        Proposed = "proposed",
        /// May be used.
        Approved = "approved",
        /// A later revision took its place.
        Superseded = "superseded",
        /// Must not be used any more.
        Withdrawn = "withdrawn",
    }
}

word_enum! {
    /// What is done in one operation.
    OperationKind {
        /// Blasts the surface.
        Blast = "blast",
        /// Masks and fixes.
        Mask = "mask",
        /// Sprays: the only kind that takes powder.
        Spray = "spray",
        /// Heats in the furnace.
        HeatTreat = "heat-treat",
        /// Cuts to size.
        Cut = "cut",
        /// Looks for cracks.
        CrackCheck = "crack-check",
        /// Measures.
        Measure = "measure",
        /// Released by a person.
        Release = "release",
        /// Carried to the machine.
        Carry = "carry",
        /// Fitted.
        Fit = "fit",
        /// First run under watch.
        FirstRun = "first-run",
    }
}

word_enum! {
    /// What somebody must be able to do for some operations.
    Skill {
        /// Sprays.
        Sprayer = "sprayer",
        /// Runs furnace and mill, measures and looks for cracks.
        Machinist = "machinist",
    }
}

impl OperationKind {
    /// What one of its people must be able to do; none if anybody on the crew may.
    ///
    /// Common practice, no source: one sprays, another cuts and checks.
    #[must_use]
    pub const fn skill(self) -> Option<Skill> {
        match self {
            Self::Spray => Some(Skill::Sprayer),
            Self::HeatTreat | Self::Cut | Self::CrackCheck | Self::Measure => {
                Some(Skill::Machinist)
            }
            Self::Blast | Self::Mask | Self::Release | Self::Carry | Self::Fit | Self::FirstRun => {
                None
            }
        }
    }
}

/// How the nozzle goes over the part, as far as the recipe tells.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Motion {
    /// Which nozzle; empty if the recipe does not say.
    pub nozzle: String,
    /// From the nozzle's exit to the part, in micrometres.
    pub standoff_um: Option<i64>,
    /// How fast it goes over the part, in millimetres per second.
    pub traverse_mm_s: Option<i64>,
    /// From one line to the next, in micrometres.
    pub spacing_um: Option<i64>,
    /// What the part is warmed to before the first pass, in degrees Celsius.
    pub preheat_c: Option<i64>,
    /// How many layers.
    pub passes: Option<i64>,
}

/// What must stick, as a volume with its pores.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Volume {
    /// Cubic millimetres, pores included.
    pub mm3: i64,
    /// Share of the pores, in thousandths.
    pub porosity_permille: i64,
}

impl Volume {
    /// What it weighs in a metal of this density, in kilograms per cubic metre; rounded as
    /// [`deposited_grams`] does.
    ///
    /// # Errors
    /// If a figure is beyond what a deposit can be.
    pub fn grams(&self, density_kg_m3: i64) -> Result<i64, DepositError> {
        let [cm3, density, porosity] =
            [self.mm3, density_kg_m3, self.porosity_permille].map(|figure| figure as f64);
        deposited_grams(cm3 / 1000.0, density, porosity / 1000.0)
    }
}

/// What a stage sprays and how.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Spray {
    /// What is sprayed.
    pub powder: PowderCode,
    /// What must stick to the part, machining allowance included, in grams.
    pub deposited_g: i64,
    /// The volume from which that mass was worked out, if it was.
    pub volume: Option<Volume>,
    /// All of it from one lot.
    pub one_lot: bool,
    /// The gas that carries it.
    pub gas: Gas,
    /// Nozzle pressure, absolute, in millibar.
    pub pressure_mbar: i64,
    /// Gas temperature before the nozzle, in degrees Celsius.
    pub temperature_c: i64,
    /// What the feeder gives, in grams per minute.
    pub feed_g_per_min: i64,
    /// Mean deposition efficiency from the approval's coupons, in thousandths.
    pub efficiency_permille: i64,
    /// Its standard deviation from build to build, in thousandths.
    pub efficiency_sd_permille: i64,
    /// How many builds or coupons these two rest on, 1 to 1000.
    pub approval_builds: i64,
    /// Powder lost at starts and stops, in grams.
    pub start_stop_loss_g: i64,
    /// Powder for the coupons sprayed beside the part, in grams.
    pub coupon_g: i64,
    /// Minutes in the cell without powder: loading, warm gas, looking, unloading.
    pub handling_min: i64,
    /// Of these, minutes during which gas flows.
    pub gas_only_min: i64,
    /// How the nozzle goes over the part.
    pub motion: Motion,
    /// Builds of this stage that were weighed, by any revision of the recipe, none struck out.
    #[serde(skip)]
    pub weighed: Vec<WeighedBuild>,
    /// How long its last builds took, by any revision of the recipe.
    #[serde(skip)]
    pub timed: Vec<Timed>,
}

/// A fixture that an operation takes, and how long it is kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Held {
    /// Which.
    pub fixture: KitCode,
    /// Place of the operation, from 1, at whose end it is free again: this one or a later one.
    pub through: usize,
}

impl OperationKind {
    /// Whether it readies the metal, and is simply done again where that was too long ago.
    #[must_use]
    pub const fn readies(self) -> bool {
        matches!(self, Self::Blast | Self::Mask)
    }
}

/// One operation of a recipe.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Operation {
    /// What is done.
    pub kind: OperationKind,
    /// In the crew's words.
    pub name: String,
    /// Where; none for work at the machine, and none for a stage, which is in the cell.
    pub station: Option<StationCode>,
    /// How long a step takes; a stage's minutes follow from what it sprays.
    pub minutes: i64,
    /// People it keeps; 0 runs unattended.
    pub crew: i64,
    /// Minutes at least since the operation before it: cooling, curing.
    pub after_min: i64,
    /// Minutes at most since the operation before it, if it may not wait for ever: blasted to sprayed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub within_min: Option<i64>,
    /// What is sprayed, if this is a stage.
    pub spray: Option<Spray>,
    /// The plate that a stage sprays on and uses up.
    pub plate: Option<KitCode>,
    /// The fixture that it takes.
    pub fixture: Option<Held>,
    /// Days until it is back, if it is sent out; its minutes are all of them, and nobody here is kept.
    pub away_days: Option<i64>,
    /// The furnace's cycle by its name; empty if there is none.
    pub cycle: String,
    /// How long a step took the last times, by any revision of the recipe; those of a stage stand with what it
    /// sprays.
    #[serde(skip)]
    pub timed: Vec<Timed>,
}

impl Operation {
    /// A step by one person without a station, with nothing else told.
    #[must_use]
    pub fn step(kind: OperationKind, name: &str, minutes: i64) -> Self {
        Self {
            kind,
            name: name.to_owned(),
            station: None,
            minutes,
            crew: 1,
            after_min: 0,
            within_min: None,
            spray: None,
            plate: None,
            fixture: None,
            away_days: None,
            cycle: String::new(),
            timed: Vec::new(),
        }
    }

    /// How long it took the last times, stage or step.
    #[must_use]
    pub fn times(&self) -> &[Timed] {
        let spray = self.spray.as_ref();
        spray.map_or(&self.timed, |spray| &spray.timed)
    }

    /// Minutes that a step is planned with: its figure, put right by how long it took.
    #[must_use]
    pub fn step_min(&self) -> i64 {
        Pace::of(&self.timed).minutes(self.minutes)
    }

    /// Whether how long it took says how long it will take. What is set and runs by itself, what is sent out and
    /// what must run for so long take as long as the recipe says.
    #[must_use]
    pub const fn learns(&self) -> bool {
        use OperationKind::{Blast, CrackCheck, Cut, Fit, Mask, Measure, Spray};
        let by_hand = matches!(
            self.kind,
            Spray | Blast | Mask | Cut | CrackCheck | Measure | Fit
        );
        by_hand && self.crew > 0 && self.away_days.is_none() && self.cycle.is_empty()
    }

    /// A stage by one person; its minutes follow from what it sprays.
    #[must_use]
    pub fn stage(name: &str, spray: Spray) -> Self {
        Self {
            spray: Some(spray),
            ..Self::step(OperationKind::Spray, name, 0)
        }
    }
}

/// What a recipe says beside its operations, in its writer's and its approver's words.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct RecipeText {
    /// Which coupons are sprayed beside the part, and what is done with them.
    pub coupons: String,
    /// What is measured, where and with what, and what is accepted.
    pub inspection: String,
    /// What else is to be known.
    pub notes: String,
    /// What the deposit is expected to bear, as the approver wrote it.
    pub expected: String,
    /// What the approval rests on, as the approver wrote it.
    pub basis: String,
}

/// One revision of how a part is made.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Recipe {
    /// The code that its revisions share.
    pub code: RecipeCode,
    /// The part it makes.
    pub part: PartCode,
    /// Its revision, from 1.
    pub revision: i64,
    /// Where it stands.
    pub state: RecipeState,
    /// Who wrote it; empty if that was not asked.
    pub written_by: String,
    /// Further names under which somebody is known who wrote a line of it.
    #[serde(skip_serializing_if = "BTreeSet::is_empty")]
    pub also_written_by: BTreeSet<String>,
    /// Who approved it; empty if nobody did.
    pub approved_by: String,
    /// The metals that it may be sprayed on; empty for a part built free-standing.
    pub base_metals: BTreeSet<MetalCode>,
    /// What is done, in order.
    pub operations: Vec<Operation>,
    /// What the part may be used for to be made by it; empty: anything.
    pub flags: BTreeSet<Flag>,
    /// What it says in words.
    pub text: RecipeText,
    /// What is measured of the finished part, with limits.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub sizes: Vec<Dimension>,
    /// What is expected of its coupons.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub coupons: Vec<Expected>,
}

impl Recipe {
    /// Flags of a part for which the recipe is not valid.
    pub fn not_covered(&self, flags: &BTreeSet<Flag>) -> Vec<Flag> {
        if self.flags.is_empty() {
            return Vec::new();
        }
        flags.difference(&self.flags).copied().collect()
    }

    /// Every name under which somebody wrote a line of it.
    pub fn authors(&self) -> Vec<&str> {
        let names = iter::once(&self.written_by).chain(&self.also_written_by);
        let given = names
            .map(|name| name.trim())
            .filter(|name| !name.is_empty());
        given.collect()
    }

    /// Its stages, in order.
    pub fn sprays(&self) -> impl Iterator<Item = &Spray> {
        self.operations.iter().filter_map(|o| o.spray.as_ref())
    }
}
