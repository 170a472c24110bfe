use askama::Template;
use mendpost_core::situation::Damage;

use super::choices::{Choices, Group};
use super::form::{NOT_LISTED, RequestForm};
use super::particulars::{DANGERS, SPARES, SURE, WHEREABOUTS};
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
    groups: Vec<Group>,
    metals: Vec<(String, String)>,
    /// What is said below the photos: what may be chosen, or that it must be chosen again.
    files_hint: String,
    /// Whether the second part of the form is open.
    more: bool,
}

impl NewPage {
    pub fn new(
        page: Layout,
        form: RequestForm,
        sent: usize,
        errors: FieldErrors,
        choices: Choices,
    ) -> Self {
        let name = |choice: Choice| (choice.code, choice.name);
        NewPage {
            page,
            faults: match errors.iter().count() {
                1 => "One entry needs a second look".to_owned(),
                many => format!("{many} entries need a second look"),
            },
            groups: choices.groups(&form.asset),
            files_hint: files_hint(sent, &errors),
            more: MORE.iter().any(|field| !errors.of(field).is_empty()) || more_typed(&form),
            errors,
            assets: choices.known.assets.into_iter().map(name).collect(),
            metals: choices.known.metals.into_iter().map(name).collect(),
            form,
        }
    }

    fn damages(&self) -> [(&'static str, &'static str); 3] {
        [
            (Damage::Damaged.as_str(), "damaged, down"),
            (Damage::Worn.as_str(), "worn, still runs"),
            (Damage::Interim.as_str(), "interim, comes off"),
        ]
    }

    fn dangers(&self) -> [(&'static str, &'static str); 2] {
        DANGERS
    }

    fn spares(&self) -> [(&'static str, &'static str); 3] {
        SPARES
    }

    fn sure(&self) -> [(&'static str, &'static str); 2] {
        SURE
    }

    fn whereabouts(&self) -> [(&'static str, &'static str); 2] {
        WHEREABOUTS
    }

    fn not_listed(&self) -> &'static str {
        NOT_LISTED
    }
}

/// The fields of the second part, which may all stay as they are.
const MORE: [&str; 9] = [
    "needed_by",
    "broken_part",
    "arrives_at",
    "spare",
    "spare_where",
    "base_metal",
    "base_metal_known",
    "tag",
    "mass",
];

fn more_typed(form: &RequestForm) -> bool {
    let typed = [
        &form.needed_by,
        &form.arrives_at,
        &form.spare_where,
        &form.base_metal,
        &form.base_metal_known,
        &form.tag,
        &form.mass,
    ];
    typed.iter().any(|text| !text.is_empty()) || form.broken_part != "here"
}

/// A browser gives no file back to a page that is shown again.
fn files_hint(sent: usize, errors: &FieldErrors) -> String {
    match sent {
        _ if errors.is_empty() => {
            "the damage with a scale beside it, and the whole part once; several may be chosen"
                .to_owned()
        }
        0 => "several may be chosen; nothing was filed yet".to_owned(),
        1 => "the photo was not kept: choose it again".to_owned(),
        many => format!("the {many} photos were not kept: choose them again"),
    }
}
