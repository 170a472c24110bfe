use askama::Template;
use mendpost_core::situation::Damage;

use super::form::{NOT_LISTED, RequestForm};
use super::queries::Choice;
use crate::form::FieldErrors;
use crate::page::Layout;

/// The form for a damaged part.
#[derive(Template)]
#[template(path = "requests/new.html")]
pub struct NewPage {
    page: Layout,
    form: RequestForm,
    errors: FieldErrors,
    /// How many fields need a second look, in words.
    faults: String,
    assets: Vec<(String, String)>,
    parts: Vec<(String, String)>,
}

impl NewPage {
    pub fn new(
        page: Layout,
        form: RequestForm,
        errors: FieldErrors,
        assets: Vec<Choice>,
        parts: Vec<Choice>,
    ) -> Self {
        let not_listed = (NOT_LISTED.to_owned(), "not listed".to_owned());
        let name = |choice: Choice| (choice.code, choice.name);
        NewPage {
            page,
            form,
            faults: match errors.iter().count() {
                1 => "One entry needs a second look".to_owned(),
                many => format!("{many} entries need a second look"),
            },
            errors,
            assets: assets.into_iter().map(name).collect(),
            parts: parts
                .into_iter()
                .map(|part| {
                    let words = format!("{}, {}", part.name, part.code);
                    (part.code, words)
                })
                .chain([not_listed])
                .collect(),
        }
    }

    fn damages(&self) -> [(&'static str, &'static str); 3] {
        [
            (Damage::Damaged.as_str(), "broken"),
            (Damage::Worn.as_str(), "worn"),
            (Damage::Interim.as_str(), "interim part"),
        ]
    }

    fn machines(&self) -> [(&'static str, &'static str); 3] {
        [
            ("down", "is down"),
            ("expected", "runs, will fail at"),
            ("runs", "runs, no date"),
        ]
    }

    fn yes_or_no(&self) -> [(&'static str, &'static str); 2] {
        [("no", "no"), ("yes", "yes")]
    }

    fn whereabouts(&self) -> [(&'static str, &'static str); 2] {
        [("here", "at the cell"), ("arrives", "arrives later")]
    }
}
