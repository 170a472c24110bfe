//! How a part is made: operations in strict order, each a stage that sprays or a step that does not.

use super::WeighedBuild;
use crate::code::{MetalCode, PartCode, PowderCode, RecipeCode, StationCode};
use crate::gas::Gas;
use crate::word_enum;
use std::collections::BTreeSet;

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

/// What a stage sprays and how.
#[derive(Debug, Clone, PartialEq)]
pub struct Spray {
    /// What is sprayed.
    pub powder: PowderCode,
    /// What must stick to the part, machining allowance included, in grams.
    pub deposited_g: i64,
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
    /// Builds of this stage that were weighed, by any revision of the recipe, none struck out.
    pub weighed: Vec<WeighedBuild>,
}

/// One operation of a recipe.
#[derive(Debug, Clone, PartialEq)]
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
    /// What is sprayed, if this is a stage.
    pub spray: Option<Spray>,
}

/// One revision of how a part is made.
#[derive(Debug, Clone, PartialEq)]
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
    /// Who approved it; empty if nobody did.
    pub approved_by: String,
    /// The metals that it may be sprayed on; empty for a part built free-standing.
    pub base_metals: BTreeSet<MetalCode>,
    /// What is done, in order.
    pub operations: Vec<Operation>,
}

impl Recipe {
    /// Its stages, in order.
    pub fn sprays(&self) -> impl Iterator<Item = &Spray> {
        self.operations.iter().filter_map(|o| o.spray.as_ref())
    }
}
