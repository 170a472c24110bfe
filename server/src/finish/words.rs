//! Words for what stops a release.

use mendpost_core::catalogue::Recipe;
use mendpost_core::finish::{Condition, Finding, Property, Stop};

/// What stops it, and what to do.
pub fn stop(recipe: &Recipe, stop: &Stop) -> String {
    let name_of = |position: &usize| {
        let operation = recipe.operations.get(position - 1);
        operation.map_or_else(String::new, |operation| operation.name.clone())
    };
    match stop {
        Stop::Hold { number } => format!("it is on hold: judge hold {number}"),
        Stop::SizeMissing { name } => {
            format!("size sheet, {name} is not measured; send the part back to be measured")
        }
        Stop::SizeOut { name, finding } => {
            let by = match finding {
                Finding::Within => String::new(),
                Finding::Under(by) => format!(", {by} under its limits"),
                Finding::Over(by) => format!(", {by} over its limits"),
            };
            format!("size sheet, {name}{by}; have it judged, or send the part back")
        }
        Stop::CouponMissing { expected } => format!(
            "coupons, none was tested for {} {}, expected {}; enter its result",
            property(expected.property),
            condition(expected.condition),
            expected.limits()
        ),
        Stop::CouponMissed { expected, found } => format!(
            "coupons, {} {} {}, expected {}; have it judged",
            property(expected.property),
            condition(expected.condition),
            found.with_unit(),
            expected.limits()
        ),
        Stop::CrackCheckMissing { position } => format!(
            "crack check, nothing is on record of '{}'; send the part back to it",
            name_of(position)
        ),
        Stop::CrackFound { position } => format!(
            "crack check, cracks at '{}'; have them judged, or send the part back",
            name_of(position)
        ),
        Stop::SoakMissing { position } => format!(
            "furnace, no load is on record of '{}'; send the part back to it",
            name_of(position)
        ),
        Stop::SoakVoid { load } => {
            format!("furnace, the soak of load F{load} is void; have it judged, or heat it again")
        }
    }
}

pub const fn property(property: Property) -> &'static str {
    match property {
        Property::Strength => "bond strength",
        Property::Hardness => "hardness",
        Property::Density => "density",
        Property::Porosity => "porosity",
    }
}

pub const fn condition(condition: Condition) -> &'static str {
    match condition {
        Condition::AsSprayed => "as sprayed",
        Condition::HeatTreated => "heat treated",
    }
}
