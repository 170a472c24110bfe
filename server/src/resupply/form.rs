//! What the forms of the records share: fields read by the same rules from a page and from a row of a sheet,
//! and the page that asks for them.

use std::collections::BTreeSet;
use std::fmt::Display;
use std::str::FromStr;

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use crate::error::AppError;
use crate::figures::Figure;
use crate::form::section::{Fields, Section};
use crate::form::{FieldError, FieldErrors, choice, decimal, local_time, plain_decimal, text};
use crate::page::act::{Field, Kind};
use crate::page::{Layout, page_with};
use crate::version::Stale;

/// A figure of a page and of a sheet.
pub const fn figure(
    name: &'static str,
    label: &'static str,
    unit: &'static str,
    hint: &'static str,
    (places, least, most): (usize, i64, i64),
) -> Figure {
    Figure {
        name,
        kept: name,
        label,
        unit,
        hint,
        places,
        range: (least, most),
        needed: true,
    }
}

/// What was typed into the fields of a page, or stands in the columns of a row.
pub struct Typed<'a> {
    pub section: Section<'a>,
    pub errors: &'a mut FieldErrors,
}

impl<'a> Typed<'a> {
    pub fn new(fields: &'a Fields, errors: &'a mut FieldErrors) -> Self {
        let section = Section::new(String::new(), fields);
        Typed { section, errors }
    }

    pub fn given(&self, name: &str) -> bool {
        !self.section.is_empty(name)
    }

    pub fn fault(&mut self, name: &str, what: impl Into<String>) {
        self.section.fault(name, what, self.errors);
    }

    fn read<T>(
        &mut self,
        name: &str,
        parse: impl FnOnce(&str) -> Result<T, FieldError>,
    ) -> Option<T> {
        self.section.read(name, parse, self.errors)
    }

    /// None within where nothing is given.
    fn if_given<T>(
        &mut self,
        name: &str,
        read: impl FnOnce(&mut Self) -> Option<T>,
    ) -> Option<Option<T>> {
        match self.given(name) {
            true => read(self).map(Some),
            false => Some(None),
        }
    }

    /// A text on one line.
    pub fn text(&mut self, name: &str, most: usize) -> Option<String> {
        let text = self.read(name, |typed| text(typed, most))?;
        if text.chars().any(char::is_control) {
            self.fault(name, "write it on one line");
            return None;
        }
        Some(text)
    }

    pub fn text_or_empty(&mut self, name: &str, most: usize) -> Option<String> {
        let text = self.if_given(name, |it| it.text(name, most))?;
        Some(text.unwrap_or_default())
    }

    pub fn figure(&mut self, of: &Figure) -> Option<i64> {
        self.read(of.name, |typed| decimal(typed, of.places, of.range()))
    }

    pub fn figure_if(&mut self, of: &Figure) -> Option<Option<i64>> {
        self.if_given(of.name, |it| it.figure(of))
    }

    pub fn word<T: FromStr>(&mut self, name: &str) -> Option<T> {
        self.read(name, choice)
    }

    pub fn word_if<T: FromStr>(&mut self, name: &str) -> Option<Option<T>> {
        self.if_given(name, |it| it.word(name))
    }

    /// 'yes' or 'no'.
    pub fn yes(&mut self, name: &str) -> Option<bool> {
        self.read(name, |typed| match typed {
            "yes" => Ok(true),
            "" => Err(FieldError::Missing),
            "no" => Ok(false),
            other => Err(FieldError::NotChoice {
                given: other.chars().take(80).collect(),
            }),
        })
    }

    /// A time at the site.
    pub fn time(&mut self, name: &str, zone: Tz) -> Option<DateTime<Utc>> {
        let ms = self.read(name, |typed| local_time(typed, zone))?;
        DateTime::from_timestamp_millis(ms)
    }

    /// The code of something that is listed.
    pub fn one_of<T>(&mut self, name: &str, known: &BTreeSet<T>) -> Option<T>
    where
        T: FromStr<Err: Display> + Ord + Display,
    {
        let typed = self.text(name, 80)?;
        self.listed(name, &typed, known)
    }

    /// Codes of what is listed, with blanks between, each once.
    pub fn some_of<T>(&mut self, name: &str, known: &BTreeSet<T>) -> Option<Vec<T>>
    where
        T: FromStr<Err: Display> + Ord + Display,
    {
        let typed = self.text_or_empty(name, 400)?;
        let mut some = Vec::new();
        for word in typed.split_whitespace() {
            let code = self.listed(name, word, known)?;
            if some.contains(&code) {
                self.fault(name, format!("'{code}' is named twice"));
                return None;
            }
            some.push(code);
        }
        Some(some)
    }

    fn listed<T>(&mut self, name: &str, typed: &str, known: &BTreeSet<T>) -> Option<T>
    where
        T: FromStr<Err: Display> + Ord + Display,
    {
        match typed.parse::<T>() {
            Ok(code) if known.contains(&code) => Some(code),
            Ok(code) => {
                let listed: Vec<String> = known.iter().take(40).map(ToString::to_string).collect();
                let listed = match listed.is_empty() {
                    true => "none is".to_owned(),
                    false => listed.join(", "),
                };
                self.fault(name, format!("'{code}' is not listed; listed: {listed}"));
                None
            }
            Err(error) => {
                self.fault(name, error.to_string());
                None
            }
        }
    }

    /// A class or division of dangerous goods.
    pub fn class(&mut self, name: &str) -> Option<String> {
        let typed = self.text(name, 80)?;
        self.is_class(name, &typed).then_some(typed)
    }

    pub fn class_if(&mut self, name: &str) -> Option<Option<String>> {
        self.if_given(name, |it| it.class(name))
    }

    /// Several of them, with blanks between.
    pub fn classes(&mut self, name: &str) -> Option<Vec<String>> {
        let typed = self.text_or_empty(name, 80)?;
        let all: Vec<String> = typed.split_whitespace().map(str::to_owned).collect();
        let each = all.iter().all(|class| self.is_class(name, class));
        each.then_some(all)
    }

    fn is_class(&mut self, name: &str, class: &str) -> bool {
        let known = CLASSES.contains(&class);
        if !known {
            let all = CLASSES.join(", ");
            self.fault(name, format!("'{class}' is no class; one of {all}"));
        }
        known
    }

    /// Notes what is given where nothing is asked; `why` follows on 'leave it empty'.
    pub fn leave_empty(&mut self, names: &[&str], why: &str) {
        for name in names.iter().filter(|name| !self.section.is_empty(name)) {
            let what = format!("leave it empty: {why}");
            self.section.fault(name, what, self.errors);
        }
    }
}

/// Classes and divisions, as the UN Model Regulations part them (2.0.1.1, from memory).
pub const CLASSES: [&str; 20] = [
    "1.1", "1.2", "1.3", "1.4", "1.5", "1.6", "2.1", "2.2", "2.3", "3", "4.1", "4.2", "4.3", "5.1",
    "5.2", "6.1", "6.2", "7", "8", "9",
];

/// What was typed, or what stands, as the fields of a page show it.
pub struct Shown<'a>(pub &'a Fields);

impl Shown<'_> {
    pub fn of(&self, name: &str) -> &str {
        self.0.get(name).map_or("", String::as_str)
    }

    pub fn text(&self, name: &'static str, label: &'static str, hint: &'static str) -> Field {
        Field::text(name, label, self.of(name), hint)
    }

    pub fn area(&self, name: &'static str, label: &'static str, hint: &'static str) -> Field {
        Field::area(name, label, self.of(name), hint)
    }

    pub fn time(&self, name: &'static str, label: &'static str, hint: &'static str) -> Field {
        Field::time(name, label, self.of(name), hint)
    }

    pub fn figure(&self, of: &Figure) -> Field {
        Field::amount(of.name, of.label, self.of(of.name), of.unit, of.hint)
    }

    pub fn choose(
        &self,
        name: &'static str,
        label: &'static str,
        options: Vec<(String, String)>,
        hint: &'static str,
    ) -> Field {
        Field::choose(name, label, self.of(name), options, hint)
    }

    pub fn yes(&self, name: &'static str, label: &'static str, hint: &'static str) -> Field {
        let options = ["yes", "no"].map(|word| (word.to_owned(), word.to_owned()));
        self.choose(name, label, options.into(), hint)
    }
}

/// A figure as it is typed.
pub fn typed(of: &Figure, value: i64) -> (String, String) {
    (of.name.to_owned(), plain_decimal(value, of.places))
}

pub const fn yes_or_no(value: bool) -> &'static str {
    if value { "yes" } else { "no" }
}

/// Fields that belong together.
pub struct Group {
    pub heading: &'static str,
    pub words: &'static str,
    pub fields: Vec<Field>,
}

/// The page of one record's form.
#[derive(Template)]
#[template(path = "resupply/form.html")]
pub struct FormPage {
    pub page: Layout,
    pub answer: String,
    pub reason: String,
    pub groups: Vec<Group>,
    /// That the form was opened at.
    pub version: String,
    pub action: String,
    pub verb: &'static str,
    /// Where to go instead: word and address.
    pub back: (&'static str, String),
    pub errors: FieldErrors,
    pub stale: Option<Stale>,
}

impl FormPage {
    /// The page: with its faults as 422, with what stands now beside it as 409.
    pub fn answer(self) -> Result<Response, AppError> {
        let status = match &self.stale {
            Some(_) => StatusCode::CONFLICT,
            None => self.errors.status(),
        };
        page_with(status, &self)
    }
}
