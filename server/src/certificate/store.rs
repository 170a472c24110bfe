//! Certificates as they are kept: the newest of a lot holds, earlier ones stay on record.

use std::collections::BTreeMap;

use mendpost_core::powder::certificate::{Certificate, Within};
use mendpost_core::powder::chemistry::{Chemistry, Stated};
use serde_json::{Value, json};
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;

/// A certificate with who entered it.
#[derive(Debug, Clone)]
pub struct Entered {
    pub certificate: Certificate,
    pub by: String,
    pub at_ms: i64,
    pub journal: i64,
}

/// What a certificate says, as a journal entry has it.
pub fn content(certificate: &Certificate) -> Value {
    let [d10, d50, d90] = certificate.sizes;
    json!({
        "maker": certificate.maker,
        "maker_lot": certificate.maker_lot,
        "number": certificate.number,
        "dated": certificate.dated,
        "specification": certificate.specification,
        "revision": certificate.revision,
        "d10_nm": d10,
        "d50_nm": d50,
        "d90_nm": d90,
        "chemistry": certificate.chemistry.to_string(),
        "statement": certificate.statement,
        "flow_ms": certificate.flow_ms,
        "moisture_ppm": certificate.moisture_ppm,
    })
}

/// Keeps what a certificate says, under the journal entry that tells it.
pub async fn insert(
    change: &mut Change,
    lot: Uuid,
    certificate: &Certificate,
    by: &str,
    entry: i64,
) -> Result<(), AppError> {
    let (id, now) = (Uuid::now_v7(), change.now());
    let dated = certificate.dated.map(|day| day.to_string());
    let [d10, d50, d90] = certificate.sizes;
    sqlx::query!(
        "insert into certificate (id, lot_id, maker, maker_lot, number, dated, specification, revision, d10_nm, d50_nm,
           d90_nm, statement, flow_ms, moisture_ppm, entered_ms, entered_by, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        lot,
        certificate.maker,
        certificate.maker_lot,
        certificate.number,
        dated,
        certificate.specification,
        certificate.revision,
        d10,
        d50,
        d90,
        certificate.statement,
        certificate.flow_ms,
        certificate.moisture_ppm,
        now,
        by,
        entry,
    )
    .execute(change.connection())
    .await?;
    for (element, Stated { within, found }) in &certificate.chemistry.0 {
        let symbol = element.as_str();
        sqlx::query!(
            "insert into certificate_element (certificate_id, element, min_ppm, max_ppm, found_ppm)
             values (?, ?, ?, ?, ?)",
            id,
            symbol,
            within.min,
            within.max,
            found,
        )
        .execute(change.connection())
        .await?;
    }
    Ok(())
}

/// The certificate of a lot that holds.
pub async fn of_lot(
    connection: &mut SqliteConnection,
    lot: &str,
) -> Result<Option<Entered>, sqlx::Error> {
    let found = sqlx::query_as!(
        Row,
        r#"select c.id as "id!: Uuid", c.lot_id as "lot_id!: Uuid", c.maker, c.maker_lot, c.number, c.dated, c.specification,
             c.revision, c.d10_nm, c.d50_nm, c.d90_nm, c.statement, c.flow_ms, c.moisture_ppm, c.entered_ms, c.entered_by,
             c.journal_sequence
           from certificate c join lot l on l.id = c.lot_id
           where l.code = ?
           order by c.journal_sequence desc limit 1"#,
        lot
    )
    .fetch_optional(&mut *connection)
    .await?;
    let Some(row) = found else { return Ok(None) };
    let chemistry = chemistries(connection, Some(row.id)).await?;
    row.entered(chemistry).map(Some)
}

/// The certificate that holds of each lot that has one.
pub async fn all(
    connection: &mut SqliteConnection,
) -> Result<BTreeMap<Uuid, Certificate>, sqlx::Error> {
    let rows = sqlx::query_as!(
        Row,
        r#"select id as "id!: Uuid", lot_id as "lot_id!: Uuid", maker, maker_lot, number, dated, specification, revision,
             d10_nm, d50_nm, d90_nm, statement, flow_ms, moisture_ppm, entered_ms, entered_by, journal_sequence
           from certificate c
           where journal_sequence = (select max(journal_sequence) from certificate n where n.lot_id = c.lot_id)"#
    )
    .fetch_all(&mut *connection)
    .await?;
    let mut chemistries = chemistries(connection, None).await?;
    rows.into_iter()
        .map(|row| {
            let chemistry = chemistries.remove_entry(&row.id).into_iter().collect();
            Ok((row.lot_id, row.entered(chemistry)?.certificate))
        })
        .collect()
}

/// The elements of one certificate, or of all.
async fn chemistries(
    executor: impl SqliteExecutor<'_>,
    of: Option<Uuid>,
) -> Result<BTreeMap<Uuid, Chemistry>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select certificate_id as "of!: Uuid", element, min_ppm, max_ppm, found_ppm
           from certificate_element where ?1 is null or certificate_id = ?1"#,
        of
    )
    .fetch_all(executor)
    .await?;
    let mut all: BTreeMap<Uuid, Chemistry> = BTreeMap::new();
    for row in rows {
        let within = Within {
            min: row.min_ppm,
            max: row.max_ppm,
        };
        let found = row.found_ppm;
        let element = decoded(row.element.parse())?;
        let chemistry = &mut all.entry(row.of).or_default().0;
        chemistry.insert(element, Stated { within, found });
    }
    Ok(all)
}

struct Row {
    id: Uuid,
    lot_id: Uuid,
    maker: String,
    maker_lot: String,
    number: String,
    dated: Option<String>,
    specification: String,
    revision: String,
    d10_nm: Option<i64>,
    d50_nm: Option<i64>,
    d90_nm: Option<i64>,
    statement: String,
    flow_ms: Option<i64>,
    moisture_ppm: Option<i64>,
    entered_ms: i64,
    entered_by: String,
    journal_sequence: i64,
}

impl Row {
    fn entered(self, mut chemistry: BTreeMap<Uuid, Chemistry>) -> Result<Entered, sqlx::Error> {
        Ok(Entered {
            certificate: Certificate {
                maker: self.maker,
                maker_lot: self.maker_lot,
                number: self.number,
                dated: decoded(self.dated.map(|day| day.parse()).transpose())?,
                specification: self.specification,
                revision: self.revision,
                sizes: [self.d10_nm, self.d50_nm, self.d90_nm],
                chemistry: chemistry.remove(&self.id).unwrap_or_default(),
                statement: self.statement,
                flow_ms: self.flow_ms,
                moisture_ppm: self.moisture_ppm,
            },
            by: self.entered_by,
            at_ms: self.entered_ms,
            journal: self.journal_sequence,
        })
    }
}
