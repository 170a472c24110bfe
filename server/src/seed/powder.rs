//! Powders, lots with their containers, and deliveries.

use super::certificate;
use super::data::{AsItCame, SeedContainer, SeedLot};
use super::fault::Faults;
use super::files::SeedFiles;
use super::row::{Row, codes};
use super::sheet::Sheet;
use super::time::Calendar;
use crate::form::MOST_WEIGHED_MG;
use crate::powder::kind::METAL;
use chrono::{DateTime, Utc};
use mendpost_core::code::{BankCode, ContainerCode, DeliveryCode, LotCode, PowderCode};
use mendpost_core::powder::certificate::{Limits, Within};
use mendpost_core::powder::chemistry::Chemistry;
use mendpost_core::powder::{Lot, LotState, Powder, Solid};
use mendpost_core::quantity::Milligrams;
use mendpost_core::situation::{Brings, Delivery};
use mendpost_core::word_enum;
use std::collections::{BTreeMap, BTreeSet};

const POWDERS: Sheet = Sheet {
    file: "powders.csv",
    columns: &["code", "name"],
    optional: &[
        "density_kg_m3",
        "strength_mpa",
        "melting_c",
        "cp_j_kg_k",
        "size_um",
        "d10_min_um",
        "d50_min_um",
        "d50_max_um",
        "d90_max_um",
        "chemistry",
        "moisture_max_percent",
        "limits_reason",
    ],
    may_be_missing: false,
};

pub(crate) const LOTS: Sheet = Sheet {
    file: "lots.csv",
    columns: &["code", "powder", "state", "received", "use_by"],
    optional: &[
        "maker_lot",
        "note",
        "made_on",
        "date_kind",
        "storage",
        "humidity_min",
        "humidity_max",
        "maker",
        "certificate",
        "certificate_date",
        "certificate_lot",
        "specification",
        "revision",
        "d10_um",
        "d50_um",
        "d90_um",
        "chemistry",
        "statement",
        "flow_s",
        "moisture_percent",
    ],
    may_be_missing: false,
};

pub(crate) const CONTAINERS: Sheet = Sheet {
    file: "containers.csv",
    columns: &["code", "lot", "received_g", "used_g", "opened"],
    optional: &["seal", "seal_state", "gross_g", "tare_g", "damage"],
    may_be_missing: false,
};

const DELIVERIES: Sheet = Sheet {
    file: "deliveries.csv",
    columns: &["code", "name", "expected", "latest", "payload_kg"],
    optional: &[],
    may_be_missing: true,
};

const LINES: Sheet = Sheet {
    file: "delivery_lines.csv",
    columns: &[
        "delivery",
        "brings",
        "powder",
        "powder_g",
        "use_by",
        "bank",
        "bottles",
        "pressure_bar",
        "fuel_l",
        "what",
    ],
    optional: &[],
    may_be_missing: true,
};

word_enum! {
    /// What a line of a delivery brings.
    Kind {
        /// Powder of one lot.
        Powder = "powder",
        /// Full bottles.
        Gas = "gas",
        /// Fuel for the set.
        Fuel = "fuel",
        /// Anything else.
        Other = "other",
    }
}

/// All figures of the solid, or none of them.
fn solid(row: &Row, faults: &Faults) -> Option<Option<Solid>> {
    if METAL.iter().all(|f| row.given(f.name).is_none()) {
        return Some(None);
    }
    let figures = METAL.each_ref();
    let [density, strength, melting, cp, size] =
        figures.map(|f| row.number(faults, f.name, f.places, f.range()));
    Some(Some(Solid {
        density_kg_m3: density?,
        strength_mpa: strength?,
        melting_c: melting?,
        cp_j_kg_k: cp?,
        size_um: size?,
    }))
}

/// What a powder asks of certificates, with why so; none where the row says nothing of it or has a fault.
fn limits(row: &Row, faults: &Faults) -> Option<(Limits, String)> {
    let micrometres = |column| row.number_optional(faults, column, 3, 1..=1_000_000);
    let [d10, d50, d50_most, d90] =
        ["d10_min_um", "d50_min_um", "d50_max_um", "d90_max_um"].map(micrometres);
    let chemistry: Option<Option<Chemistry>> = row.parse_optional(faults, "chemistry");
    let moisture = row.number_optional(faults, "moisture_max_percent", 4, 0..=1_000_000);
    let reason = row.text_or_empty(faults, "limits_reason", 400);
    let from_to = |min, max| Within { min, max };
    let chemistry = chemistry?.unwrap_or_default().0;
    let mut elements: BTreeMap<_, _> = chemistry
        .into_iter()
        .map(|(element, stated)| (element, stated.within))
        .collect();
    elements.retain(|_, within| !within.is_open());
    let limits = Limits {
        sizes: [
            from_to(d10?, None),
            from_to(d50?, d50_most?),
            from_to(None, d90?),
        ],
        elements,
        flow_ms: Within::default(),
        moisture_ppm: from_to(None, moisture?),
    };
    let (says_nothing, reason) = (limits == Limits::default(), reason?);
    if reason.is_empty() != says_nothing {
        let told = match says_nothing {
            true => "no limit is given that it is the reason of; give one, or leave this empty",
            false => "say why the limits are so, as a specification or common practice",
        };
        row.fault(faults, "limits_reason", told);
        return None;
    }
    (!says_nothing).then_some((limits, reason))
}

/// The most that one container or line may hold, in milligrams: ten tonnes.
const MOST_MG: i64 = 10_000_000_000;

pub(super) struct Sheets {
    pub(super) powders: Vec<Row>,
    lots: Vec<Row>,
    containers: Vec<Row>,
    deliveries: Vec<Row>,
    lines: Vec<Row>,
}

impl Sheets {
    pub(super) fn new(files: &SeedFiles, faults: &Faults) -> Self {
        Self {
            powders: POWDERS.rows(files, faults),
            lots: LOTS.rows(files, faults),
            containers: CONTAINERS.rows(files, faults),
            deliveries: DELIVERIES.rows(files, faults),
            lines: LINES.rows(files, faults),
        }
    }

    pub(super) fn powders(&self, faults: &Faults) -> Vec<Powder> {
        let powder = |row: &Row| {
            let code = row.new_code(faults, "code");
            let name = row.text(faults, "name", 80);
            let solid = solid(row, faults);
            Some(Powder {
                code: code?,
                name: name?,
                solid: solid?,
            })
        };
        self.powders.iter().filter_map(powder).collect()
    }

    /// What powders ask of the certificates of their lots, each with why so.
    pub(super) fn limits(&self, faults: &Faults) -> BTreeMap<PowderCode, (Limits, String)> {
        let told = |row: &Row| {
            let code = row.given("code")?.parse().ok()?;
            Some((code, limits(row, faults)?))
        };
        self.powders.iter().filter_map(told).collect()
    }

    /// The powder of each lot; faulty rows are told elsewhere.
    pub(super) fn lot_powders(&self) -> BTreeMap<LotCode, Option<PowderCode>> {
        let powder = |row: &Row| {
            let code = row.given("code")?.parse().ok()?;
            Some((code, row.given("powder").and_then(|p| p.parse().ok())))
        };
        self.lots.iter().filter_map(powder).collect()
    }

    pub(super) fn lots(
        &self,
        powders: &BTreeSet<PowderCode>,
        calendar: &Calendar,
        faults: &Faults,
    ) -> Vec<SeedLot> {
        let known: BTreeSet<LotCode> = codes(&self.lots, "code", faults);
        let _: BTreeSet<LotCode> = codes(&self.containers, "code", faults);
        let mut within: BTreeMap<LotCode, Vec<SeedContainer>> = BTreeMap::new();
        for row in &self.containers {
            let lot = row.one_of(faults, "lot", &known);
            let container = container(row, calendar, faults);
            if let (Some(lot), Some(container)) = (lot, container) {
                within.entry(lot).or_default().push(container);
            }
        }
        self.lots
            .iter()
            .filter_map(|row| lot(row, powders, &mut within, calendar, faults))
            .collect()
    }

    pub(super) fn deliveries(
        &self,
        powders: &BTreeSet<PowderCode>,
        banks: &BTreeSet<BankCode>,
        calendar: &Calendar,
        faults: &Faults,
    ) -> Vec<Delivery> {
        let known: BTreeSet<DeliveryCode> = codes(&self.deliveries, "code", faults);
        let mut brought: BTreeMap<DeliveryCode, Vec<Brings>> = BTreeMap::new();
        for row in &self.lines {
            let delivery = row.one_of(faults, "delivery", &known);
            let brings = brings(row, powders, banks, calendar, faults);
            if let (Some(delivery), Some(brings)) = (delivery, brings) {
                brought.entry(delivery).or_default().push(brings);
            }
        }
        self.deliveries
            .iter()
            .filter_map(|row| delivery(row, &mut brought, calendar, faults))
            .collect()
    }

    /// When each delivery is expected.
    pub(super) fn arrivals(
        &self,
        deliveries: &[Delivery],
    ) -> BTreeMap<DeliveryCode, DateTime<Utc>> {
        deliveries
            .iter()
            .map(|d| (d.code.clone(), d.expected))
            .collect()
    }
}

pub(crate) fn container(row: &Row, calendar: &Calendar, faults: &Faults) -> Option<SeedContainer> {
    let code = row.parse::<ContainerCode>(faults, "code");
    let received = row.number(faults, "received_g", 3, 1..=MOST_MG);
    let used = row.number_optional(faults, "used_g", 3, 0..=MOST_MG);
    let opened_at = row.past_optional(faults, "opened", calendar);
    let as_it_came = as_it_came(row, faults);
    let (received, used, opened_at) = (received?, used?.unwrap_or(0), opened_at?);
    if used > received {
        row.fault(faults, "used_g", "more than was received");
        return None;
    }
    if used > 0 && opened_at.is_none() {
        row.fault(
            faults,
            "opened",
            "nothing is given, but something was used; say when it was opened",
        );
        return None;
    }
    Some(SeedContainer {
        code: code?,
        received: Milligrams(received),
        used: Milligrams(used),
        opened_at,
        as_it_came: as_it_came?,
    })
}

fn as_it_came(row: &Row, faults: &Faults) -> Option<AsItCame> {
    let seal = row.text_or_empty(faults, "seal", 40);
    let seal_state = row.parse_optional(faults, "seal_state");
    let mass = |column| row.number_optional(faults, column, 3, 1..=MOST_WEIGHED_MG);
    let (gross, tare) = (mass("gross_g"), mass("tare_g"));
    let damage = row.text_or_empty(faults, "damage", 200);
    Some(AsItCame {
        seal: seal?,
        seal_state: seal_state?,
        gross: gross?.map(Milligrams),
        tare: tare?.map(Milligrams),
        damage: damage?,
    })
}

pub(crate) fn lot(
    row: &Row,
    powders: &BTreeSet<PowderCode>,
    within: &mut BTreeMap<LotCode, Vec<SeedContainer>>,
    calendar: &Calendar,
    faults: &Faults,
) -> Option<SeedLot> {
    let code = row.new_label::<LotCode>(faults, "code");
    let powder = row.one_of(faults, "powder", powders);
    let state = row.parse(faults, "state");
    let state_note = row.text_or_empty(faults, "note", 200);
    let maker_lot = row.text_or_empty(faults, "maker_lot", 80);
    let received_at = row.past(faults, "received", calendar);
    let use_by = row.moment_optional(faults, "use_by", calendar);
    let keeping = certificate::keeping(row, calendar, faults);
    let certificate = certificate::read(row, calendar, faults);
    let code = code?;
    let containers = within.remove(&code).unwrap_or_default();
    let on_hand: Milligrams = containers
        .iter()
        .map(|c| Milligrams(c.received.0 - c.used.0))
        .sum();
    if (state == Some(LotState::Empty)) != (on_hand.0 == 0) {
        let grams = on_hand.grams_on_hand();
        let what =
            format!("containers.csv holds {grams} g of it; a lot is empty when none is left");
        row.fault(faults, "state", what);
    }
    Some(SeedLot {
        lot: Lot {
            powder: powder?,
            state: state?,
            state_note: state_note?,
            on_hand,
            use_by: use_by?,
            opened: containers.iter().any(|c| c.opened_at.is_some()),
            code,
        },
        maker_lot: maker_lot?,
        received_at: received_at?,
        keeping: keeping?,
        certificate: certificate?,
        containers,
    })
}

fn delivery(
    row: &Row,
    brought: &mut BTreeMap<DeliveryCode, Vec<Brings>>,
    calendar: &Calendar,
    faults: &Faults,
) -> Option<Delivery> {
    let code = row.parse::<DeliveryCode>(faults, "code");
    let name = row.text(faults, "name", 80);
    let expected = row.moment(faults, "expected", calendar);
    let latest = row.moment_optional(faults, "latest", calendar);
    let payload_kg = row.number_optional(faults, "payload_kg", 0, 1..=10_000_000);
    let (code, expected, latest) = (code?, expected?, latest?);
    if latest.is_some_and(|latest| latest < expected) {
        row.fault(faults, "latest", "before 'expected'");
    }
    Some(Delivery {
        name: name?,
        expected,
        latest,
        payload_kg: payload_kg?,
        brings: brought.remove(&code).unwrap_or_default(),
        code,
    })
}

fn brings(
    row: &Row,
    powders: &BTreeSet<PowderCode>,
    banks: &BTreeSet<BankCode>,
    calendar: &Calendar,
    faults: &Faults,
) -> Option<Brings> {
    let kind = row.parse::<Kind>(faults, "brings")?;
    let own: &[&str] = match kind {
        Kind::Powder => &["powder", "powder_g", "use_by"],
        Kind::Gas => &["bank", "bottles", "pressure_bar"],
        Kind::Fuel => &["fuel_l"],
        Kind::Other => &["what"],
    };
    let all = &LINES.columns[2..];
    for column in all.iter().filter(|c| !own.contains(c)) {
        if row.given(column).is_some() {
            row.fault(faults, column, format!("not for '{kind}'; leave it empty"));
        }
    }
    match kind {
        Kind::Powder => {
            let powder = row.one_of(faults, "powder", powders);
            let grams = row.number(faults, "powder_g", 0, 1..=MOST_MG / 1000);
            let use_by = row.moment_optional(faults, "use_by", calendar);
            Some(Brings::Powder {
                powder: powder?,
                grams: grams?,
                use_by: use_by?,
            })
        }
        Kind::Gas => {
            let bank = row.one_of(faults, "bank", banks);
            let bottles = row.number(faults, "bottles", 0, 1..=1000);
            let pressure_mbar = row.number(faults, "pressure_bar", 3, 1000..=1_000_000);
            Some(Brings::Gas {
                bank: bank?,
                bottles: bottles?,
                pressure_mbar: pressure_mbar?,
            })
        }
        Kind::Fuel => {
            let ml = row.number(faults, "fuel_l", 3, 1..=1_000_000_000)?;
            Some(Brings::Fuel { ml })
        }
        Kind::Other => {
            let what = row.text(faults, "what", 200)?;
            Some(Brings::Other { what })
        }
    }
}
