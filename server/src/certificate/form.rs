//! What was typed of a certificate, on its own page or with a lot that comes.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use mendpost_core::powder::certificate::{Certificate, Limits, Within};
use mendpost_core::powder::chemistry::{Chemistry, Element, Stated};

use crate::form::section::{Fields, Section, numbered};
use crate::form::{FieldError, FieldErrors, plain_decimal};
use crate::seed::certificate::out_of_order;

/// Rows for elements on an empty form, and the most that a form takes.
const ROWS: usize = 3;
const MOST_ROWS: usize = 40;

const MOST: i64 = 1_000_000;

/// A certificate's fields with its rows of elements.
#[derive(Debug, Clone, Default)]
pub struct Draft {
    pub fields: Fields,
    pub elements: Vec<Fields>,
}

impl Draft {
    /// Of the fields of a section that a certificate is a part of.
    pub fn of(fields: Fields) -> Draft {
        let mut elements: Vec<Fields> = numbered(&fields, 'e').into_values().collect();
        elements.truncate(MOST_ROWS);
        Draft { fields, elements }
    }

    /// Without anything typed: a row for each element that the powder limits.
    pub fn blank(limits: &Limits) -> Draft {
        let mut draft = Draft::default();
        for element in limits.elements.keys() {
            let symbol = ("symbol".to_owned(), element.to_string());
            draft.elements.push(BTreeMap::from([symbol]));
        }
        draft.fill_rows();
        draft
    }

    fn fill_rows(&mut self) {
        let rows = self.elements.len().max(ROWS);
        self.elements.resize(rows, Fields::new());
    }

    /// One row more.
    pub fn add_row(&mut self) {
        let rows = (self.elements.len() + 1).min(MOST_ROWS);
        self.elements.resize(rows, Fields::new());
    }

    /// As a certificate that is on record would have been typed.
    pub fn of_certificate(certificate: &Certificate) -> Draft {
        let mut draft = Draft::default();
        let mut put = |name: &str, typed: String| drop(draft.fields.insert(name.to_owned(), typed));
        put("maker", certificate.maker.clone());
        put("certificate_lot", certificate.maker_lot.clone());
        put("number", certificate.number.clone());
        let dated = certificate.dated.map(|day| day.to_string());
        put("dated", dated.unwrap_or_default());
        put("specification", certificate.specification.clone());
        put("revision", certificate.revision.clone());
        for (name, size) in SIZES.iter().zip(certificate.sizes) {
            put(name, plain(size, 3));
        }
        put("statement", certificate.statement.clone());
        put("flow", plain(certificate.flow_ms, 3));
        put("moisture", plain(certificate.moisture_ppm, 4));
        let stated = certificate.chemistry.0.iter();
        draft.elements = stated.map(|(element, it)| row(element, it)).collect();
        draft.fill_rows();
        draft
    }

    /// The rows of elements, each with the head that its fields have in the page.
    pub fn rows(&self, head: &str) -> Vec<Section<'_>> {
        let rows = self.elements.iter().enumerate();
        rows.map(|(at, fields)| Section::new(format!("{head}e{at}_"), fields))
            .collect()
    }

    /// The certificate, nothing where nothing of it is typed. What is wrong is noted, and then it is not used.
    pub fn parse(
        &self,
        head: &str,
        (label, today): (&str, NaiveDate),
        errors: &mut FieldErrors,
    ) -> Option<Certificate> {
        let section = Section::new(head.to_owned(), &self.fields);
        let sizes = SIZES.map(|name| section.decimal(name, 3, 1..=MOST, errors));
        if let Some(at) = out_of_order(&sizes) {
            let text = "less than a size before it; D10, D50 and D90 rise";
            section.fault(SIZES[at], text, errors);
        }
        let own_lot = section.text("certificate_lot", 80, errors);
        let mut certificate = Certificate {
            maker: section.text("maker", 80, errors),
            maker_lot: String::new(),
            number: section.text("number", 80, errors),
            dated: section.past_day("dated", today, errors),
            specification: section.text("specification", 80, errors),
            revision: section.text("revision", 40, errors),
            sizes,
            chemistry: self.chemistry(head, errors),
            statement: section.text("statement", 400, errors),
            flow_ms: section.decimal("flow", 3, 1..=MOST, errors),
            moisture_ppm: section.decimal("moisture", 4, 0..=MOST, errors),
        };
        if certificate == Certificate::default() && own_lot.is_empty() {
            return None;
        }
        certificate.maker_lot = if own_lot.is_empty() {
            label.to_owned()
        } else {
            own_lot
        };
        Some(certificate)
    }

    fn chemistry(&self, head: &str, errors: &mut FieldErrors) -> Chemistry {
        let mut all = BTreeMap::new();
        for row in self.rows(head) {
            let Some((element, within)) = element(&row, errors) else {
                continue;
            };
            let found = row.decimal("found", 4, 0..=MOST, errors);
            if found.is_none() && within.is_open() && row.is_empty("found") {
                // Only the symbol: suggested, and not on the certificate.
                continue;
            }
            let stated = Stated { within, found };
            if all.insert(element, stated).is_some() {
                row.fault("symbol", format!("{element} is given twice"), errors);
            }
        }
        Chemistry(all)
    }
}

/// The names of D10, D50 and D90.
pub const SIZES: [&str; 3] = ["d10", "d50", "d90"];

/// The element of a row with its least and most; none for a row without anything.
pub fn element(row: &Section<'_>, errors: &mut FieldErrors) -> Option<(Element, Within)> {
    let within = within(row, ["min", "max"], 4, errors);
    let says_nothing = ["min", "max", "found"]
        .iter()
        .all(|name| row.is_empty(name));
    if row.is_empty("symbol") {
        if !says_nothing {
            row.fault(
                "symbol",
                "of which element? write its symbol, as Al or Fe",
                errors,
            );
        }
        return None;
    }
    match row.typed("symbol").parse() {
        Ok(element) => Some((element, within)),
        Err(fault) => {
            let fault: mendpost_core::powder::chemistry::NoElement = fault;
            row.fault("symbol", fault.to_string(), errors);
            None
        }
    }
}

/// Least and most as two fields have them.
pub fn within(
    section: &Section<'_>,
    [least, most]: [&str; 2],
    places: usize,
    errors: &mut FieldErrors,
) -> Within {
    let min = section.decimal(least, places, 0..=MOST, errors);
    let max = section.decimal(most, places, 0..=MOST, errors);
    if min.zip(max).is_some_and(|(min, max)| min > max) {
        section.fault(most, "less than the least; change one of the two", errors);
    }
    Within { min, max }
}

fn row(element: &Element, stated: &Stated) -> Fields {
    let Within { min, max } = stated.within;
    Fields::from([
        ("symbol".to_owned(), element.to_string()),
        ("min".to_owned(), plain(min, 4)),
        ("max".to_owned(), plain(max, 4)),
        ("found".to_owned(), plain(stated.found, 4)),
    ])
}

/// A figure as it is typed; empty if there is none.
pub fn plain(value: Option<i64>, places: usize) -> String {
    value.map_or_else(String::new, |value| plain_decimal(value, places))
}

/// A whole number of hundredths.
pub fn hundredths(typed: &str) -> Result<i64, FieldError> {
    crate::form::integer(typed, 0..=100)
}
