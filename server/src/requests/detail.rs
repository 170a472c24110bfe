//! What is on record of a broken part: each saying of it is kept, and the newest holds.

use mendpost_core::journal::Subject;
use mendpost_core::situation::{CrackCheck, Damage};
use serde_json::{Map, Value, json};
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;
use crate::page::{age, moment, whole};
use crate::words::work::damage;

/// Everything that was on record of a broken part from one saying to the next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Detail {
    /// 1 is the report.
    pub sequence: i64,
    pub entered_by: String,
    pub entered_ms: i64,
    /// Why what was said before is put right.
    pub why: String,
    pub told: Told,
}

/// What is told of a broken part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    /// The part of the catalogue; none: it is not listed.
    pub part: Option<Listed>,
    pub part_name: String,
    pub damage: Damage,
    pub description: String,
    pub asked_by: String,
    pub needed_by_ms: Option<i64>,
    pub danger: bool,
    /// When it is expected at the cell; none: it is there.
    pub at_cell_ms: Option<i64>,
    /// When it was received at the cell; none: not yet.
    pub arrived_ms: Option<i64>,
    /// 'yes', 'no' or 'unknown'.
    pub spare: String,
    pub spare_where: String,
    pub tag: Option<String>,
    pub mass_g: Option<i64>,
    pub metal: Option<Metal>,
    pub serial: String,
    pub crack_check: CrackCheck,
}

/// A part of the catalogue.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    pub id: Uuid,
    pub code: String,
    pub name: String,
}

/// What it is made of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Metal {
    pub id: Uuid,
    pub code: String,
    pub name: String,
    pub known: bool,
}

/// Everything that was said of a request, the newest first.
pub async fn history(
    executor: impl SqliteExecutor<'_>,
    number: i64,
) -> Result<Vec<Detail>, sqlx::Error> {
    sqlx::query!(
        r#"select d.sequence, d.entered_by, d.entered_ms, d.why, d.part_name, d.damage, d.description,
             d.asked_by, d.needed_by_ms, d.danger as "danger: bool", d.at_cell_ms, d.arrived_ms, d.spare,
             d.spare_where, d.tag, d.mass_g, d.base_metal_known as "known: bool", d.serial, d.crack_check,
             metal.id as "metal?: Uuid", metal.code as "metal_code?", metal.name as "metal_name?",
             part.id as "part?: Uuid", part.code as "part_code?", part.name as "listed_name?"
           from request_detail d
           join request on request.id = d.request_id
           left join part on part.id = d.part_id
           left join metal on metal.id = d.base_metal_id
           where request.number = ?
           order by d.sequence desc"#,
        number
    )
    .try_map(|row| {
        let metal = match (row.metal, row.metal_code, row.metal_name) {
            (Some(id), Some(code), Some(name)) => Some(Metal {
                id,
                code,
                name,
                known: row.known,
            }),
            _ => None,
        };
        let part = match (row.part, row.part_code, row.listed_name) {
            (Some(id), Some(code), Some(name)) => Some(Listed { id, code, name }),
            _ => None,
        };
        Ok(Detail {
            sequence: row.sequence,
            entered_by: row.entered_by,
            entered_ms: row.entered_ms,
            why: row.why,
            told: Told {
                part,
                part_name: row.part_name,
                damage: decoded(row.damage.parse())?,
                description: row.description,
                asked_by: row.asked_by,
                needed_by_ms: row.needed_by_ms,
                danger: row.danger,
                at_cell_ms: row.at_cell_ms,
                arrived_ms: row.arrived_ms,
                spare: row.spare,
                spare_where: row.spare_where,
                tag: row.tag,
                mass_g: row.mass_g,
                metal,
                serial: row.serial,
                crack_check: decoded(row.crack_check.parse())?,
            },
        })
    })
    .fetch_all(executor)
    .await
}

/// Adds a saying, which then holds.
pub(super) async fn insert(
    connection: &mut SqliteConnection,
    request: Uuid,
    detail: &Detail,
) -> Result<(), sqlx::Error> {
    let told = &detail.told;
    let (damage, crack_check) = (told.damage.as_str(), told.crack_check.as_str());
    let metal = told.metal.as_ref().map(|metal| metal.id);
    let part = told.part.as_ref().map(|part| part.id);
    let known = told.metal.as_ref().is_some_and(|metal| metal.known);
    sqlx::query!(
        "insert into request_detail (request_id, sequence, entered_by, entered_ms, why, part_id, part_name,
           damage, description, asked_by, needed_by_ms, danger, at_cell_ms, arrived_ms, spare, spare_where,
           tag, mass_g, base_metal_id, base_metal_known, serial, crack_check)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        request,
        detail.sequence,
        detail.entered_by,
        detail.entered_ms,
        detail.why,
        part,
        told.part_name,
        damage,
        told.description,
        told.asked_by,
        told.needed_by_ms,
        told.danger,
        told.at_cell_ms,
        told.arrived_ms,
        told.spare,
        told.spare_where,
        told.tag,
        told.mass_g,
        metal,
        known,
        told.serial,
        crack_check,
    )
    .execute(connection)
    .await?;
    Ok(())
}

impl Told {
    /// Every field with its value in words; a field of which nothing is said has none.
    pub fn words(&self, zone: chrono_tz::Tz) -> Vec<(&'static str, String)> {
        let time = |at: Option<i64>| at.map(|at| moment(at, zone)).unwrap_or_default();
        let metal = self.metal.as_ref().map(Metal::words);
        let listed = self.part.as_ref().map(Listed::words);
        vec![
            (
                "In the catalogue",
                listed.unwrap_or_else(|| "not listed".to_owned()),
            ),
            ("Part", self.part_name.clone()),
            ("Damage", damage(self.damage).to_owned()),
            ("What is broken", self.description.clone()),
            ("Who asks", self.asked_by.clone()),
            ("Needed by", time(self.needed_by_ms)),
            (
                "Danger",
                if self.danger { "somebody" } else { "nobody" }.to_owned(),
            ),
            ("Expected at the cell", time(self.at_cell_ms)),
            ("Received", time(self.arrived_ms)),
            ("Spare", self.spare_words()),
            ("Tag", self.tag.clone().unwrap_or_default()),
            ("Weighs", self.mass_g.map(weighed).unwrap_or_default()),
            ("Base metal", metal.unwrap_or_default()),
            ("Serial number", self.serial.clone()),
            (
                "First crack check",
                crack_words(self.crack_check).to_owned(),
            ),
        ]
    }

    fn spare_words(&self) -> String {
        match self.spare.as_str() {
            "yes" => format!("there is one: {}", self.spare_where),
            "no" => "none".to_owned(),
            _ => String::new(),
        }
    }
}

/// Grams as they were weighed, as '12.35 kg'.
pub fn weighed(grams: i64) -> String {
    let rest = format!("{:03}", grams.rem_euclid(1000));
    match rest.trim_end_matches('0') {
        "" => format!("{} kg", whole(grams / 1000)),
        rest => format!("{}.{rest} kg", whole(grams / 1000)),
    }
}

impl Listed {
    /// 'impeller, WP-IMPELLER'.
    pub fn words(&self) -> String {
        format!("{}, {}", self.name, self.code)
    }
}

impl Metal {
    /// 'bronze, assumed'.
    pub fn words(&self) -> String {
        let sure = if self.known { "known" } else { "assumed" };
        format!("{}, {sure}", self.name)
    }
}

/// What the first look for cracks found; nothing while nobody has looked.
pub const fn crack_words(check: CrackCheck) -> &'static str {
    match check {
        CrackCheck::Found => "cracks found",
        CrackCheck::Absent => "no crack found",
        CrackCheck::NotDone => "",
    }
}

/// What one saying changed of the one before it: field, before, after.
pub fn changes(
    before: &Told,
    after: &Told,
    zone: chrono_tz::Tz,
) -> Vec<(&'static str, String, String)> {
    let pairs = before.words(zone).into_iter().zip(after.words(zone));
    pairs
        .filter(|((_, old), (_, new))| old != new)
        .map(|((field, old), (_, new))| (field, old, new))
        .collect()
}

impl Detail {
    /// Whether its part has come to the cell between another saying and this one.
    pub fn arrives_after(&self, before: &Detail) -> bool {
        before.told.arrived_ms.is_none() && self.told.arrived_ms.is_some()
    }
}

/// Journals what one saying changed of the one before it, before and after, in words, and the recipes that
/// are its ways from now on, where it is another part; the entry's number.
pub(super) async fn note(
    change: &mut Change,
    request: i64,
    before: &Detail,
    after: &Detail,
    (zone, recipes): (chrono_tz::Tz, Option<&[String]>),
) -> Result<i64, AppError> {
    let changed: Map<String, Value> = changes(&before.told, &after.told, zone)
        .into_iter()
        .map(|(field, old, new)| (field.to_owned(), json!({ "before": old, "after": new })))
        .collect();
    let mut content = json!({
        "version": after.sequence,
        "changed": changed,
        "why": after.why,
        "needed_by_ms": after.told.needed_by_ms,
        "arrived_ms": after.told.arrived_ms,
    });
    if let Some(recipes) = recipes {
        content["recipes"] = json!(recipes);
    }
    let kind = match after.arrives_after(before) {
        true => "request.received",
        false => "request.put-right",
    };
    let subject = Subject::new("request", format!("R{request}"));
    change.journal(kind, subject, content).await
}

/// A saying as the page shows it.
pub struct HistoryRow {
    pub head: String,
    pub when: String,
    pub age: String,
    pub by: String,
    pub why: String,
    /// What it changed, in words.
    pub changes: Vec<String>,
}

/// The history from the newest saying to the report.
pub fn rows(history: &[Detail], zone: chrono_tz::Tz, now: i64) -> Vec<HistoryRow> {
    let before = history.iter().skip(1).map(Some).chain([None]);
    history
        .iter()
        .zip(before)
        .map(|(detail, before)| HistoryRow {
            head: head(detail, before),
            when: moment(detail.entered_ms, zone),
            age: age(detail.entered_ms, now),
            by: detail.entered_by.clone(),
            why: detail.why.clone(),
            changes: before.map_or_else(Vec::new, |before| {
                changes(&before.told, &detail.told, zone)
                    .into_iter()
                    .map(|change| change_words(&change))
                    .collect()
            }),
        })
        .collect()
}

fn head(detail: &Detail, before: Option<&Detail>) -> String {
    match before {
        None => "Reported",
        Some(before) if detail.arrives_after(before) => "Received at the cell",
        Some(_) if detail.why.is_empty() => "Added",
        Some(_) => "Put right",
    }
    .to_owned()
}

fn change_words((field, old, new): &(&'static str, String, String)) -> String {
    match (old.as_str(), new.as_str()) {
        ("", new) => format!("{field}: {new}"),
        (old, "") => format!("{field}: nothing any more; was {old}"),
        (old, new) => format!("{field}: {new}; was {old}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mass_is_shown_as_it_was_weighed() {
        for (grams, text) in [
            (1, "0.001 kg"),
            (350, "0.35 kg"),
            (14_500, "14.5 kg"),
            (60_000, "60 kg"),
            (1_204_005, "1\u{202f}204.005 kg"),
        ] {
            assert_eq!(weighed(grams), text);
        }
    }
}
