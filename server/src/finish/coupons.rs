//! Coupons of a request: what was found of each, against what the approver of its recipe expects.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use mendpost_core::finish::{Condition, Measured, Property};
use serde::Deserialize;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::words::{condition, property};
use crate::db::decoded;
use crate::form::{FieldErrors, choice, decimal, local_time, optional_text, text};
use crate::page::{Layout, moment};
use crate::tools::{self, queries::Listed};

/// A result on record.
#[derive(Debug, Clone)]
pub struct Result {
    pub sequence: i64,
    pub coupon: i64,
    pub label: String,
    pub measured: Measured,
    /// The tool, or the laboratory.
    pub with: String,
    pub by: String,
    pub at_ms: i64,
}

/// Results of a request entered after a sequence, in order.
pub async fn results(
    connection: &mut SqliteConnection,
    request: Uuid,
    since: i64,
) -> std::result::Result<Vec<Result>, sqlx::Error> {
    sqlx::query!(
        r#"select r.journal_sequence as "sequence!: i64", c.number as "number!: i64", c.label as "label!: String",
             r.property as "property!: String", r.condition as "condition!: String", r.figure as "figure!: i64",
             r.load_gf, t.code as "tool?: String", r.laboratory as "laboratory!: String",
             r.tested_by as "tested_by!: String", r.tested_ms as "tested_ms!: i64"
           from coupon_result r
           join coupon c on c.number = r.coupon_number
           left join tool t on t.id = r.tool_id
           where c.request_id = ? and r.journal_sequence > ?
           order by r.journal_sequence"#,
        request,
        since
    )
    .try_map(|row| {
        Ok(Result {
            sequence: row.sequence,
            coupon: row.number,
            label: row.label,
            measured: Measured {
                property: decoded(row.property.parse())?,
                condition: decoded(row.condition.parse())?,
                figure: row.figure,
                load_gf: row.load_gf,
            },
            with: row.tool.unwrap_or(row.laboratory),
            by: row.tested_by,
            at_ms: row.tested_ms,
        })
    })
    .fetch_all(connection)
    .await
}

/// Coupons of a request: number and label, the newest first.
pub async fn coupons(
    connection: &mut SqliteConnection,
    request: Uuid,
) -> std::result::Result<Vec<(i64, String)>, sqlx::Error> {
    sqlx::query!(
        "select number, label from coupon where request_id = ? order by number desc",
        request
    )
    .map(|row| (row.number, row.label))
    .fetch_all(connection)
    .await
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct CouponForm {
    /// A number, or 'new'.
    pub coupon: String,
    pub label: String,
    pub property: String,
    pub condition: String,
    pub figure: String,
    pub load: String,
    pub tool: String,
    pub laboratory: String,
    pub tested_by: String,
    pub tested: String,
}

/// What stands in the place of a number for a coupon that is not on record yet.
pub const NEW: &str = "new";

/// A result as it will be entered.
pub struct New {
    /// None: a new one with this label.
    pub coupon: std::result::Result<i64, String>,
    pub measured: Measured,
    pub tool: Option<Uuid>,
    /// Number of the tool, or name of the laboratory.
    pub with: String,
    pub tested_by: String,
    pub tested_ms: i64,
}

impl CouponForm {
    pub fn parse(
        &self,
        known: &[(i64, String)],
        tools: &[Listed],
        (now, zone): (i64, Tz),
        errors: &mut FieldErrors,
    ) -> Option<New> {
        let coupon = self.coupon(known, errors);
        let measured = self.measured(errors);
        let tested_by = errors.check("tested_by", text(&self.tested_by, 80));
        let tested_ms = match self.tested.trim() {
            "" => Some(now),
            typed => errors.check("tested", local_time(typed, zone)),
        };
        if tested_ms.is_some_and(|tested| tested > now) {
            let fault = format!("that is still to come: it is {}", moment(now, zone));
            errors.add("tested", fault);
        }
        let laboratory = errors.check("laboratory", optional_text(&self.laboratory, 80));
        let (measured, tested_ms, laboratory) = (measured?, tested_ms?, laboratory?);
        let at = DateTime::from_timestamp_millis(tested_ms)?;
        let (tool, with) = self.with(&measured, laboratory, tools, (at, zone), errors)?;
        Some(New {
            coupon: coupon?,
            measured,
            tool,
            with,
            tested_by: tested_by?,
            tested_ms,
        })
    }

    fn coupon(
        &self,
        known: &[(i64, String)],
        errors: &mut FieldErrors,
    ) -> Option<std::result::Result<i64, String>> {
        if self.coupon == NEW {
            return errors.check("label", text(&self.label, 80)).map(Err);
        }
        let found = known
            .iter()
            .find(|(number, _)| number.to_string() == self.coupon);
        if found.is_none() {
            errors.add("coupon", "choose the coupon, or enter a new one");
        }
        found.map(|(number, _)| Ok(*number))
    }

    fn measured(&self, errors: &mut FieldErrors) -> Option<Measured> {
        let property = errors.check("property", choice::<Property>(&self.property));
        let condition = errors.check("condition", choice::<Condition>(&self.condition));
        let most = property.map_or(3_000_000, Property::most);
        let figure = errors.check("figure", decimal(&self.figure, 3, 0..=most));
        let load = match (property, self.load.trim()) {
            (Some(Property::Hardness), typed) => errors
                .check("load", decimal(typed, 3, 1..=100_000))
                .map(Some),
            (_, "") => Some(None),
            (_, _) => {
                errors.add("load", "only a hardness has a load; leave it empty");
                None
            }
        };
        Some(Measured {
            property: property?,
            condition: condition?,
            figure: figure?,
            load_gf: load?,
        })
    }

    fn with(
        &self,
        measured: &Measured,
        laboratory: Option<String>,
        tools: &[Listed],
        (at, zone): (DateTime<Utc>, Tz),
        errors: &mut FieldErrors,
    ) -> Option<(Option<Uuid>, String)> {
        match (self.tool.trim(), laboratory) {
            ("", Some(laboratory)) => Some((None, laboratory)),
            ("", None) => {
                errors.add(
                    "tool",
                    "say with which tool it was tested, or which laboratory tested it",
                );
                None
            }
            (_, Some(_)) => {
                errors.add("laboratory", "a tool is given too; give one of the two");
                None
            }
            (typed, None) => {
                let found = tools
                    .iter()
                    .find(|it| it.tool.code.eq_ignore_ascii_case(typed));
                let Some(listed) = found else {
                    errors.add("tool", format!("no tool '{typed}' is listed"));
                    return None;
                };
                let measures = measured.property.measures();
                if let Err(fault) = listed.tool.takes(measures, measured.figure, at) {
                    errors.add("tool", tools::fault(&listed.tool, &fault, zone));
                    return None;
                }
                Some((Some(listed.id), listed.tool.code.clone()))
            }
        }
    }
}

/// A result as pages show it.
pub struct CouponRow {
    pub coupon: String,
    pub what: String,
    pub found: String,
    pub expected: String,
    pub with: String,
    pub by: String,
    pub is_missed: bool,
}

/// Results against what is expected.
pub fn rows(
    page: &Layout,
    expected: &[mendpost_core::finish::Expected],
    results: &[Result],
) -> Vec<CouponRow> {
    let row = |result: &Result| {
        let of_it = expected.iter().filter(|it| it.is_of(&result.measured));
        let limits: Vec<String> = of_it.clone().map(|it| it.limits()).collect();
        CouponRow {
            coupon: format!("{} {}", result.coupon, result.label),
            what: format!(
                "{}, {}",
                property(result.measured.property),
                condition(result.measured.condition)
            ),
            found: result.measured.with_unit(),
            expected: match limits.is_empty() {
                true => "nothing".to_owned(),
                false => limits.join("; "),
            },
            with: result.with.clone(),
            by: format!("{}, {}", result.by, page.moment(&result.at_ms)),
            is_missed: of_it.clone().any(|it| !it.accepts(result.measured.figure)),
        }
    };
    results.iter().map(row).collect()
}
