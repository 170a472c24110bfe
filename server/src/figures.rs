//! Figures of one thing that change seldom, such as those of a nozzle: shown with unit and range, typed
//! anew in one form, and read from a site's file by the same ranges.

pub mod of_site;

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use askama::{DynTemplate, Template};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use serde_json::{Map, Value};

use crate::error::AppError;
use crate::form::{FieldErrors, decimal, plain_decimal};
use crate::page::{Layout, page, page_with, whole};
use crate::version::{Field, Stale};

/// One figure: what it is called, what it may be, and what it is for.
#[derive(Clone, Copy)]
pub struct Figure {
    /// In a form and in a site's file.
    pub name: &'static str,
    /// In the journal, with the small unit that it is kept in.
    pub kept: &'static str,
    pub label: &'static str,
    pub unit: &'static str,
    pub hint: &'static str,
    /// It is kept in steps of 1 / 10^places of its unit.
    pub places: usize,
    /// Least and most, in those steps.
    pub range: (i64, i64),
    /// Whether nothing works without it.
    pub needed: bool,
}

/// Values of `N` figures in their order, in steps; none where nobody has told it.
pub type Values<const N: usize> = [Option<i64>; N];

impl Figure {
    pub fn range(&self) -> RangeInclusive<i64> {
        self.range.0..=self.range.1
    }

    fn words(&self, value: Option<i64>) -> String {
        match value {
            Some(value) => format!("{} {}", self.number(value), self.unit),
            None => "not told".to_owned(),
        }
    }

    /// Thousands are parted before the point.
    fn number(&self, value: i64) -> String {
        let plain = plain_decimal(value, self.places);
        let (head, tail) = plain.split_once('.').unwrap_or((&plain, ""));
        let head = head.parse().map_or_else(|_| head.to_owned(), whole);
        match tail {
            "" => head,
            tail => format!("{head}.{tail}"),
        }
    }

    fn allowed(&self) -> String {
        let (least, most) = self.range;
        let (least, most) = (self.number(least), self.number(most));
        format!("{least} to {most} {}", self.unit)
    }
}

/// Figures by the names under which they are kept.
pub fn kept<const N: usize>(figures: &[Figure; N], values: &Values<N>) -> Value {
    let pairs = figures.iter().zip(values);
    let pairs = pairs.map(|(figure, value)| (figure.kept.to_owned(), Value::from(*value)));
    Value::Object(pairs.collect::<Map<_, _>>())
}

/// What was typed, by the name of each figure.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct FiguresForm {
    pub version: String,
    #[serde(flatten)]
    typed: BTreeMap<String, String>,
}

impl FiguresForm {
    pub fn of<const N: usize>(figures: &[Figure; N], values: &Values<N>, version: i64) -> Self {
        let typed = figures.iter().zip(values).map(|(figure, value)| {
            let typed = value.map(|value| plain_decimal(value, figure.places));
            (figure.name.to_owned(), typed.unwrap_or_default())
        });
        FiguresForm {
            version: version.to_string(),
            typed: typed.collect(),
        }
    }

    /// The figures as typed; what is wrong is noted, and then they are not used.
    pub fn parse<const N: usize>(
        &self,
        figures: &[Figure; N],
        errors: &mut FieldErrors,
    ) -> Values<N> {
        figures.each_ref().map(|figure| {
            let typed = self.typed(figure.name);
            if typed.trim().is_empty() && !figure.needed {
                return None;
            }
            errors.check(figure.name, decimal(typed, figure.places, figure.range()))
        })
    }

    fn typed(&self, name: &str) -> &str {
        self.typed.get(name).map_or("", String::as_str)
    }
}

/// What the pages of figures say around them.
pub struct About {
    /// What the figures are of.
    pub title: String,
    /// Where they are shown; the form stands at this with '/change'.
    pub path: String,
    /// Word and address of what they belong to.
    pub back: (&'static str, String),
}

#[derive(Template)]
#[template(path = "figures/show.html")]
struct ShowPage {
    page: Layout,
    answer: String,
    reason: String,
    about: About,
    rows: Vec<Row>,
    may_change: bool,
    /// What follows, as it is to be shown.
    more: String,
}

struct Row {
    label: &'static str,
    hint: &'static str,
    value: String,
    allowed: String,
}

/// Shows what is set; `answer` and reason stand above, and below what else there is to say of the thing.
pub fn show<const N: usize>(
    layout: Layout,
    (answer, reason): (String, String),
    about: About,
    (figures, values): (&[Figure; N], &Values<N>),
    may_change: bool,
    more: Option<&dyn DynTemplate>,
) -> Result<Response, AppError> {
    let rows = figures.iter().zip(values).map(|(figure, value)| Row {
        label: figure.label,
        hint: figure.hint,
        value: figure.words(*value),
        allowed: figure.allowed(),
    });
    page(&ShowPage {
        page: layout,
        answer,
        reason,
        about,
        rows: rows.collect(),
        may_change,
        more: more.map_or_else(|| Ok(String::new()), |more| more.dyn_render())?,
    })
}

#[derive(Template)]
#[template(path = "figures/change.html")]
struct ChangePage<'a> {
    page: Layout,
    reason: &'a str,
    about: About,
    figures: &'a [Figure],
    form: FiguresForm,
    errors: FieldErrors,
    stale: Option<Stale>,
}

/// The form: with its faults as 422, with what stands now beside it as 409.
pub fn change(
    layout: Layout,
    (about, reason): (About, &str),
    figures: &[Figure],
    mut form: FiguresForm,
    errors: FieldErrors,
    stale: Option<Stale>,
) -> Result<Response, AppError> {
    let mut status = errors.status();
    if let Some(stale) = &stale {
        status = StatusCode::CONFLICT;
        form.version = stale.version.to_string();
    }
    let page = ChangePage {
        page: layout,
        reason,
        about,
        figures,
        form,
        errors,
        stale,
    };
    page_with(status, &page)
}

/// What stands beside what was typed, figure by figure.
pub fn both<const N: usize>(
    figures: &[Figure; N],
    stands: &Values<N>,
    yours: &Values<N>,
) -> Vec<Field> {
    let pairs = figures.iter().zip(stands.iter().zip(yours));
    pairs
        .map(|(figure, (stands, yours))| {
            let (stands, yours) = (figure.words(*stands), figure.words(*yours));
            Field::new(figure.label, &stands, &yours)
        })
        .collect()
}
