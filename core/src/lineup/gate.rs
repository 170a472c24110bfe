//! Gates: why a request cannot be built now, and the smallest change that opens each.
//!
//! Values only; the words stand with the pages.

use crate::catalogue::{About, Envelope, Flag, NoYes, RecipeState, Skill, Who};
use crate::code::{
    BankCode, DeliveryCode, KitCode, LotCode, MetalCode, PowderCode, RecipeCode, StationCode,
};
use crate::gas::Gas;
use crate::situation::Held;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

/// Why a request can't be built now.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "gate", rename_all = "kebab-case")]
pub enum Gate {
    /// The part is not in the catalogue.
    NotListed,
    /// No recipe makes it.
    NoRecipe,
    /// Its recipe has no approved revision.
    NotApproved {
        /// The recipe.
        recipe: RecipeCode,
        /// Its newest revision.
        revision: i64,
        /// Where that stands.
        state: RecipeState,
    },
    /// There is no yes of somebody whose yes it takes.
    NoYes {
        /// To what.
        about: About,
        /// Whose.
        who: Who,
        /// Why not.
        why: NoYes,
    },
    /// The yes to build runs out before it could be built.
    YesRunsOut {
        /// When.
        until: DateTime<Utc>,
    },
    /// The part is on hold.
    OnHold {
        /// The number of the hold.
        number: i64,
        /// What it is held for.
        what: String,
    },
    /// Not made here, whoever asks.
    Refused {
        /// What the part does.
        flag: Flag,
        /// Who alone may decide.
        who: Who,
    },
    /// Nobody has said what the part does.
    UseUnknown,
    /// Nobody knows what the broken part is made of.
    BaseMetalUnknown {
        /// What somebody took it for.
        assumed: Option<MetalCode>,
    },
    /// The recipe does not hold on what the broken part is made of.
    OtherMetal {
        /// What it is made of.
        metal: MetalCode,
        /// What the recipe holds on.
        holds_on: Vec<MetalCode>,
    },
    /// Does not go into the booth, however it is turned.
    TooLarge {
        /// The part, in millimetres.
        part_mm: Envelope,
        /// The booth, in millimetres.
        booth_mm: Envelope,
    },
    /// Heavier than the manipulator turns.
    TooHeavy {
        /// The part, in grams.
        part_g: i64,
        /// What may be turned, in grams.
        most_g: i64,
    },
    /// The recipe asks for more than the cell or the compressor gives.
    BeyondCell {
        /// Nozzle pressure asked for, absolute, in millibar.
        need_mbar: i64,
        /// Highest pressure, absolute, in millibar.
        most_mbar: i64,
        /// Gas temperature asked for, in degrees Celsius.
        need_c: i64,
        /// Highest temperature, in degrees Celsius.
        most_c: i64,
    },
    /// No source of this gas stands here.
    NoGas {
        /// The gas.
        gas: Gas,
    },
    /// The set gives less than the cell, the camp and the compressor take together.
    Power {
        /// Watts taken.
        need_w: i64,
        /// Watts that the set gives.
        most_w: i64,
    },
    /// The heater takes more than it can.
    Heater {
        /// Watts that it would take.
        need_w: i64,
        /// Watts that it takes at most.
        most_w: i64,
        /// The temperature that it holds at this gas and pressure, in degrees Celsius.
        holds_c: Option<i64>,
    },
    /// What the recipe takes cannot be worked out from its figures.
    NoFigure {
        /// What the reckoning says.
        why: String,
    },
    /// A station that the recipe names does not stand here.
    NoStation {
        /// Which.
        station: StationCode,
    },
    /// More people needed than are ever on duty together.
    Crew {
        /// People needed.
        need: i64,
        /// The most on duty.
        most: i64,
    },
    /// Nobody who can do it is on duty when it could be done.
    NobodyQualified {
        /// What they must be able to do.
        skill: Skill,
        /// The most of them on duty together.
        most: i64,
    },
    /// Set-up and spraying fit in no attended period.
    DutyTooShort {
        /// Minutes needed without a break.
        need_min: i64,
        /// The longest attended period, in minutes.
        longest_min: i64,
    },
    /// Too little powder that may be drawn when it is wanted.
    Powder {
        /// Which.
        powder: PowderCode,
        /// Grams needed.
        need_g: i64,
        /// All of it from one lot.
        one_lot: bool,
        /// The most that one lot has free, in grams.
        largest_g: i64,
        /// What all lots together have free, in grams.
        total_g: i64,
        /// It would suffice, could its lots be sprayed longer.
        #[serde(default)]
        expires: bool,
        /// It would suffice, had the line-up not taken it for other requests.
        taken: bool,
    },
    /// The bank does not hold the recipe's pressure.
    GasPressure {
        /// Which bank.
        bank: BankCode,
        /// Pressure that the recipe and the drop before the nozzle ask for, absolute, in millibar.
        need_mbar: i64,
        /// Pressure now, absolute, in millibar.
        have_mbar: i64,
    },
    /// Too little gas above the recipe's pressure.
    Gas {
        /// Which bank.
        bank: BankCode,
        /// Grams needed.
        need_g: i64,
        /// Grams free above that pressure.
        have_g: i64,
        /// It would suffice, had the line-up not taken it for other requests.
        taken: bool,
    },
    /// It would suffice, were it not held for other machines.
    KeptBack {
        /// Numbers of the keep-backs that hold it.
        keep_backs: Vec<i64>,
        /// Of what.
        held: Box<Held>,
        /// Grams that they hold.
        grams: i64,
    },
    /// Too little fuel beyond what the camp takes.
    Fuel {
        /// Millilitres needed.
        need_ml: i64,
        /// Millilitres free.
        have_ml: i64,
    },
    /// Too few hours of the compressor left until its service.
    Compressor {
        /// Minutes needed.
        need_min: i64,
        /// Minutes free.
        have_min: i64,
    },
    /// Too few of a plate, or of a fixture at the same time.
    Kit {
        /// Which.
        kit: KitCode,
        /// Pieces needed.
        need: i64,
        /// Pieces free.
        have: i64,
    },
    /// The part is used for what its recipe is not valid for.
    NotForFlag {
        /// The recipe.
        recipe: RecipeCode,
        /// The revision.
        revision: i64,
        /// The flag.
        flag: Flag,
    },
    /// A station is out when it is wanted.
    Station {
        /// Which.
        station: StationCode,
    },
    /// A station has too few slots.
    StationFull {
        /// Which.
        station: StationCode,
    },
    /// What it needs comes too late with this delivery.
    Delivery {
        /// Which.
        delivery: DeliveryCode,
        /// When it is expected.
        expected: DateTime<Utc>,
    },
    /// Nothing is missing but hours: the line-up reaches no further.
    Time,
    /// Nothing is missing, but its work would delay what stops more.
    Outranked,
    /// Nothing but the crew's own order, in which it has no number.
    LeftOut,
    /// The stand-in would cost more later than it saves now.
    NotWorth {
        /// What it costs later, as rate x minutes.
        debt: i64,
    },
}

/// The smallest change that opens a gate.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "opens", rename_all = "kebab-case")]
pub enum Opens {
    /// Put the part into the catalogue.
    ListPart,
    /// Write a recipe and have it approved.
    WriteRecipe,
    /// Approve this revision.
    Approve {
        /// The recipe.
        recipe: RecipeCode,
        /// The revision.
        revision: i64,
    },
    /// This person's yes.
    Yes {
        /// Whose.
        who: Who,
        /// On paper or by mail.
        #[serde(default)]
        written: bool,
    },
    /// The yes to build holding longer.
    YesUntil {
        /// Until then at least.
        until: DateTime<Utc>,
    },
    /// Judge the part: fit, worked on again, or scrapped.
    Judge {
        /// The number of the hold.
        number: i64,
    },
    /// Say what the part does.
    SayUse,
    /// Find out what the broken part is made of.
    FindMetal,
    /// A recipe that holds on this metal.
    RecipeFor {
        /// Which.
        metal: MetalCode,
    },
    /// Nothing here: this person alone may decide.
    Shut {
        /// Who.
        who: Who,
    },
    /// Nothing here: the true part, or a recipe of another kind.
    TruePart,
    /// Release this lot.
    Release {
        /// Which.
        lot: LotCode,
    },
    /// More powder.
    MorePowder {
        /// Which.
        powder: PowderCode,
        /// Grams that must come.
        grams: i64,
        /// In one lot: what is there cannot be added to it.
        one_lot: bool,
    },
    /// More gas into the bank.
    MoreGas {
        /// Which bank.
        bank: BankCode,
        /// Grams that must come, above the recipe's pressure.
        grams: i64,
        /// That is so many of its bottles, filled to 200 bar.
        bottles: i64,
    },
    /// Some of what is kept back for other machines given up.
    GiveUp {
        /// Numbers of the keep-backs.
        keep_backs: Vec<i64>,
        /// Of what.
        held: Box<Held>,
        /// Grams that must be given up, at least.
        grams: i64,
        /// That is all that they hold.
        all: bool,
    },
    /// A heater that takes more.
    MoreHeat {
        /// So many watts more.
        watts: i64,
    },
    /// More fuel.
    MoreFuel {
        /// Millilitres.
        ml: i64,
    },
    /// More of a plate or a fixture.
    MoreKit {
        /// Which.
        kit: KitCode,
        /// Pieces more.
        count: i64,
    },
    /// Service the compressor.
    Service,
    /// Less power taken at the same time, or a larger set.
    LessPower {
        /// Watts too many.
        watts: i64,
    },
    /// The station back in use.
    StationBack {
        /// Which.
        station: StationCode,
        /// By then at the latest; none where it does not stand here at all.
        #[serde(default)]
        by: Option<DateTime<Utc>>,
    },
    /// More room at a station.
    MoreSlots {
        /// Which.
        station: StationCode,
        /// So many slots more.
        slots: i64,
    },
    /// The delivery sooner.
    Sooner {
        /// Which.
        delivery: DeliveryCode,
        /// By so many minutes.
        minutes: i64,
    },
    /// More people who can do it on duty.
    MoreQualified {
        /// What they must be able to do.
        skill: Skill,
        /// So many more.
        people: i64,
    },
    /// A stand-in that costs less later.
    LessDebt {
        /// By so much, as rate x minutes.
        debt: i64,
    },
    /// A gas that the recipe asks for.
    GetGas {
        /// Which.
        gas: Gas,
    },
    /// More people on duty together.
    MorePeople {
        /// So many more.
        people: i64,
    },
    /// A longer attended period.
    LongerDuty {
        /// So many minutes longer.
        minutes: i64,
    },
    /// A line-up that reaches further.
    FurtherAhead {
        /// So many days further.
        days: i64,
    },
    /// One of the other requests left out.
    LeaveOut,
    /// A number in an order of the crew's own.
    Number,
    /// Other figures in the recipe.
    OtherFigures,
}

/// A gate with what opens it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shut {
    /// Why not.
    pub gate: Gate,
    /// What would open it.
    pub opens: Opens,
}

impl Shut {
    pub(super) const fn new(gate: Gate, opens: Opens) -> Self {
        Self { gate, opens }
    }
}
