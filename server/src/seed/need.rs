//! The machines of the site, and what the site needs done by them.

use super::fault::Faults;
use super::files::SeedFiles;
use super::row::{Row, codes};
use super::sheet::Sheet;
use super::time::Calendar;
use mendpost_core::code::{AssetCode, CapabilityCode};
use mendpost_core::situation::{Asset, Capability, Figure, LossFault, LossRange};
use std::collections::BTreeSet;

pub(crate) const ASSETS: Sheet = Sheet {
    file: "assets.csv",
    columns: &["code", "name", "down_from", "back"],
    optional: &[],
    may_be_missing: false,
};

pub(crate) const CAPABILITIES: Sheet = Sheet {
    file: "capabilities.csv",
    columns: &[
        "code",
        "name",
        "assets",
        "must_run",
        "loss_per_hour",
        "said_by",
        "said_at",
    ],
    optional: &["loss_low", "loss_high"],
    may_be_missing: false,
};

pub(super) struct Sheets {
    assets: Vec<Row>,
    capabilities: Vec<Row>,
    codes: BTreeSet<AssetCode>,
}

impl Sheets {
    pub(super) fn new(files: &SeedFiles, faults: &Faults) -> Self {
        let assets = ASSETS.rows(files, faults);
        Self {
            codes: codes(&assets, "code", faults),
            assets,
            capabilities: CAPABILITIES.rows(files, faults),
        }
    }

    pub(super) fn codes(&self) -> BTreeSet<AssetCode> {
        self.codes.clone()
    }

    pub(super) fn assets(&self, calendar: &Calendar, faults: &Faults) -> Vec<Asset> {
        self.assets
            .iter()
            .filter_map(|row| asset(row, calendar, faults))
            .collect()
    }

    pub(super) fn capabilities(&self, calendar: &Calendar, faults: &Faults) -> Vec<Capability> {
        let _: BTreeSet<CapabilityCode> = codes(&self.capabilities, "code", faults);
        self.capabilities
            .iter()
            .filter_map(|row| capability(row, &self.codes, calendar, faults))
            .collect()
    }
}

pub(crate) fn capability(
    row: &Row,
    known: &BTreeSet<AssetCode>,
    calendar: &Calendar,
    faults: &Faults,
) -> Option<Capability> {
    let code = row.new_label(faults, "code");
    let name = row.text(faults, "name", 80);
    let assets = row.list::<AssetCode>(faults, "assets").and_then(|assets| {
        assets
            .into_iter()
            .map(|asset| row.known(faults, "assets", known, asset))
            .collect()
    });
    let must_run = row.number(faults, "must_run", 0, 0..=1000);
    let loss_per_hour = row.numbers(faults, "loss_per_hour", 0..=1_000_000_000);
    let loss_range = loss_range(row, faults);
    let said_by = row.text(faults, "said_by", 80);
    let said_at = row.past(faults, "said_at", calendar);
    let capability = Capability {
        code: code?,
        name: name?,
        assets: assets?,
        must_run: must_run?,
        loss_per_hour: loss_per_hour?,
        loss_range: loss_range?,
        said_by: said_by?,
        said_at: said_at?,
    };
    for fault in capability.faults() {
        let column = match fault {
            LossFault::NoAssets | LossFault::Twice { .. } => "assets",
            LossFault::MustRun { .. } => "must_run",
            LossFault::Count { figure, .. } | LossFault::Falls { figure, .. } => match figure {
                Figure::Low => "loss_low",
                Figure::Likely => "loss_per_hour",
                Figure::High => "loss_high",
            },
            LossFault::Outside { .. } => "loss_per_hour",
        };
        row.fault(faults, column, fault);
    }
    Some(capability)
}

/// Both ends or neither; within: none if neither is given.
fn loss_range(row: &Row, faults: &Faults) -> Option<Option<LossRange>> {
    let read = |column| row.numbers(faults, column, 0..=1_000_000_000);
    match (row.given("loss_low"), row.given("loss_high")) {
        (None, None) => Some(None),
        (Some(_), Some(_)) => Some(Some(LossRange {
            low: read("loss_low")?,
            high: read("loss_high")?,
        })),
        (low, _) => {
            let missing = if low.is_none() {
                "loss_low"
            } else {
                "loss_high"
            };
            row.fault(
                faults,
                missing,
                "nothing is given; give both ends or neither",
            );
            None
        }
    }
}

pub(crate) fn asset(row: &Row, calendar: &Calendar, faults: &Faults) -> Option<Asset> {
    let code = row.new_label(faults, "code");
    let name = row.text(faults, "name", 80);
    let down_from = row.moment_optional(faults, "down_from", calendar);
    let back = row.moment_optional(faults, "back", calendar);
    Some(Asset {
        code: code?,
        name: name?,
        down_from: down_from?,
        back: back?,
    })
}
