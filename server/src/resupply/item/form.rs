//! What is said of an item, as a page asks for it and a row of a sheet has it.

use std::collections::BTreeSet;

use mendpost_core::code::{BankCode, ItemCode, PartCode, PowderCode};
use mendpost_core::resupply::{Consumed, Content, Dangerous, Item, PackingGroup, Sheet};
use mendpost_core::word_enum;

use super::words::{KINDS, SHEETS};
use crate::figures::Figure;
use crate::form::section::Fields;
use crate::resupply::form::{Group, Shown, Typed, figure, typed, yes_or_no};

word_enum! {
    /// What one unit is to the site.
    Kind {
        /// Powder of one lot.
        Powder = "powder",
        /// A full bottle.
        Gas = "gas",
        /// For the set.
        Fuel = "fuel",
        /// Used up by spraying and crew.
        Consumable = "consumable",
        /// A true part.
        Part = "part",
        /// Anything else.
        Other = "other",
    }
}

word_enum! {
    /// What is known of the safety sheet.
    SheetState {
        /// Nobody has read it.
        NotRead = "not-read",
        /// No dangerous good.
        Free = "free",
        /// It has an entry.
        Entry = "entry",
    }
}

/// The columns of a sheet of items, and the fields of their page.
pub const COLUMNS: [&str; 29] = [
    "code",
    "name",
    "unit",
    "content",
    "powder",
    "powder_g",
    "bank",
    "pressure_bar",
    "fuel_l",
    "part",
    "per_build",
    "per_hour",
    "per_day",
    "net_kg",
    "gross_kg",
    "x_mm",
    "y_mm",
    "z_mm",
    "stackable",
    "sheet_state",
    "sheet",
    "un",
    "proper_name",
    "class",
    "subsidiary",
    "packing_group",
    "rules_count",
    "depot",
    "substitutes",
];

const POWDER: Figure = figure(
    "powder_g",
    "Powder in it",
    "g",
    "of one lot",
    (0, 1, 1_000_000),
);
const PRESSURE: Figure = figure(
    "pressure_bar",
    "Filled to",
    "bar",
    "absolute",
    (3, 1_000, 1_000_000),
);
const FUEL: Figure = figure("fuel_l", "Fuel in it", "l", "", (3, 1, 1_000_000));
const BUILD: Figure = used("per_build", "For each build", "units");
const HOUR: Figure = used("per_hour", "For each hour of spraying", "units");
const DAY: Figure = used("per_day", "For each day", "units");
const NET: Figure = mass("net_kg", "Net mass", "without what it is packed in");
const GROSS: Figure = mass("gross_kg", "Gross mass", "what is lifted and carried");
const X: Figure = side("x_mm", "Length");
const Y: Figure = side("y_mm", "Width");
const Z: Figure = side("z_mm", "Height");
const UN: Figure = figure(
    "un",
    "UN number",
    "UN",
    "as the sheet has it: 3089",
    (0, 1, 9_999),
);
const COUNTS: Figure = figure(
    "rules_count",
    "The rules count of one unit",
    "kg or l",
    "net kilograms; of a liquid litres; of a compressed gas the litres of water that the bottle holds",
    (3, 1, 20_000_000),
);
const DEPOT: Figure = figure(
    "depot",
    "The depot has",
    "units",
    "leave it empty if nobody said",
    (0, 0, 1_000_000),
);

/// All that are figures.
pub const FIGURES: [Figure; 14] = [
    POWDER, PRESSURE, FUEL, BUILD, HOUR, DAY, NET, GROSS, X, Y, Z, UN, COUNTS, DEPOT,
];

const fn used(name: &'static str, label: &'static str, unit: &'static str) -> Figure {
    figure(name, label, unit, "nought if empty", (3, 0, 1_000_000))
}

const fn mass(name: &'static str, label: &'static str, hint: &'static str) -> Figure {
    figure(name, label, "kg", hint, (3, 1, 20_000_000))
}

const fn side(name: &'static str, label: &'static str) -> Figure {
    figure(name, label, "mm", "of one unit", (0, 1, 20_000))
}

/// What an item may name.
#[derive(Default)]
pub struct Known {
    pub powders: BTreeSet<PowderCode>,
    pub banks: BTreeSet<BankCode>,
    pub parts: BTreeSet<PartCode>,
    pub items: BTreeSet<ItemCode>,
}

/// What is said of the item of this code.
pub fn parse(code: ItemCode, it: &mut Typed, known: &Known) -> Option<Item> {
    let name = it.text("name", 80);
    let unit = it.text("unit", 40);
    let content = content(it, known);
    let (net, gross) = (it.figure(&NET), it.figure(&GROSS));
    let size = [it.figure(&X), it.figure(&Y), it.figure(&Z)];
    let stackable = it.yes("stackable");
    let sheet = sheet(it);
    let depot = it.figure_if(&DEPOT);
    let substitutes = it.some_of("substitutes", &known.items);
    let (net_g, gross_g) = (net?, gross?);
    if gross_g < net_g {
        it.fault("gross_kg", "less than the net mass; give both");
        return None;
    }
    let substitutes = substitutes?;
    if substitutes.contains(&code) {
        it.fault("substitutes", "it is no substitute for itself");
        return None;
    }
    let [Some(x), Some(y), Some(z)] = size else {
        return None;
    };
    Some(Item {
        code,
        name: name?,
        unit: unit?,
        content: content?,
        net_g,
        gross_g,
        size_mm: [x, y, z],
        stackable: stackable?,
        sheet: sheet?,
        depot: depot?,
        substitutes,
    })
}

fn content(it: &mut Typed, known: &Known) -> Option<Content> {
    let kind: Kind = it.word("content")?;
    let own: &[&str] = match kind {
        Kind::Powder => &["powder", "powder_g"],
        Kind::Gas => &["bank", "pressure_bar"],
        Kind::Fuel => &["fuel_l"],
        Kind::Consumable => &["per_build", "per_hour", "per_day"],
        Kind::Part => &["part"],
        Kind::Other => &[],
    };
    let others: Vec<&str> = COLUMNS[4..13]
        .iter()
        .copied()
        .filter(|name| !own.contains(name))
        .collect();
    it.leave_empty(&others, &format!("one unit is {}", KINDS.of(kind)));
    Some(match kind {
        Kind::Powder => {
            let (powder, grams) = (it.one_of("powder", &known.powders), it.figure(&POWDER));
            Content::Powder {
                powder: powder?,
                grams: grams?,
            }
        }
        Kind::Gas => {
            let (bank, pressure) = (it.one_of("bank", &known.banks), it.figure(&PRESSURE));
            Content::Gas {
                bank: bank?,
                pressure_mbar: pressure?,
            }
        }
        Kind::Fuel => Content::Fuel {
            ml: it.figure(&FUEL)?,
        },
        Kind::Consumable => Content::Consumable(consumed(it)?),
        Kind::Part => Content::Part(it.one_of("part", &known.parts)?),
        Kind::Other => Content::Other,
    })
}

fn consumed(it: &mut Typed) -> Option<Consumed> {
    let [build, hour, day] = [BUILD, HOUR, DAY].map(|of| it.figure_if(&of));
    let used = Consumed {
        per_build_milli: build?.unwrap_or(0),
        per_hour_milli: hour?.unwrap_or(0),
        per_day_milli: day?.unwrap_or(0),
        ..Consumed::default()
    };
    if used == Consumed::default() {
        it.fault(
            "per_build",
            "say how fast it is used: for each build, hour of spraying or day",
        );
        return None;
    }
    Some(used)
}

const OF_ENTRY: [&str; 6] = [
    "un",
    "proper_name",
    "class",
    "subsidiary",
    "packing_group",
    "rules_count",
];

fn sheet(it: &mut Typed) -> Option<Sheet> {
    let state: SheetState = it.word("sheet_state")?;
    if state != SheetState::Entry {
        it.leave_empty(&OF_ENTRY, "only an entry has it");
    }
    match state {
        SheetState::NotRead => {
            it.leave_empty(&["sheet"], "nobody has read a sheet");
            Some(Sheet::NotRead)
        }
        SheetState::Free => Some(Sheet::Free {
            sheet: it.text("sheet", 200)?,
        }),
        SheetState::Entry => {
            let sheet = it.text("sheet", 200);
            let un = it.figure(&UN);
            let name = it.text("proper_name", 200);
            let class = it.class("class");
            let subsidiary = it.classes("subsidiary");
            let group = it.word_if("packing_group");
            let counted = it.figure(&COUNTS);
            Some(Sheet::Entry(Dangerous {
                un: un?,
                name: name?,
                class: class?,
                subsidiary: subsidiary?,
                group: group?,
                counted: counted?,
                sheet: sheet?,
            }))
        }
    }
}

/// What stands, as it would be typed.
pub fn fields(item: &Item) -> Fields {
    let mut fields: Vec<(String, String)> = vec![
        typed(&NET, item.net_g),
        typed(&GROSS, item.gross_g),
        typed(&X, item.size_mm[0]),
        typed(&Y, item.size_mm[1]),
        typed(&Z, item.size_mm[2]),
    ];
    fields.extend(item.depot.map(|units| typed(&DEPOT, units)));
    let mut text = |name: &str, value: &str| fields.push((name.to_owned(), value.to_owned()));
    text("name", &item.name);
    text("unit", &item.unit);
    text("stackable", yes_or_no(item.stackable));
    let substitutes: Vec<&str> = item.substitutes.iter().map(ItemCode::as_str).collect();
    text("substitutes", &substitutes.join(" "));
    text("content", Kind::of(&item.content).as_str());
    text("sheet_state", SheetState::of(&item.sheet).as_str());
    match &item.sheet {
        Sheet::NotRead => {}
        Sheet::Free { sheet } => text("sheet", sheet),
        Sheet::Entry(entry) => {
            text("sheet", &entry.sheet);
            text("proper_name", &entry.name);
            text("class", &entry.class);
            text("subsidiary", &entry.subsidiary.join(" "));
            text(
                "packing_group",
                entry.group.map_or("", PackingGroup::as_str),
            );
            fields.push(typed(&UN, entry.un));
            fields.push(typed(&COUNTS, entry.counted));
        }
    }
    match &item.content {
        Content::Powder { powder, grams } => {
            fields.push(("powder".to_owned(), powder.to_string()));
            fields.push(typed(&POWDER, *grams));
        }
        Content::Gas {
            bank,
            pressure_mbar,
        } => {
            fields.push(("bank".to_owned(), bank.to_string()));
            fields.push(typed(&PRESSURE, *pressure_mbar));
        }
        Content::Fuel { ml } => fields.push(typed(&FUEL, *ml)),
        Content::Consumable(used) => {
            fields.push(typed(&BUILD, used.per_build_milli));
            fields.push(typed(&HOUR, used.per_hour_milli));
            fields.push(typed(&DAY, used.per_day_milli));
        }
        Content::Part(part) => fields.push(("part".to_owned(), part.to_string())),
        Content::Other => {}
    }
    fields.into_iter().collect()
}

impl Kind {
    pub const fn of(content: &Content) -> Kind {
        match content {
            Content::Powder { .. } => Kind::Powder,
            Content::Gas { .. } => Kind::Gas,
            Content::Fuel { .. } => Kind::Fuel,
            Content::Consumable(_) => Kind::Consumable,
            Content::Part(_) => Kind::Part,
            Content::Other => Kind::Other,
        }
    }
}

impl SheetState {
    pub const fn of(sheet: &Sheet) -> SheetState {
        match sheet {
            Sheet::NotRead => SheetState::NotRead,
            Sheet::Free { .. } => SheetState::Free,
            Sheet::Entry(_) => SheetState::Entry,
        }
    }
}

/// The fields of the page; the code is asked for once.
pub fn groups(fields: &Fields, is_new: bool, known: &Known) -> Vec<Group> {
    let it = Shown(fields);
    let codes = |all: Vec<String>| all.into_iter().map(|code| (code.clone(), code)).collect();
    let mut name = Vec::new();
    if is_new {
        name.push(it.text("code", "Stock number", "as the depot knows it"));
    }
    name.push(it.text("name", "Name", "as the crew calls it"));
    name.push(it.text("unit", "Unit of issue", "what comes as one piece: can 5 kg"));
    let strings = |all: &BTreeSet<PowderCode>| all.iter().map(ToString::to_string).collect();
    let powders: Vec<String> = strings(&known.powders);
    let banks = known.banks.iter().map(ToString::to_string).collect();
    let parts = known.parts.iter().map(ToString::to_string).collect();
    let groups = PackingGroup::ALL.iter().map(ToString::to_string).collect();
    vec![
        Group {
            heading: "",
            words: "",
            fields: name,
        },
        Group {
            heading: "What one unit is to the site",
            words: "Fill in what belongs to it, and nothing else.",
            fields: vec![
                it.choose("content", "One unit is", KINDS.options(), ""),
                it.choose("powder", "Which powder", codes(powders), ""),
                it.figure(&POWDER),
                it.choose("bank", "For which bank", codes(banks), ""),
                it.figure(&PRESSURE),
                it.figure(&FUEL),
                it.choose("part", "Which part", codes(parts), ""),
                it.figure(&BUILD),
                it.figure(&HOUR),
                it.figure(&DAY),
            ],
        },
        Group {
            heading: "Mass and size of one unit",
            words: "As packed.",
            fields: vec![
                it.figure(&NET),
                it.figure(&GROSS),
                it.figure(&X),
                it.figure(&Y),
                it.figure(&Z),
                it.yes("stackable", "Others may stand on it", ""),
            ],
        },
        Group {
            heading: "The maker’s safety sheet",
            words: super::words::WARNS,
            fields: vec![
                it.choose("sheet_state", "The sheet", SHEETS.options(), ""),
                it.text(
                    "sheet",
                    "Which sheet",
                    "its maker and date; or why it has none",
                ),
                it.figure(&UN),
                it.text(
                    "proper_name",
                    "Proper shipping name",
                    "as section 14 has it",
                ),
                it.text("class", "Class", "as 4.1 or 2.2"),
                it.text("subsidiary", "Subsidiary classes", "with blanks between"),
                it.choose(
                    "packing_group",
                    "Packing group",
                    codes(groups),
                    "if it has one",
                ),
                it.figure(&COUNTS),
            ],
        },
        Group {
            heading: "At the depot",
            words: "",
            fields: vec![
                it.figure(&DEPOT),
                it.text(
                    "substitutes",
                    "What may be sent instead",
                    "stock numbers, the best first, with blanks between",
                ),
            ],
        },
    ]
}
