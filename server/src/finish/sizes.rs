//! The size sheet as it is typed: each dimension with what was found, its unit, and the tool.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use mendpost_core::finish::{Dimension, Finding, Length, Measures, Unit};
use serde::Deserialize;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::form::FieldErrors;
use crate::tools::{self, queries::Listed};

/// What was typed, by field: 'found0', 'unit0', 'tool0' and so on, numbered as the dimensions are.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct SizesForm {
    #[serde(flatten)]
    typed: BTreeMap<String, String>,
}

impl SizesForm {
    fn typed(&self, field: &str, at: usize) -> &str {
        self.typed
            .get(&format!("{field}{at}"))
            .map_or("", |typed| typed.trim())
    }
}

/// A dimension as it was found.
#[derive(Debug)]
pub struct NewSize {
    /// Its place among the recipe's dimensions, from 1.
    pub position: i64,
    pub dimension: Dimension,
    pub found: Length,
    pub unit: Unit,
    pub tool: Uuid,
    pub tool_code: String,
}

impl NewSize {
    pub fn finding(&self) -> Finding {
        self.dimension.judge(self.found)
    }

    pub fn content(&self) -> Value {
        json!({
            "name": self.dimension.name,
            "found_nm": self.found,
            "unit": self.unit,
            "tool": self.tool_code,
            "within": self.finding() == Finding::Within,
        })
    }

    /// 'bore 60.05 mm, 0.02 mm over 59.99 to 60.03 mm', where it is out.
    pub fn out(&self) -> Option<String> {
        let (by, which) = match self.finding() {
            Finding::Within => return None,
            Finding::Under(by) => (by, "under"),
            Finding::Over(by) => (by, "over"),
        };
        let limits = self.dimension.limits();
        let unit = self.dimension.unit;
        Some(format!(
            "{} {} {unit}, {} {unit} {which} {limits}",
            self.dimension.name,
            self.found.in_unit(unit),
            by.in_unit(unit)
        ))
    }
}

/// Every dimension as it was found; what is wrong is told beside its field. A blank is wrong.
pub fn parse(
    form: &SizesForm,
    dimensions: &[Dimension],
    tools: &[Listed],
    (at, zone): (DateTime<Utc>, Tz),
    errors: &mut FieldErrors,
) -> Option<Vec<NewSize>> {
    let mut all = Vec::new();
    for (index, dimension) in dimensions.iter().enumerate() {
        let found = found(form, index, dimension, errors);
        let tool = tool(form, index, tools, errors);
        let (Some((found, unit)), Some(listed)) = (found, tool) else {
            continue;
        };
        if let Err(fault) = listed.tool.takes(Measures::Length, found.0, at) {
            let told = tools::fault(&listed.tool, &fault, zone);
            errors.add(&format!("tool{index}"), told);
            continue;
        }
        all.push(NewSize {
            position: i64::try_from(index + 1).unwrap_or(i64::MAX),
            dimension: dimension.clone(),
            found,
            unit,
            tool: listed.id,
            tool_code: listed.tool.code.clone(),
        });
    }
    (all.len() == dimensions.len()).then_some(all)
}

fn found(
    form: &SizesForm,
    index: usize,
    dimension: &Dimension,
    errors: &mut FieldErrors,
) -> Option<(Length, Unit)> {
    let field = format!("found{index}");
    let unit = form.typed("unit", index).parse::<Unit>();
    let Ok(unit) = unit else {
        errors.add(&field, "say whether that is in mm or in inches");
        return None;
    };
    let found = Length::parse(form.typed("found", index), unit);
    let found = found.map_err(|fault| errors.add(&field, fault.to_string()));
    let found = found.ok()?;
    if let Some(read) = dimension.in_other_unit(found, unit) {
        let other = unit.other();
        let fault = format!(
            "{} {unit} is far from {}; if it was read in {other}, it is {}: choose {other}",
            found.in_unit(unit),
            dimension.nominal,
            read.both(dimension.unit)
        );
        errors.add(&field, fault);
        return None;
    }
    Some((found, unit))
}

fn tool<'a>(
    form: &SizesForm,
    index: usize,
    tools: &'a [Listed],
    errors: &mut FieldErrors,
) -> Option<&'a Listed> {
    let typed = form.typed("tool", index);
    let found = tools
        .iter()
        .find(|listed| listed.tool.code.eq_ignore_ascii_case(typed));
    if found.is_none() {
        let fault = match typed {
            "" => "say with which tool it was measured".to_owned(),
            typed => format!("no tool '{typed}' is listed; take one that is, or list it first"),
        };
        errors.add(&format!("tool{index}"), fault);
    }
    found
}

/// One dimension of the sheet as the page shows it.
pub struct Row {
    pub index: usize,
    pub name: String,
    pub limits: String,
    /// The limits in the other unit.
    pub other: String,
    pub found: String,
    pub unit: String,
    pub tool: String,
    pub found_fault: String,
    pub tool_fault: String,
}

/// The rows of the sheet, with what was typed; untouched, a unit is that of the drawing.
pub fn rows(form: &SizesForm, dimensions: &[Dimension], errors: &FieldErrors) -> Vec<Row> {
    let row = |(index, dimension): (usize, &Dimension)| {
        let typed = |field| form.typed(field, index).to_owned();
        let other = dimension.unit.other();
        Row {
            index,
            name: dimension.name.clone(),
            limits: dimension.limits(),
            other: format!(
                "{} to {} {other}",
                dimension.lower.in_unit(other),
                dimension.upper.in_unit(other)
            ),
            found: typed("found"),
            unit: match form.typed("unit", index) {
                "" => dimension.unit.to_string(),
                unit => unit.to_owned(),
            },
            tool: typed("tool"),
            found_fault: errors.of(&format!("found{index}")).to_owned(),
            tool_fault: errors.of(&format!("tool{index}")).to_owned(),
        }
    };
    dimensions.iter().enumerate().map(row).collect()
}
