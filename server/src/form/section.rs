//! Forms with parts that repeat: fields whose names begin alike make a section, and sections are numbered.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use chrono::NaiveDate;

use super::{FieldError, FieldErrors, date, decimal, optional_text};

/// What was typed, by the name of each field, or of a section without the head that its names share.
pub type Fields = BTreeMap<String, String>;

/// The sections `a0_...`, `a1_...` of a letter by their numbers; those without a field are left out.
pub fn numbered(all: &Fields, letter: char) -> BTreeMap<usize, Fields> {
    let mut sections: BTreeMap<usize, Fields> = BTreeMap::new();
    for (name, typed) in all {
        let Some((number, rest)) = name
            .strip_prefix(letter)
            .and_then(|tail| tail.split_once('_'))
        else {
            continue;
        };
        if let (Ok(number), true) = (number.parse(), number.len() < 4) {
            let section = sections.entry(number).or_default();
            section.insert(rest.to_owned(), typed.clone());
        }
    }
    sections
}

/// A field as a page shows it.
pub struct Shown {
    pub name: String,
    pub value: String,
    pub error: String,
}

/// A section with the head under which the page has it.
#[derive(Clone)]
pub struct Section<'a> {
    head: String,
    fields: &'a Fields,
}

impl<'a> Section<'a> {
    pub fn new(head: String, fields: &'a Fields) -> Self {
        Section { head, fields }
    }

    /// The name that a field has in the page.
    pub fn name(&self, field: &str) -> String {
        format!("{}{field}", self.head)
    }

    /// Without the blanks around it; empty if nothing is.
    pub fn typed(&self, field: &str) -> &'a str {
        self.fields.get(field).map_or("", |typed| typed.trim())
    }

    pub fn is_empty(&self, field: &str) -> bool {
        self.typed(field).is_empty()
    }

    pub fn shown(&self, field: &str, errors: &FieldErrors) -> Shown {
        let name = self.name(field);
        Shown {
            value: self.typed(field).to_owned(),
            error: errors.of(&name).to_owned(),
            name,
        }
    }

    pub fn fault(&self, field: &str, text: impl Into<String>, errors: &mut FieldErrors) {
        errors.add(&self.name(field), text);
    }

    /// Takes what a field says, or notes its fault.
    pub fn read<T>(
        &self,
        field: &str,
        parse: impl FnOnce(&str) -> Result<T, FieldError>,
        errors: &mut FieldErrors,
    ) -> Option<T> {
        errors.check(&self.name(field), parse(self.typed(field)))
    }

    /// Nothing where nothing is typed, and after a fault.
    pub fn read_if_told<T>(
        &self,
        field: &str,
        parse: impl FnOnce(&str) -> Result<T, FieldError>,
        errors: &mut FieldErrors,
    ) -> Option<T> {
        match self.is_empty(field) {
            true => None,
            false => self.read(field, parse, errors),
        }
    }

    /// Text that may be missing, empty after a fault.
    pub fn text(&self, field: &str, most: usize, errors: &mut FieldErrors) -> String {
        let text = self.read(field, |typed| optional_text(typed, most), errors);
        text.flatten().unwrap_or_default()
    }

    pub fn decimal(
        &self,
        field: &str,
        places: usize,
        range: RangeInclusive<i64>,
        errors: &mut FieldErrors,
    ) -> Option<i64> {
        self.read_if_told(field, |typed| decimal(typed, places, range), errors)
    }

    /// A day that has come.
    pub fn past_day(
        &self,
        field: &str,
        today: NaiveDate,
        errors: &mut FieldErrors,
    ) -> Option<NaiveDate> {
        let day = self.read_if_told(field, date, errors)?;
        if day > today {
            self.fault(field, format!("{day} is still to come"), errors);
            return None;
        }
        Some(day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers may have gaps, where one was taken out; what has none of them is in no section.
    #[test]
    fn sections_are_read_by_their_numbers() {
        let fields = |pairs: &[(&str, &str)]| -> Fields {
            let pairs = pairs.iter();
            pairs.map(|(a, b)| (a.to_string(), b.to_string())).collect()
        };
        let all = fields(&[
            ("l10_code", "c"),
            ("l2_code", "b"),
            ("l0_code", "a"),
            ("l0_c0_code", "a-1"),
            ("l_code", "no number"),
            ("label", "no section"),
            ("l12345_code", "too far"),
        ]);
        let lots = numbered(&all, 'l');
        let codes: Vec<(usize, &str)> = lots
            .iter()
            .map(|(at, lot)| (*at, lot["code"].as_str()))
            .collect();
        assert_eq!(codes, [(0, "a"), (2, "b"), (10, "c")]);
        let cans = BTreeMap::from([(0, fields(&[("code", "a-1")]))]);
        assert_eq!(numbered(&lots[&0], 'c'), cans);
    }
}
