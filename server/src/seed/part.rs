//! Parts of the catalogue.

use super::fault::Faults;
use super::row::Row;
use super::sheet::Sheet;
use mendpost_core::catalogue::{Flag, Part};
use mendpost_core::code::AssetCode;
use std::collections::BTreeSet;

pub(crate) const PARTS: Sheet = Sheet {
    file: "parts.csv",
    columns: &["code", "name", "x_mm", "y_mm", "z_mm", "mass_g", "flags"],
    optional: &["assets", "allowance_mm"],
    may_be_missing: false,
};

/// The same beside STL files, which a sheet alone cannot bring.
pub(super) const PARTS_WITH_SHAPES: Sheet = Sheet {
    optional: &["assets", "allowance_mm", "shape", "shape_unit"],
    ..PARTS
};

pub(crate) fn part(row: &Row, assets: &BTreeSet<AssetCode>, faults: &Faults) -> Option<Part> {
    let code = row.new_code(faults, "code");
    let name = row.text(faults, "name", 80);
    let side = |column| row.number(faults, column, 0, 1..=100_000);
    let envelope = [side("x_mm"), side("y_mm"), side("z_mm")];
    let mass_g = row.number(faults, "mass_g", 0, 1..=100_000_000);
    let flags = row.list::<Flag>(faults, "flags");
    let fits = row.list::<AssetCode>(faults, "assets");
    let fits = fits.and_then(|codes| {
        let known = |code| row.known(faults, "assets", assets, code);
        codes
            .into_iter()
            .map(known)
            .collect::<Option<BTreeSet<_>>>()
    });
    let allowance_um = row.number_optional(faults, "allowance_mm", 3, 0..=50_000);
    Some(Part {
        code: code?,
        name: name?,
        envelope_mm: [envelope[0]?, envelope[1]?, envelope[2]?],
        mass_g: mass_g?,
        flags: flags?.into_iter().collect(),
        assets: fits?,
        allowance_um: allowance_um?.unwrap_or(0),
        retired: false,
    })
}
