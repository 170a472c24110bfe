//! What each stage sprays.

use super::fault::Faults;
use super::row::Row;
use super::sheet::Sheet;
use mendpost_core::catalogue::{Motion, Spray, Volume};
use mendpost_core::code::PowderCode;
use mendpost_core::powder::Powder;
use std::collections::BTreeSet;

pub(crate) const SHEET: Sheet = Sheet {
    file: "sprays.csv",
    columns: &[
        "recipe",
        "revision",
        "position",
        "powder",
        "deposited_g",
        "one_lot",
        "gas",
        "pressure_bar",
        "temperature_c",
        "feed_g_per_min",
        "efficiency_permille",
        "efficiency_sd_permille",
        "start_stop_loss_g",
        "coupon_g",
        "handling_min",
        "gas_only_min",
    ],
    optional: &[
        "approval_builds",
        "volume_cm3",
        "porosity_permille",
        "nozzle",
        "standoff_mm",
        "traverse_mm_s",
        "spacing_mm",
        "preheat_c",
        "passes",
    ],
    may_be_missing: false,
};

/// Coupons or builds that an approval rests on where nothing is told.
const APPROVAL_BUILDS: i64 = 4;

/// What must stick: as told, or the volume told, less its pores, of the powder's metal.
fn deposited_g(
    row: &Row,
    powder: Option<&PowderCode>,
    powders: &[Powder],
    faults: &Faults,
) -> Option<(i64, Option<Volume>)> {
    let volume = row.number_optional(faults, "volume_cm3", 3, 1..=1_000_000_000);
    let porosity = row.number_optional(faults, "porosity_permille", 0, 0..=500);
    let Some(volume) = volume? else {
        let told = row.number(faults, "deposited_g", 0, 1..=1_000_000);
        return told.map(|grams| (grams, None));
    };
    if row.given("deposited_g").is_some() {
        let what = "given beside 'volume_cm3'; give the one or the other";
        row.fault(faults, "deposited_g", what);
        return None;
    }
    let solid = powders.iter().find(|p| Some(&p.code) == powder)?.solid;
    let Some(solid) = solid else {
        let what =
            "powders.csv does not tell the density of this powder; tell it, or give 'deposited_g'";
        row.fault(faults, "volume_cm3", what);
        return None;
    };
    let volume = Volume {
        mm3: volume,
        porosity_permille: porosity?.unwrap_or(0),
    };
    volume
        .grams(solid.density_kg_m3)
        .map_err(|error| row.fault(faults, "volume_cm3", error))
        .ok()
        .map(|grams| (grams, Some(volume)))
}

pub(super) fn spray(
    row: &Row,
    known: &BTreeSet<PowderCode>,
    powders: &[Powder],
    faults: &Faults,
) -> Option<Spray> {
    let number = |column, allowed| row.number(faults, column, 0, allowed);
    let powder = row.one_of(faults, "powder", known);
    let deposited = deposited_g(row, powder.as_ref(), powders, faults);
    let one_lot = row.yes_or_no(faults, "one_lot");
    let gas = row.parse(faults, "gas");
    let pressure_mbar = row.number(faults, "pressure_bar", 3, 1000..=100_000);
    let temperature_c = number("temperature_c", 20..=1200);
    let feed_g_per_min = number("feed_g_per_min", 1..=1000);
    let efficiency_permille = number("efficiency_permille", 10..=1000);
    let efficiency_sd_permille = number("efficiency_sd_permille", 0..=500);
    let approval_builds = row.number_optional(faults, "approval_builds", 0, 1..=1000);
    let start_stop_loss_g = number("start_stop_loss_g", 0..=1_000_000);
    let coupon_g = number("coupon_g", 0..=1_000_000);
    let handling_min = number("handling_min", 0..=1440);
    let gas_only_min = number("gas_only_min", 0..=1440);
    if handling_min.zip(gas_only_min).is_some_and(|(h, g)| g > h) {
        row.fault(
            faults,
            "gas_only_min",
            "more than handling_min, of which it is a part",
        );
    }
    let motion = motion(row, faults);
    let (deposited_g, volume) = deposited?;
    Some(Spray {
        powder: powder?,
        deposited_g,
        volume,
        one_lot: one_lot?,
        gas: gas?,
        pressure_mbar: pressure_mbar?,
        temperature_c: temperature_c?,
        feed_g_per_min: feed_g_per_min?,
        efficiency_permille: efficiency_permille?,
        efficiency_sd_permille: efficiency_sd_permille?,
        approval_builds: approval_builds?.unwrap_or(APPROVAL_BUILDS),
        start_stop_loss_g: start_stop_loss_g?,
        coupon_g: coupon_g?,
        handling_min: handling_min?,
        gas_only_min: gas_only_min?,
        motion: motion?,
        weighed: Vec::new(),
        timed: Vec::new(),
    })
}

fn motion(row: &Row, faults: &Faults) -> Option<Motion> {
    let number = |column, places, allowed| row.number_optional(faults, column, places, allowed);
    let nozzle = row.text_or_empty(faults, "nozzle", 80);
    let standoff_um = number("standoff_mm", 3, 1000..=500_000);
    let traverse_mm_s = number("traverse_mm_s", 0, 1..=5000);
    let spacing_um = number("spacing_mm", 3, 10..=50_000);
    let preheat_c = number("preheat_c", 0, 20..=900);
    let passes = number("passes", 0, 1..=100_000);
    Some(Motion {
        nozzle: nozzle?,
        standoff_um: standoff_um?,
        traverse_mm_s: traverse_mm_s?,
        spacing_um: spacing_um?,
        preheat_c: preheat_c?,
        passes: passes?,
    })
}
