//! A site as read from its files, checked and ready to be written.

use super::resupply::SeedResupply;
use crate::interim::End;
use crate::shape::Reading;
use chrono::{DateTime, NaiveDate, Utc};
use mendpost_core::catalogue::{Answer, Metal, Part, Recipe};
use mendpost_core::code::{AssetCode, ContainerCode, LotCode, PartCode, PowderCode, RecipeCode};
use mendpost_core::finish::Tool;
use mendpost_core::people::Role;
use mendpost_core::powder::certificate::{Certificate, Limits, Within};
use mendpost_core::powder::{DateKind, Lot, Powder, Seal};
use mendpost_core::quantity::Milligrams;
use mendpost_core::situation::{
    Asset, Bank, Capability, Cell, Compressor, Delivery, DutyHours, Fuel, KeepBack, Kit, Request,
    Site, Station,
};
use std::collections::BTreeMap;

/// Everything that the files say. Each list is in the order of its file.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteData {
    pub site: Site,
    pub people: Vec<SeedPerson>,
    pub cell: Cell,
    /// The bore as gauged since the nozzle was machined, in micrometres.
    pub nozzle: Option<SeedReading>,
    pub stations: Vec<Station>,
    pub duty: Vec<DutyHours>,
    pub powders: Vec<Powder>,
    /// What powders ask of the certificates of their lots, each with why so.
    pub limits: BTreeMap<PowderCode, (Limits, String)>,
    pub lots: Vec<SeedLot>,
    pub feeder: Option<SeedFeeder>,
    pub banks: Vec<Bank>,
    pub compressor: Option<Compressor>,
    pub fuel: Fuel,
    pub deliveries: Vec<Delivery>,
    pub assets: Vec<Asset>,
    pub capabilities: Vec<Capability>,
    pub metals: Vec<Metal>,
    pub kit: Vec<Kit>,
    /// Each with its last calibration.
    pub tools: Vec<Tool>,
    pub parts: Vec<Part>,
    /// Of parts that have one.
    pub shapes: Vec<Reading>,
    /// Every revision.
    pub recipes: Vec<Recipe>,
    pub weighed: Vec<SeedWeighed>,
    pub requests: Vec<SeedRequest>,
    pub interims: Vec<SeedInterim>,
    pub keep_backs: Vec<KeepBack>,
    pub resupply: SeedResupply,
}

/// Somebody of the crew.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeedPerson {
    pub name: String,
    pub role: Role,
}

/// What a gauge showed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeedReading {
    pub value: i64,
    pub read_at: DateTime<Utc>,
    pub read_by: String,
}

/// A lot with its containers; what is on hand is their sum.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeedLot {
    pub lot: Lot,
    pub maker_lot: String,
    pub received_at: DateTime<Utc>,
    pub keeping: Keeping,
    pub certificate: Option<Certificate>,
    pub containers: Vec<SeedContainer>,
}

/// How old a lot is, and how it is to be kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Keeping {
    pub made_on: Option<NaiveDate>,
    /// What the lot's date is.
    pub date_kind: DateKind,
    /// Where it stands.
    pub storage: String,
    /// Relative humidity, in hundredths.
    pub humidity: Within,
}

/// A container: what came in it and how, and what was taken since.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeedContainer {
    pub code: ContainerCode,
    pub received: Milligrams,
    pub used: Milligrams,
    pub opened_at: Option<DateTime<Utc>>,
    pub as_it_came: AsItCame,
}

/// What was seen of a container when it came.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct AsItCame {
    /// The number on its seal.
    pub seal: String,
    /// None: nobody said.
    pub seal_state: Option<Seal>,
    /// Container and powder on the scale.
    pub gross: Option<Milligrams>,
    /// The empty container.
    pub tare: Option<Milligrams>,
    /// What was damaged; empty: nothing.
    pub damage: String,
}

/// What lies in the feeder: of what was used from a container, so much.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeedFeeder {
    pub container: ContainerCode,
    pub mass: Milligrams,
}

/// A build whose powder and deposit were weighed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeedWeighed {
    pub recipe: RecipeCode,
    pub revision: i64,
    /// The operation that sprayed.
    pub position: i64,
    pub fed: Milligrams,
    pub deposited: Milligrams,
    pub lot: Option<LotCode>,
    /// In micrometres; none: as gauged last before it.
    pub throat_um: Option<i64>,
    pub built_at: DateTime<Utc>,
    pub weighed_by: String,
    pub note: String,
}

/// A request with what the line-up does not need to know.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeedRequest {
    pub number: i64,
    pub request: Request,
    pub reported_by: String,
    /// Who sorted it, and why so.
    pub sorted: Option<(String, String)>,
    /// The answers of `request`, with the time at which each was given.
    pub answers: Vec<SeedAnswer>,
}

/// An answer, and when it was given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeedAnswer {
    pub answer: Answer,
    pub given_at: DateTime<Utc>,
}

/// A part that runs on a machine and must come off again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeedInterim {
    pub asset: AssetCode,
    /// None: not listed in the catalogue.
    pub part: Option<PartCode>,
    pub part_name: String,
    /// Where on its machine; may be empty.
    pub place: String,
    pub since: DateTime<Utc>,
    pub end: End,
    pub owner: String,
    /// How and by whom it comes off.
    pub plan: String,
    pub released_by: String,
}
