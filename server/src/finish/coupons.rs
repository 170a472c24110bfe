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

/// A coupon, and the build beside which it was sprayed, where that is on record.
#[derive(Debug, Clone)]
pub struct Coupon {
    pub number: i64,
    pub label: String,
    pub build: Option<i64>,
}

/// Coupons of a request, the newest first.
pub async fn coupons(
    connection: &mut SqliteConnection,
    request: Uuid,
) -> std::result::Result<Vec<Coupon>, sqlx::Error> {
    sqlx::query_as!(
        Coupon,
        "select number, label, build_number as build from coupon where request_id = ? order by number desc",
        request
    )
    .fetch_all(connection)
    .await
}

/// Builds of the piece that a request has now, beside which a coupon can have been sprayed: number and operation.
pub async fn builds(
    connection: &mut SqliteConnection,
    request: Uuid,
    since: i64,
) -> std::result::Result<Vec<(i64, String)>, sqlx::Error> {
    sqlx::query!(
        r#"select b.number as "number!: i64", o.name as "name!: String"
           from build b
           join recipe_operation o on o.recipe_id = b.recipe_id and o.position = b.position
           left join build_end e on e.build_id = b.id
           where b.request_id = ? and b.journal_sequence > ? and coalesce(e.outcome, '') <> 'scrapped'
           order by b.number"#,
        request,
        since
    )
    .map(|row| (row.number, row.name))
    .fetch_all(connection)
    .await
}

/// A coupon with all that was found of it, as the pages of its build and its part show it.
pub struct Tested {
    pub coupon: i64,
    pub label: String,
    pub build: String,
    pub found: Vec<String>,
}

/// The coupons of a request with what was found, the oldest first: all of them, or those of one build.
pub async fn tested(
    connection: &mut SqliteConnection,
    request: Uuid,
    build: Option<i64>,
) -> std::result::Result<Vec<Tested>, sqlx::Error> {
    let results = results(&mut *connection, request, 0).await?;
    let coupons = coupons(connection, request).await?.into_iter().rev();
    let asked = coupons.filter(|it| build.is_none() || it.build == build);
    let tested = asked.map(|it| Tested {
        found: results
            .iter()
            .filter(|result| result.coupon == it.number)
            .map(|result| found(&result.measured))
            .collect(),
        coupon: it.number,
        label: it.label,
        build: it
            .build
            .map_or_else(|| "not told".to_owned(), |number| number.to_string()),
    });
    Ok(tested.collect())
}

/// 'bond strength as sprayed 38 MPa'.
pub fn found(measured: &Measured) -> String {
    format!(
        "{} {} {}",
        property(measured.property),
        condition(measured.condition),
        measured.with_unit()
    )
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct CouponForm {
    /// A number, or 'new'.
    pub coupon: String,
    pub label: String,
    /// The build beside which a new one was sprayed, where there are several.
    pub build: String,
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
    pub coupon: Which,
    pub measured: Measured,
    pub tool: Option<Uuid>,
    /// Number of the tool, or name of the laboratory.
    pub with: String,
    pub tested_by: String,
    pub tested_ms: i64,
}

/// The coupon that was tested.
pub enum Which {
    Known(i64),
    /// With its label, and the build beside which it was sprayed.
    New(String, Option<i64>),
}

impl CouponForm {
    pub fn parse(
        &self,
        (known, builds): (&[Coupon], &[(i64, String)]),
        tools: &[Listed],
        (now, zone): (i64, Tz),
        errors: &mut FieldErrors,
    ) -> Option<New> {
        let coupon = self.coupon(known, builds, errors);
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
        known: &[Coupon],
        builds: &[(i64, String)],
        errors: &mut FieldErrors,
    ) -> Option<Which> {
        if self.coupon == NEW {
            let label = errors.check("label", text(&self.label, 80));
            return Some(Which::New(label?, self.build(builds, errors)?));
        }
        let found = known.iter().find(|it| it.number.to_string() == self.coupon);
        if found.is_none() {
            errors.add("coupon", "choose the coupon, or enter a new one");
        }
        found.map(|it| Which::Known(it.number))
    }

    /// The only build there is, or the one chosen of several; within: none where no build is on record.
    fn build(&self, builds: &[(i64, String)], errors: &mut FieldErrors) -> Option<Option<i64>> {
        if let [] | [_] = builds {
            return Some(builds.first().map(|(number, _)| *number));
        }
        let chosen = builds
            .iter()
            .find(|(number, _)| number.to_string() == self.build);
        if chosen.is_none() {
            let told = format!(
                "{} builds are on record; choose the one beside which it was sprayed",
                builds.len()
            );
            errors.add("build", told);
        }
        chosen.map(|(number, _)| Some(*number))
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
