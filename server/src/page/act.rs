//! A page for one act: what it is about, what must be entered, who signs, and one button.

use askama::Template;
use axum::response::Response;

use super::{Layout, page_with};
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::signature::{Ask, Secret};

/// The page of one act.
#[derive(Template)]
#[template(path = "act.html")]
pub struct ActPage {
    pub page: Layout,
    /// What to do, verb first.
    pub answer: String,
    pub reason: String,
    /// What the act is about, word and value.
    pub pairs: Vec<(&'static str, String)>,
    pub fields: Vec<Field>,
    /// Where the form goes.
    pub action: String,
    pub verb: &'static str,
    /// What the button books.
    pub detail: String,
    /// Where to go instead: word and address.
    pub back: (&'static str, String),
    /// What must be signed; none for acts that need no signature.
    pub ask: Option<Ask>,
    pub errors: FieldErrors,
}

impl ActPage {
    /// The page, as 422 when something is wrong with what was typed.
    pub fn answer(mut self) -> Result<Response, AppError> {
        if let Some(ask) = &mut self.ask {
            ask.error = self.errors.of(SIGN_FIELD).to_owned();
        }
        page_with(self.errors.status(), &self)
    }
}

/// The name of the field in which who signs shows who they are.
pub const SIGN_FIELD: &str = "sign_passphrase";

/// A field of an act's form.
pub struct Field {
    pub(crate) kind: Kind,
    pub(crate) name: &'static str,
    pub(crate) label: &'static str,
    pub(crate) value: String,
    pub(crate) hint: &'static str,
}

/// How a field is typed; the macro `each` of `field.html` draws it.
pub(crate) enum Kind {
    Text,
    Area,
    Time,
    Amount(&'static str),
    Choose(Vec<(String, String)>),
    Ticks(Vec<(String, String, bool)>),
    Hidden,
}

impl Field {
    pub fn text(name: &'static str, label: &'static str, value: &str, hint: &'static str) -> Field {
        Field::new(Kind::Text, name, label, value, hint)
    }

    /// A few lines of text.
    pub fn area(name: &'static str, label: &'static str, value: &str, hint: &'static str) -> Field {
        Field::new(Kind::Area, name, label, value, hint)
    }

    /// A date and time at the site.
    pub fn time(name: &'static str, label: &'static str, value: &str, hint: &'static str) -> Field {
        Field::new(Kind::Time, name, label, value, hint)
    }

    /// A figure with its unit.
    pub fn amount(
        name: &'static str,
        label: &'static str,
        value: &str,
        unit: &'static str,
        hint: &'static str,
    ) -> Field {
        Field::new(Kind::Amount(unit), name, label, value, hint)
    }

    /// One of a list: value and words of each.
    pub fn choose(
        name: &'static str,
        label: &'static str,
        value: &str,
        options: Vec<(String, String)>,
        hint: &'static str,
    ) -> Field {
        Field::new(Kind::Choose(options), name, label, value, hint)
    }

    /// Any of a list: value and words of each, and whether it is ticked.
    pub fn ticks(
        name: &'static str,
        label: &'static str,
        options: Vec<(String, String, bool)>,
        hint: &'static str,
    ) -> Field {
        Field::new(Kind::Ticks(options), name, label, "", hint)
    }

    /// What goes along unseen, as the number that was looked at.
    pub fn hidden(name: &'static str, value: &impl ToString) -> Field {
        Field::new(Kind::Hidden, name, "", &value.to_string(), "")
    }

    fn new(
        kind: Kind,
        name: &'static str,
        label: &'static str,
        value: &str,
        hint: &'static str,
    ) -> Field {
        Field {
            kind,
            name,
            label,
            value: value.to_owned(),
            hint,
        }
    }
}
