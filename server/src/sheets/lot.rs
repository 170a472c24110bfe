//! Lots with their containers: new ones come in and wait for their release; what is in the book is moved
//! by movements only, and a row that says otherwise is told.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, Utc};
use mendpost_core::code::{LotCode, PowderCode};
use mendpost_core::powder::certificate::Within;
use mendpost_core::powder::{Lot, LotState, Seal};
use mendpost_core::quantity::Milligrams;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::cell::Cell;
use super::comparison::{Entry, Fate, Listed, Reader};
use crate::certificate::store as certificate;
use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;
use crate::page::grams_exact;
use crate::seed::powder::{CONTAINERS, LOTS, container, lot};
use crate::seed::row::{Row, codes};
use crate::seed::write::Ids;
use crate::seed::write::powder::{Whence, enter};
use crate::seed::{AsItCame, Keeping, SeedContainer, SeedLot};
use crate::situation::moment;

impl Listed for SeedLot {
    fn cell(&self, column: &str) -> Cell {
        match column {
            "code" => Cell::text(&self.lot.code),
            "powder" => Cell::text(&self.lot.powder),
            "state" => Cell::text(&self.lot.state),
            "received" => Cell::Moment(Some(self.received_at)),
            "use_by" => Cell::Moment(self.lot.use_by),
            "maker_lot" => Cell::text(&self.maker_lot),
            "note" => Cell::text(&self.lot.state_note),
            "made_on" => date(self.keeping.made_on),
            "date_kind" => Cell::text(&self.keeping.date_kind),
            "storage" => Cell::text(&self.keeping.storage),
            "humidity_min" => Cell::number(self.keeping.humidity.min, 0),
            "humidity_max" => Cell::number(self.keeping.humidity.max, 0),
            column => of_certificate(self, column),
        }
    }
}

fn date(date: Option<NaiveDate>) -> Cell {
    Cell::Text(date.map(|date| date.to_string()).unwrap_or_default())
}

fn of_certificate(lot: &SeedLot, column: &str) -> Cell {
    let Some(it) = &lot.certificate else {
        return Cell::text("");
    };
    match column {
        "maker" => Cell::text(&it.maker),
        "certificate" => Cell::text(&it.number),
        "certificate_date" => date(it.dated),
        "certificate_lot" if it.maker_lot == lot.maker_lot => Cell::text(""),
        "certificate_lot" => Cell::text(&it.maker_lot),
        "specification" => Cell::text(&it.specification),
        "revision" => Cell::text(&it.revision),
        "d10_um" => Cell::number(it.sizes[0], 3),
        "d50_um" => Cell::number(it.sizes[1], 3),
        "d90_um" => Cell::number(it.sizes[2], 3),
        "chemistry" => Cell::text(&it.chemistry),
        "statement" => Cell::text(&it.statement),
        "flow_s" => Cell::number(it.flow_ms, 3),
        "moisture_percent" => Cell::number(it.moisture_ppm, 4),
        _ => Cell::text(""),
    }
}

/// A container with the lot that it is of.
#[derive(Clone)]
pub struct OfLot<'a> {
    pub lot: &'a LotCode,
    pub container: &'a SeedContainer,
}

impl Listed for OfLot<'_> {
    fn cell(&self, column: &str) -> Cell {
        let grams = |mass: Milligrams| Cell::Number {
            value: mass.0,
            places: 3,
        };
        match column {
            "code" => Cell::text(&self.container.code),
            "lot" => Cell::text(self.lot),
            "received_g" => grams(self.container.received),
            "used_g" => grams(self.container.used),
            "opened" => Cell::Moment(self.container.opened_at),
            column => as_it_came(&self.container.as_it_came, column),
        }
    }
}

fn as_it_came(it: &AsItCame, column: &str) -> Cell {
    match column {
        "seal" => Cell::text(&it.seal),
        "seal_state" => Cell::text(it.seal_state.map_or("", Seal::as_str)),
        "gross_g" => Cell::number(it.gross.map(|mass| mass.0), 3),
        "tare_g" => Cell::number(it.tare.map(|mass| mass.0), 3),
        "damage" => Cell::text(&it.damage),
        _ => Cell::text(""),
    }
}

/// The containers of these lots, each with its lot.
pub fn containers_of<'a>(
    lots: impl IntoIterator<Item = &'a SeedLot>,
) -> impl Iterator<Item = OfLot<'a>> {
    lots.into_iter().flat_map(|of| {
        let lot = &of.lot.code;
        let containers = of.containers.iter();
        containers.map(move |container| OfLot { lot, container })
    })
}

/// Every lot that is in the book, also the empty ones, with what its containers brought and what has left
/// them since.
pub async fn stored(connection: &mut SqliteConnection) -> Result<Vec<SeedLot>, sqlx::Error> {
    let mut within = containers(connection).await?;
    let mut certificates = certificate::all(connection).await?;
    sqlx::query!(
        r#"select l.id as "id: Uuid", l.code, p.code as powder, l.state, l.state_note, l.maker_lot,
             l.received_ms, l.use_by_ms, l.made_on, l.date_kind, l.storage, l.humidity_min, l.humidity_max
           from lot l join powder p on p.id = l.powder_id
           order by l.code"#
    )
    .fetch_all(connection)
    .await?
    .into_iter()
    .map(|row| {
        let containers = within.remove(&row.id).unwrap_or_default();
        Ok(SeedLot {
            lot: Lot {
                code: decoded(row.code.parse())?,
                powder: decoded(row.powder.parse())?,
                state: decoded(row.state.parse())?,
                state_note: row.state_note,
                on_hand: containers
                    .iter()
                    .map(|c| Milligrams(c.received.0 - c.used.0))
                    .sum(),
                use_by: row.use_by_ms.map(at).transpose()?,
                opened: containers.iter().any(|c| c.opened_at.is_some()),
            },
            maker_lot: row.maker_lot,
            received_at: at(row.received_ms)?,
            keeping: Keeping {
                made_on: decoded(row.made_on.map(|day| day.parse()).transpose())?,
                date_kind: decoded(row.date_kind.parse())?,
                storage: row.storage,
                humidity: Within {
                    min: row.humidity_min,
                    max: row.humidity_max,
                },
            },
            certificate: certificates.remove(&row.id),
            containers,
        })
    })
    .collect()
}

/// A container in which more was counted than came says that so much came: a sheet has no less than
/// nothing used.
async fn containers(
    connection: &mut SqliteConnection,
) -> Result<BTreeMap<Uuid, Vec<SeedContainer>>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select c.lot_id as "lot_id!: Uuid", c.code as "code!: String", c.opened_ms as "opened_ms: i64",
             c.milligrams as "on_hand!: i64",
             coalesce((select sum(m.milligrams) from movement m where m.to_id = c.container_id and m.reason = 'receipt'), 0)
               as "came!: i64",
             k.seal as "seal!: String", k.seal_state as "seal_state: String", k.gross_mg as "gross_mg: i64",
             k.tare_mg as "tare_mg: i64", k.damage as "damage!: String"
           from container_now c join container k on k.id = c.container_id
           order by c.code"#
    )
    .fetch_all(connection)
    .await?;
    let mut within: BTreeMap<Uuid, Vec<SeedContainer>> = BTreeMap::new();
    for row in rows {
        let received = row.came.max(row.on_hand);
        within.entry(row.lot_id).or_default().push(SeedContainer {
            code: decoded(row.code.parse())?,
            received: Milligrams(received),
            used: Milligrams(received - row.on_hand),
            opened_at: row.opened_ms.map(at).transpose()?,
            as_it_came: AsItCame {
                seal: row.seal,
                seal_state: decoded(row.seal_state.map(|word| word.parse()).transpose())?,
                gross: row.gross_mg.map(Milligrams),
                tare: row.tare_mg.map(Milligrams),
                damage: row.damage,
            },
        });
    }
    Ok(within)
}

fn at(unix_ms: i64) -> Result<DateTime<Utc>, sqlx::Error> {
    decoded(moment(unix_ms))
}

/// What the book holds, for rows to be held against.
pub struct Book {
    pub lots: Vec<SeedLot>,
    pub powders: BTreeMap<PowderCode, Uuid>,
}

impl Book {
    pub async fn load(connection: &mut SqliteConnection) -> Result<Book, sqlx::Error> {
        Ok(Book {
            lots: stored(&mut *connection).await?,
            powders: Ids::stored(connection).await?.powders,
        })
    }
}

/// Lots to be written, each with the id of its powder.
pub type Writes = Vec<(SeedLot, Uuid)>;

pub fn read(
    reader: &Reader<'_>,
    lots: Vec<Row>,
    containers: &[Row],
    book: &Book,
) -> (Vec<Entry>, Writes) {
    let listed: BTreeSet<LotCode> = codes(&lots, "code", reader.faults);
    let stands: BTreeMap<&str, &SeedLot> = book
        .lots
        .iter()
        .map(|lot| (lot.lot.code.as_str(), lot))
        .collect();
    let powders: BTreeSet<PowderCode> = book.powders.keys().cloned().collect();
    let mut within = new_containers(reader, containers, &listed, &stands);
    let (mut entries, mut writes) = (Vec::new(), Vec::new());
    for row in lots {
        if let Some(stands) = row.given("code").and_then(|code| stands.get(code)) {
            reader.unchangeable(&LOTS, &row, *stands, |column| {
                lot_remedy(column, &stands.lot.code)
            });
            entries.push(entry(&row, stands, Fate::Same));
        } else if let Some(new) = new_lot(reader, &row, &powders, &mut within) {
            entries.push(entry(&row, &new, Fate::New));
            let powder = book.powders.get(&new.lot.powder).copied();
            writes.extend(powder.map(|powder| (new, powder)));
        }
    }
    (entries, writes)
}

fn entry(row: &Row, lot: &SeedLot, fate: Fate) -> Entry {
    let containers = match lot.containers.len() {
        1 => "1 container".to_owned(),
        many => format!("{many} containers"),
    };
    Entry {
        line: row.line,
        code: lot.lot.code.to_string(),
        name: format!(
            "{} of {} in {containers}, {}",
            grams_exact(lot.lot.on_hand.0),
            lot.lot.powder,
            lot.lot.state
        ),
        fate,
        caution: String::new(),
    }
}

/// The containers of new lots, by lot; those in the book are held against it.
fn new_containers(
    reader: &Reader<'_>,
    rows: &[Row],
    listed: &BTreeSet<LotCode>,
    lots: &BTreeMap<&str, &SeedLot>,
) -> BTreeMap<LotCode, Vec<SeedContainer>> {
    let _: BTreeSet<LotCode> = codes(rows, "code", reader.faults);
    let stands: BTreeMap<&str, OfLot<'_>> = containers_of(lots.values().copied())
        .map(|of| (of.container.code.as_str(), of))
        .collect();
    let mut within: BTreeMap<LotCode, Vec<SeedContainer>> = BTreeMap::new();
    for row in rows {
        if let Some(stands) = row.given("code").and_then(|code| stands.get(code)) {
            let remedy = |_: &str| {
                format!(
                    "a container in the book is moved by movements only: draw, return or count it on the page of lot {}, and take this row out",
                    stands.lot
                )
            };
            reader.unchangeable(&CONTAINERS, row, stands, remedy);
            continue;
        }
        let lot = row.one_of(reader.faults, "lot", listed);
        let new = container(row, &reader.calendar, reader.faults);
        let Some(lot) = lot else { continue };
        if lots.contains_key(lot.as_str()) {
            let what = format!(
                "lot {lot} is in the book with its containers, and no sheet adds one; give what came since a lot of its own"
            );
            row.fault(reader.faults, "lot", what);
        } else if let Some(new) = new {
            within.entry(lot).or_default().push(new);
        }
    }
    within
}

fn lot_remedy(column: &str, lot: &LotCode) -> String {
    match column {
        "maker" | "certificate" | "certificate_date" | "certificate_lot" | "specification"
        | "revision" | "d10_um" | "d50_um" | "d90_um" | "chemistry" | "statement" | "flow_s"
        | "moisture_percent" => format!(
            "a certificate is entered and put right on the page of lot {lot}, not by a sheet; give what stands"
        ),
        "state" | "note" => format!(
            "a lot is released, stopped or rejected on the page of lot {lot}, not by a sheet; give what stands"
        ),
        _ => format!(
            "what lot {lot} was entered with stays; give what stands, or another code if it is another lot"
        ),
    }
}

/// A lot that may come in: arrived or in quarantine, with at least one container.
fn new_lot(
    reader: &Reader<'_>,
    row: &Row,
    powders: &BTreeSet<PowderCode>,
    within: &mut BTreeMap<LotCode, Vec<SeedContainer>>,
) -> Option<SeedLot> {
    let code = row
        .given("code")
        .and_then(|code| code.parse::<LotCode>().ok());
    let is_without = code.is_some_and(|code| !within.contains_key(&code));
    if is_without {
        row.fault(
            reader.faults,
            "code",
            "containers.csv has no container of it; list each with what came in it",
        );
    }
    let state = row.given("state").and_then(|state| state.parse().ok());
    let waits = match state {
        Some(LotState::Arrived | LotState::Quarantine) | None => true,
        Some(state) => {
            let what = format!(
                "'{state}' is nothing that a sheet makes of a new lot; give arrived or quarantine, and release it on its page"
            );
            row.fault(reader.faults, "state", what);
            false
        }
    };
    if is_without || !waits {
        // Whatever else is wrong with the row is told too, but for what follows from these two.
        let _ = row.one_of(reader.faults, "powder", powders);
        let _ = row.past(reader.faults, "received", &reader.calendar);
        let _ = row.moment_optional(reader.faults, "use_by", &reader.calendar);
        return None;
    }
    lot(row, powders, within, &reader.calendar, reader.faults)
}

/// Writes lots; each has its entry in the journal beside the sheet's.
pub async fn write(change: &mut Change, by: &str, lots: Writes) -> Result<(), AppError> {
    let receipt = None;
    for (lot, powder) in lots {
        enter(change, &lot, None, powder, Whence { by, receipt }).await?;
    }
    Ok(())
}
