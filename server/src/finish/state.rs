//! What is on record of a part and counts still, for the judgement of core and for pages.

use std::collections::BTreeMap;

use mendpost_core::catalogue::OperationKind;
use mendpost_core::finish::{
    Checked, Crack, Dimension, Expected, Finding, Length, Out, Soak, Unit,
};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::coupons::{self, CouponRow};
use super::cracks::method;
use crate::db::decoded;
use crate::furnace::{self, soaked};
use crate::hold::Hold;
use crate::page::Layout;
use crate::requests::Done;

/// The work on a request, as far as what counts still depends on it.
pub struct Work<'a> {
    pub request: Uuid,
    /// The entry by which it was last begun anew; 0 if never.
    pub since: i64,
    pub still: &'a [&'a Done],
    pub done: &'a [Done],
    pub back: &'a [(i64, i64)],
}

impl Work<'_> {
    /// The entry after which results of coupons count: with spraying that is done again come other coupons.
    pub fn coupons_since(&self) -> i64 {
        let sprayed = self
            .done
            .iter()
            .filter(|done| done.kind == OperationKind::Spray);
        let Some(first) = sprayed.map(|done| done.position).min() else {
            return self.since;
        };
        let back = self.back.iter().filter(|(_, position)| *position <= first);
        back.map(|(sequence, _)| *sequence)
            .fold(self.since, i64::max)
    }
}

/// Everything on record that counts still.
pub async fn checked(
    connection: &mut SqliteConnection,
    work: &Work<'_>,
    holds: &[Hold],
) -> Result<Checked, sqlx::Error> {
    let answered = |sequence: i64| {
        let mut of_it = holds
            .iter()
            .filter(|hold| hold.of_sequence == Some(sequence));
        of_it.any(Hold::is_fit)
    };
    let mut checked = Checked {
        holds: holds
            .iter()
            .filter(|hold| hold.is_open())
            .map(|hold| hold.number)
            .collect(),
        ..Checked::default()
    };
    for done in work.still {
        let sequence = done.sequence;
        let position = usize::try_from(done.position).unwrap_or(0);
        match done.kind {
            OperationKind::Measure => {
                for size in found(&mut *connection, sequence).await? {
                    let found = size.found;
                    let answered = answered(sequence);
                    checked
                        .sizes
                        .insert(size.dimension.name, Out { found, answered });
                }
            }
            OperationKind::CrackCheck => {
                if let Some(looked) = looked(&mut *connection, sequence).await? {
                    let found = if looked.found {
                        Crack::Found
                    } else {
                        Crack::Absent
                    };
                    let answered = answered(sequence);
                    checked.cracks.insert(position, Out { found, answered });
                }
            }
            OperationKind::HeatTreat => {
                if let Some(soaked) = soaked(&mut *connection, sequence).await? {
                    let found = Soak {
                        load: soaked.load,
                        void: !soaked.excursions.is_empty(),
                    };
                    let answered = soaked.excursions.iter().all(|it| answered(*it));
                    checked.soaks.insert(position, Out { found, answered });
                }
            }
            _ => {}
        }
    }
    let results = coupons::results(connection, work.request, work.coupons_since()).await?;
    checked.coupons = results
        .into_iter()
        .map(|result| Out {
            answered: answered(result.sequence),
            found: result.measured,
        })
        .collect();
    Ok(checked)
}

/// A dimension as it was found.
pub struct SizeFound {
    pub dimension: Dimension,
    pub found: Length,
    pub unit: Unit,
    pub tool: String,
}

/// What was found of each dimension at one measuring, in the order of its recipe.
async fn found(
    connection: &mut SqliteConnection,
    sequence: i64,
) -> Result<Vec<SizeFound>, sqlx::Error> {
    sqlx::query!(
        r#"select s.name, s.nominal_nm, s.lower_nm, s.upper_nm, s.unit as drawn, f.found_nm, f.unit, t.code
           from size_found f
           join recipe_size s on s.recipe_id = f.recipe_id and s.position = f.position
           join tool t on t.id = f.tool_id
           where f.journal_sequence = ? order by f.position"#,
        sequence
    )
    .try_map(|row| {
        Ok(SizeFound {
            dimension: Dimension {
                name: row.name,
                nominal: Length(row.nominal_nm),
                lower: Length(row.lower_nm),
                upper: Length(row.upper_nm),
                unit: decoded(row.drawn.parse())?,
            },
            found: Length(row.found_nm),
            unit: decoded(row.unit.parse())?,
            tool: row.code,
        })
    })
    .fetch_all(connection)
    .await
}

struct LookedAt {
    found: bool,
    words: String,
}

async fn looked(
    connection: &mut SqliteConnection,
    sequence: i64,
) -> Result<Option<LookedAt>, sqlx::Error> {
    sqlx::query!(
        r#"select found as "found: bool", method, words, agent from crack_check where journal_sequence = ?"#,
        sequence
    )
    .map(|row| {
        let what = match row.found {
            true => format!("cracks: {}", row.words),
            false => "none found".to_owned(),
        };
        LookedAt {
            found: row.found,
            words: format!("{what}; {}, {}", method(&row.method), row.agent),
        }
    })
    .fetch_optional(connection)
    .await
}

/// What was found of a part, as its page shows it.
#[derive(Default)]
pub struct Sheet {
    pub sizes: Vec<SizeRow>,
    /// When and by whom it was measured.
    pub measured: String,
    /// Where it was looked for cracks, what was found, by whom and when.
    pub cracks: Vec<(String, String, String)>,
    /// What was found of its coupons.
    pub coupons: Vec<CouponRow>,
    /// In which loads of the furnace it was: the operation, words and address of the load, by whom and when.
    pub soaks: Vec<(String, String, String, String)>,
}

/// One dimension with what was found.
pub struct SizeRow {
    pub name: String,
    pub limits: String,
    pub found: String,
    /// In the unit that it was not typed in.
    pub other: String,
    pub tool: String,
    pub word: String,
    pub is_out: bool,
}

/// What was found and counts still, with what was found as the part came.
pub async fn sheet(
    connection: &mut SqliteConnection,
    page: &Layout,
    (request, coupons_since): (Uuid, i64),
    still: &[&Done],
) -> Result<Sheet, sqlx::Error> {
    let results = coupons::results(&mut *connection, request, coupons_since).await?;
    let expected = match still.last() {
        Some(done) => expected(&mut *connection, done.sequence).await?,
        None => Vec::new(),
    };
    let mut sheet = Sheet {
        coupons: coupons::rows(page, &expected, &results),
        cracks: at_arrival(&mut *connection, page, request).await?,
        ..Sheet::default()
    };
    for done in still {
        let by = format!("{}, {}", done.by, page.moment(&done.ended_ms));
        match done.kind {
            OperationKind::Measure => {
                let found = found(&mut *connection, done.sequence).await?;
                if !found.is_empty() {
                    sheet.sizes = found.into_iter().map(size_row).collect();
                    sheet.measured = by;
                }
            }
            OperationKind::CrackCheck => {
                if let Some(looked) = looked(&mut *connection, done.sequence).await? {
                    sheet.cracks.push((done.name.clone(), looked.words, by));
                }
            }
            OperationKind::HeatTreat => {
                if let Some(soaked) = soaked(&mut *connection, done.sequence).await? {
                    let path = furnace::path(soaked.load);
                    sheet
                        .soaks
                        .push((done.name.clone(), soaked.words, path, by));
                }
            }
            _ => {}
        }
    }
    Ok(sheet)
}

/// What is expected of coupons by the recipe under which an operation was done.
async fn expected(
    connection: &mut SqliteConnection,
    sequence: i64,
) -> Result<Vec<Expected>, sqlx::Error> {
    sqlx::query!(
        "select c.property, c.condition, c.least, c.most, c.load_gf
         from work_done w join recipe_coupon c on c.recipe_id = w.recipe_id
         where w.journal_sequence = ? order by c.position",
        sequence
    )
    .try_map(|row| {
        Ok(Expected {
            property: decoded(row.property.parse())?,
            condition: decoded(row.condition.parse())?,
            least: row.least,
            most: row.most,
            load_gf: row.load_gf,
        })
    })
    .fetch_all(connection)
    .await
}

async fn at_arrival(
    connection: &mut SqliteConnection,
    page: &Layout,
    request: Uuid,
) -> Result<Vec<(String, String, String)>, sqlx::Error> {
    let rows: BTreeMap<i64, (String, i64)> = sqlx::query!(
        "select journal_sequence, looked_by, looked_ms from crack_check
         where request_id = ? and at = 'arrival' order by journal_sequence",
        request
    )
    .map(|row| (row.journal_sequence, (row.looked_by, row.looked_ms)))
    .fetch_all(&mut *connection)
    .await?
    .into_iter()
    .collect();
    let mut cracks = Vec::new();
    for (sequence, (by, at)) in rows {
        if let Some(looked) = looked(&mut *connection, sequence).await? {
            let by = format!("{by}, {}", page.moment(&at));
            cracks.push(("As it came".to_owned(), looked.words, by));
        }
    }
    Ok(cracks)
}

fn size_row(size: SizeFound) -> SizeRow {
    let SizeFound {
        dimension,
        found,
        unit,
        tool,
    } = size;
    let (word, is_out) = match dimension.judge(found) {
        Finding::Within => ("within".to_owned(), false),
        Finding::Under(by) => (format!("{by} under"), true),
        Finding::Over(by) => (format!("{by} over"), true),
    };
    let other = unit.other();
    SizeRow {
        limits: dimension.limits(),
        name: dimension.name,
        found: format!("{} {unit}", found.in_unit(unit)),
        other: format!("{} {other}", found.in_unit(other)),
        tool,
        word,
        is_out,
    }
}
