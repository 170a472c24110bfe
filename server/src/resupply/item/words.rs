//! Words for items.

use mendpost_core::resupply::{Consumed, Content, Dangerous, Item, Sheet};

use super::form::{Kind, SheetState};
use crate::form::plain_decimal;
use crate::page::whole;

/// Stands wherever an entry is written or shown.
pub const WARNS: &str = "The maker’s safety sheet decides the entry, and a trained shipper. Mendpost warns, and declares nothing.";

/// Words of each case, for a list to choose from.
pub struct Choices<T: 'static>(&'static [(T, &'static str)]);

pub const KINDS: Choices<Kind> = Choices(&[
    (Kind::Powder, "powder"),
    (Kind::Gas, "a full bottle"),
    (Kind::Fuel, "fuel for the set"),
    (Kind::Consumable, "used up by spraying and crew"),
    (Kind::Part, "a true part"),
    (Kind::Other, "something else"),
]);

pub const SHEETS: Choices<SheetState> = Choices(&[
    (SheetState::NotRead, "not read: loaded on nothing"),
    (SheetState::Free, "free: no dangerous good by its sheet"),
    (SheetState::Entry, "has an entry"),
]);

impl<T: Copy + PartialEq + ToString> Choices<T> {
    pub fn of(&self, case: T) -> &'static str {
        let found = self.0.iter().find(|(known, _)| *known == case);
        found.map_or("", |(_, words)| words)
    }

    pub fn options(&self) -> Vec<(String, String)> {
        let each = self.0.iter();
        each.map(|(case, words)| (case.to_string(), (*words).to_owned()))
            .collect()
    }
}

/// '5.4 kg (11.9 lb)'.
pub fn mass(grams: i64) -> String {
    format!(
        "{} kg ({} lb)",
        kg(grams),
        plain_decimal(lb_tenths(grams), 1)
    )
}

pub fn kg(grams: i64) -> String {
    let (kilograms, rest) = (grams.div_euclid(1000), grams.rem_euclid(1000));
    match plain_decimal(rest, 3).strip_prefix('0') {
        Some(decimals) => format!("{}{decimals}", whole(kilograms)),
        None => whole(kilograms),
    }
}

/// Tenths of a pound; one is 0.453 592 37 kg exactly (NIST Special Publication 811, appendix B, from memory).
fn lb_tenths(grams: i64) -> i64 {
    (grams * 1_000_000 + 22_679_618) / 45_359_237
}

/// What one unit is to the site.
pub fn content(content: &Content) -> String {
    match content {
        Content::Powder { powder, grams } => format!("{} g of powder {powder}", whole(*grams)),
        Content::Gas {
            bank,
            pressure_mbar,
        } => format!(
            "full bottle for bank {bank}, {} bar",
            plain_decimal(*pressure_mbar, 3)
        ),
        Content::Fuel { ml } => format!("{} l of fuel", plain_decimal(*ml, 3)),
        Content::Consumable(used) => format!("used up: {}", rates(used)),
        Content::Part(part) => format!("the true part {part}"),
        Content::Other => "something else".to_owned(),
    }
}

fn rates(used: &Consumed) -> String {
    let each = [
        (used.per_build_milli, "a build"),
        (used.per_hour_milli, "an hour of spraying"),
        (used.per_day_milli, "a day"),
    ];
    let told = each.into_iter().filter(|(milli, _)| *milli > 0);
    let told: Vec<String> = told
        .map(|(milli, of)| format!("{} {of}", plain_decimal(milli, 3)))
        .collect();
    told.join(", ")
}

/// Mark and word of where its sheet stands.
pub fn sheet_state(sheet: &Sheet) -> (&'static str, String) {
    match sheet {
        Sheet::NotRead => ("hold", "sheet not read".to_owned()),
        Sheet::Free { .. } => ("ready", "free".to_owned()),
        Sheet::Entry(entry) => ("waits", short(entry)),
    }
}

/// 'UN 3089, 4.1, III'.
pub fn short(entry: &Dangerous) -> String {
    let group = entry.group.map_or_else(String::new, |it| format!(", {it}"));
    format!("UN {}, {}{group}", entry.un, entry.class)
}

/// All that the sheet says, word and value.
pub fn sheet(item: &Item) -> Vec<(&'static str, String)> {
    match &item.sheet {
        Sheet::NotRead => vec![("Sheet", "not read: loaded on nothing".to_owned())],
        Sheet::Free { sheet } => vec![
            ("Sheet", sheet.clone()),
            ("Entry", "none: no dangerous good".to_owned()),
        ],
        Sheet::Entry(entry) => {
            let mut rows = vec![
                ("Sheet", entry.sheet.clone()),
                ("Entry", format!("{}, {}", short(entry), entry.name)),
                (
                    "The rules count",
                    format!(
                        "{} {} of one unit",
                        plain_decimal(entry.counted, 3),
                        counted_in(&entry.class)
                    ),
                ),
            ];
            if !entry.subsidiary.is_empty() {
                rows.insert(2, ("Subsidiary", entry.subsidiary.join(", ")));
            }
            rows
        }
    }
}

/// What of a class is counted.
pub fn counted_in(class: &str) -> &'static str {
    match class {
        "3" => "l",
        class if class.starts_with('2') => "l of water capacity",
        _ => "kg or l",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 5 400 g / 453.592 37 g = 11.905 lb; 453 592 g are 999.999 lb, to the tenth 1 000.
    #[test]
    fn a_mass_stands_in_pounds_beside() {
        assert_eq!(mass(5_400), "5.4 kg (11.9 lb)");
        assert_eq!(mass(453_592), "453.592 kg (1000 lb)");
        assert_eq!(mass(1_200_000), "1\u{202f}200 kg (2645.5 lb)");
    }
}
