use askama::Template;

use super::Here;
use super::form::Draft;
use crate::form::FieldErrors;
use crate::form::section::Section;
use crate::page::{Layout, grams_exact};

#[derive(Template)]
#[template(path = "blend/new.html")]
pub struct FormPage {
    page: Layout,
    /// Containers that may give: code and words.
    sources: Vec<(String, String)>,
    powders: Vec<(String, String)>,
    draft: Draft,
    errors: FieldErrors,
}

/// A new container in the form.
struct Can<'a> {
    section: Section<'a>,
    hint: String,
}

impl FormPage {
    pub fn new(page: Layout, here: &Here, draft: Draft, errors: FieldErrors) -> Self {
        let source = |it: &super::Source| {
            let until = it.use_by.map(|at| page.day(&at.timestamp_millis()));
            let until = until
                .map(|day| format!(", until {day}"))
                .unwrap_or_default();
            let grams = grams_exact(it.on_hand.0);
            let words = format!("{}: {}, {grams}{until}", it.container, it.powder_name);
            (it.container.to_string(), words)
        };
        FormPage {
            sources: here.sources.iter().map(source).collect(),
            powders: here.powders.clone(),
            draft,
            errors,
            page,
        }
    }

    fn cans(&self) -> Vec<Can<'_>> {
        let own = self.draft.own();
        let code = own.typed("code");
        let cans = self.draft.cans().into_iter().enumerate();
        cans.map(|(at, section)| Can {
            section,
            hint: format!("scan it; empty: {code}-{}", at + 1),
        })
        .collect()
    }
}
