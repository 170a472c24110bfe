//! What is held for named machines from the begin.

use super::fault::Faults;
use super::files::SeedFiles;
use super::row::Row;
use super::sheet::Sheet;
use super::time::Calendar;
use mendpost_core::code::{AssetCode, BankCode, PowderCode};
use mendpost_core::lineup::MOST_GRAMS;
use mendpost_core::situation::{Held, KeepBack};
use std::collections::BTreeSet;

const KEEP_BACKS: Sheet = Sheet {
    file: "keep_backs.csv",
    columns: &[
        "powder", "bank", "grams", "assets", "reason", "said_by", "since",
    ],
    optional: &[],
    may_be_missing: true,
};

/// What a keep-back may name.
pub(super) struct Known<'a> {
    pub powders: &'a BTreeSet<PowderCode>,
    pub banks: &'a BTreeSet<BankCode>,
    pub assets: &'a BTreeSet<AssetCode>,
}

pub(super) fn keep_backs(
    files: &SeedFiles,
    known: &Known,
    calendar: &Calendar,
    faults: &Faults,
) -> Vec<KeepBack> {
    let rows = KEEP_BACKS.rows(files, faults);
    let read = |(number, row): (i64, &Row)| {
        let held = held(row, known, faults);
        let grams = row.number(faults, "grams", 0, 1..=MOST_GRAMS);
        let assets = assets(row, known, faults);
        let reason = row.text(faults, "reason", 400);
        let said_by = row.text(faults, "said_by", 80);
        let since = row.past(faults, "since", calendar);
        Some(KeepBack {
            number,
            held: held?,
            grams: grams?,
            assets: assets?,
            reason: reason?,
            said_by: said_by?,
            since: since?,
        })
    };
    (1..).zip(&rows).filter_map(read).collect()
}

fn held(row: &Row, known: &Known, faults: &Faults) -> Option<Held> {
    let powder = row.one_of_optional(faults, "powder", known.powders)?;
    let bank = row.one_of_optional(faults, "bank", known.banks)?;
    match (powder, bank) {
        (Some(powder), None) => Some(Held::Powder(powder)),
        (None, Some(bank)) => Some(Held::Gas(bank)),
        _ => {
            row.fault_of_row(faults, "give 'powder' or 'bank', one of the two");
            None
        }
    }
}

fn assets(row: &Row, known: &Known, faults: &Faults) -> Option<BTreeSet<AssetCode>> {
    let assets = row.list::<AssetCode>(faults, "assets")?;
    if assets.is_empty() {
        row.fault(faults, "assets", "name the machines for which it is held");
        return None;
    }
    let named = assets.into_iter();
    let each = named.map(|asset| row.known(faults, "assets", known.assets, asset));
    each.collect()
}
