//! The site as it stands at one moment: all that the line-up is worked out from.
//!
//! Nothing here is computed; the server reads it from the database, a test writes it by hand.

mod cell;
mod chances;
mod duty;
mod keep_back;
mod kit;
mod need;
mod request;
mod supply;
mod under_way;

pub use cell::{Cell, Closed, Divergent, Station};
pub use chances::{Chances, Outcomes};
pub use duty::{DutyError, DutyHours, Shift, duty_shifts, instant};
pub use keep_back::{Held, KeepBack};
pub use kit::{Kit, KitKind};
pub use need::{Asset, Capability, Figure, LossFault, LossRange};
pub use request::{BaseMetal, Begun, CrackCheck, Damage, OnHold, Request, Spare, StandIn, Way};
pub use supply::{
    Bank, Brings, Compressor, Delivery, Fuel, MOST_PLAN_DAYS, Receiver, days_ahead, trip_after_next,
};

pub use under_way::UnderWay;

use crate::catalogue::{Metal, Part, Recipe, Rules};
use crate::code::{AssetCode, LotCode, PartCode, PowderCode, RecipeCode, RequestCode, StationCode};
use crate::powder::{Lot, Powder};
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use std::collections::BTreeMap;

/// What holds for the whole site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Site {
    /// Its name.
    pub name: String,
    /// Its time zone, for display and for duty hours.
    pub zone: Tz,
    /// Metres above the sea.
    pub altitude_m: i64,
    /// The word for what the site loses: points, or a currency.
    pub loss_word: String,
    /// How many days are planned ahead, to the trip after next at least where it is known ([`days_ahead`]).
    pub plan_days: i64,
    /// A build is planned at the powder that suffices so many times in a thousand.
    pub need_permille: i64,
    /// Minutes from a delivery's landing until what it brought may be used.
    pub receiving_min: i64,
    /// How far what is told may be off.
    pub chances: Chances,
}

/// The site at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Situation {
    /// The moment, on a whole minute.
    pub now: DateTime<Utc>,
    /// The site.
    pub site: Site,
    /// The spray cell.
    pub cell: Cell,
    /// What stands beside it.
    pub stations: Vec<Station>,
    /// Plates and fixtures.
    pub kit: Vec<Kit>,
    /// Who is on duty when: sorted and disjoint.
    pub shifts: Vec<Shift>,
    /// The powders known.
    pub powders: Vec<Powder>,
    /// Every lot that is not empty.
    pub lots: Vec<Lot>,
    /// Gas in bottles.
    pub banks: Vec<Bank>,
    /// The air compressor, if there is one.
    pub compressor: Option<Compressor>,
    /// The set and its fuel.
    pub fuel: Fuel,
    /// What is on its way.
    pub deliveries: Vec<Delivery>,
    /// What is held for named machines, by number.
    pub keep_backs: Vec<KeepBack>,
    /// What the site needs done; nothing that it needs no more.
    pub capabilities: Vec<Capability>,
    /// Its machines in use.
    pub assets: Vec<Asset>,
    /// What each flag of a part asks for here.
    pub rules: Rules,
    /// The metals that parts are made of.
    pub metals: Vec<Metal>,
    /// The catalogue: parts.
    pub parts: Vec<Part>,
    /// The catalogue: the newest revision of each recipe, and the approved one where it is older.
    pub recipes: Vec<Recipe>,
    /// Builds that were checked, by recipe, whichever the revision.
    pub outcomes: BTreeMap<RecipeCode, Outcomes>,
    /// Open requests, oldest first.
    pub requests: Vec<Request>,
}

impl Situation {
    /// Whole minutes from now to a moment, rounded down: when something ends.
    #[must_use]
    pub fn minute_until(&self, moment: DateTime<Utc>) -> i64 {
        (moment - self.now).num_seconds().div_euclid(60)
    }

    /// Whole minutes from now to a moment, rounded up: when something may start.
    #[must_use]
    pub fn minute_from(&self, moment: DateTime<Utc>) -> i64 {
        -((self.now - moment).num_seconds().div_euclid(60))
    }

    /// The moment so many minutes from now.
    #[must_use]
    pub fn moment(&self, minute: i64) -> DateTime<Utc> {
        self.now + chrono::TimeDelta::minutes(minute)
    }

    /// The end of what is planned, in minutes from now.
    #[must_use]
    pub const fn horizon(&self) -> i64 {
        self.site.plan_days * 1440
    }

    /// The asset of this code.
    #[must_use]
    pub fn asset(&self, code: &AssetCode) -> Option<&Asset> {
        self.assets.iter().find(|a| a.code == *code)
    }

    /// The part of this code.
    #[must_use]
    pub fn part(&self, code: &PartCode) -> Option<&Part> {
        self.parts.iter().find(|p| p.code == *code)
    }

    /// The revision of a recipe, in whatever state.
    #[must_use]
    pub fn recipe(&self, code: &RecipeCode, revision: i64) -> Option<&Recipe> {
        let mut recipes = self.recipes.iter();
        recipes.find(|r| r.code == *code && r.revision == revision)
    }

    /// The powder of this code.
    #[must_use]
    pub fn powder(&self, code: &PowderCode) -> Option<&Powder> {
        self.powders.iter().find(|p| p.code == *code)
    }

    /// The lot of this code.
    #[must_use]
    pub fn lot(&self, code: &LotCode) -> Option<&Lot> {
        self.lots.iter().find(|l| l.code == *code)
    }

    /// The station of this code.
    #[must_use]
    pub fn station(&self, code: &StationCode) -> Option<&Station> {
        self.stations.iter().find(|s| s.code == *code)
    }

    /// The request of this code.
    #[must_use]
    pub fn request(&self, code: &RequestCode) -> Option<&Request> {
        self.requests.iter().find(|r| r.code == *code)
    }
}
