//! A site as plain files: read, checked, and written into an empty database.
//!
//! `seed-data/README.md` tells what the files hold. They go through the parsers that the pages use;
//! every fault in them is told at once, and a site is written whole or not at all.

mod cell;
pub(crate) mod certificate;
mod data;
pub(crate) mod fault;
mod files;
pub(crate) mod guard;
mod interim;
mod keep_back;
pub(crate) mod need;
pub(crate) mod part;
pub(crate) mod powder;
pub(crate) mod recipe;
pub(crate) mod records;
mod request;
mod resupply;
pub(crate) mod row;
mod shape;
pub(crate) mod sheet;
mod site;
pub(crate) mod spray;
pub(crate) mod time;
mod tools;
mod weighed;
pub(crate) mod write;

pub use data::{
    AsItCame, Keeping, SeedAnswer, SeedContainer, SeedFeeder, SeedInterim, SeedLot, SeedPerson,
    SeedReading, SeedRequest, SeedWeighed, SiteData,
};
pub use fault::SeedFault;
pub use files::{SeedFiles, UnreadableSeed};
pub use resupply::SeedResupply;
pub use write::powder::{Whence, enter as enter_lot};
pub use write::write;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use fault::Faults;
use mendpost_core::situation::Cell;
use row::codes;
use time::Calendar;

/// The site that the files describe, seen from `now`: times such as `day+6 09:00` count from the day
/// that the site's clock shows then.
///
/// # Errors
/// Every fault found, by file and line.
pub fn read(files: &SeedFiles, now: DateTime<Utc>) -> Result<SiteData, Vec<SeedFault>> {
    let faults = Faults::default();
    files.check(&faults);
    let data = read_all(files, now, &faults);
    let faults = faults.into_sorted();
    match data {
        Some(data) if faults.is_empty() => Ok(data),
        _ => Err(faults),
    }
}

/// None only after a fault was noted.
fn read_all(files: &SeedFiles, now: DateTime<Utc>, faults: &Faults) -> Option<SiteData> {
    let rows = site::rows(files, faults);
    let zone = site::zone(&rows, faults);
    let calendar = Calendar {
        zone: zone.unwrap_or(Tz::UTC),
        now,
    };
    let site = site::site(&rows, zone, faults);
    let banks = site::banks(&rows, &calendar, faults);
    let compressor = site::compressor(&rows, faults);
    let fuel = site::fuel(&rows, &calendar, faults);
    let people = site::people(files, faults);

    let sheets = powder::Sheets::new(files, faults);
    let powders = sheets.powders(faults);
    let limits = sheets.limits(faults);
    let powder_codes = codes(&sheets.powders, "code", faults);
    let known = &powder_codes;
    let lots = sheets.lots(known, &calendar, faults);
    let deliveries = sheets.deliveries(known, &site::bank_codes(&rows, faults), &calendar, faults);

    let stations = cell::Sheets::new(files, faults);
    let duty = stations.duty(calendar.zone, now, faults);
    let cell = stations.cell(&rows, known, &calendar, faults);
    let feeder = stations.feeder(&rows, &lots, faults);
    let nozzle = site::nozzle(&rows, &calendar, faults);
    let station_list = stations.stations(&calendar, faults);

    let tools = tools::tools(files, &calendar, faults);
    let needs = need::Sheets::new(files, faults);
    let assets = needs.assets(&calendar, faults);
    let capabilities = needs.capabilities(&calendar, faults);

    let made = recipe::Sheets::new(files, faults);
    let metals = made.metals(faults);
    let kit = made.kit(faults);
    let parts = made.parts(&needs.codes(), faults);
    let shapes = shape::shapes(made.part_rows(), &parts, files, faults);
    let places = recipe::Places {
        stations: stations.codes(faults),
        kit: kit.iter().map(|kit| (kit.code.clone(), kit.kind)).collect(),
    };
    let recipes = made.recipes((known, &powders), &places, faults);
    let stages = weighed::Known {
        stages: made.stages(),
        lots: sheets.lot_powders(),
    };
    let weighed = weighed::weighed(files, &stages, &calendar, faults);

    let known = request::Known {
        assets: needs.codes(),
        parts: made.part_codes(),
        metals: made.metal_codes(),
        recipes: made.recipe_parts(),
        deliveries: sheets.arrivals(&deliveries),
    };
    let requests = request::requests(files, &known, &calendar, faults);
    let named = (&known.assets, &known.parts);
    let interims = interim::interims(files, named, &calendar, faults);
    let stored = keep_back::Known {
        powders: &powder_codes,
        banks: &site::bank_codes(&rows, faults),
        assets: &known.assets,
    };
    let keep_backs = keep_back::keep_backs(files, &stored, &calendar, faults);
    let named = crate::resupply::item::form::Known {
        powders: powder_codes.clone(),
        banks: site::bank_codes(&rows, faults),
        parts: known.parts.clone(),
        ..Default::default()
    };
    let resupply = resupply::resupply(files, named, &deliveries, &calendar, faults);
    Some(SiteData {
        site: site?,
        people,
        cell: Cell {
            feeder_g: feeder.as_ref().map(|fed| fed.mass.grams_on_hand()),
            ..cell?
        },
        nozzle: nozzle?,
        stations: station_list,
        duty,
        powders,
        limits,
        lots,
        feeder,
        banks,
        compressor: compressor?,
        fuel: fuel?,
        deliveries,
        assets,
        capabilities,
        metals,
        kit,
        tools,
        parts,
        shapes,
        recipes,
        weighed,
        requests,
        interims,
        keep_backs,
        resupply,
    })
}
