//! The form of a part as it is shown.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::catalogue::{Flag, Part};
use mendpost_core::journal::Subject;
use mendpost_core::shape::Figures;
use mendpost_core::situation::Situation;

use super::form::{PartForm, masses, sprayed_mm};
use crate::AppState;
use crate::catalogue::path;
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::page::{Layout, Screen, page_with};
use crate::people::Visit;
use crate::version::{Field, Stale};
use crate::words::authority::rule;
use crate::words::catalogue::flags;
use crate::words::recipe::{flag_means, thousandths};
use crate::words::work::{flag, sentence};
use crate::words::{Words, kilograms, size};

#[derive(Template)]
#[template(path = "catalogue/part.html")]
struct PartForms {
    page: Layout,
    answer: String,
    action: String,
    back: String,
    is_new: bool,
    /// Code, name, whether it is chosen.
    assets: Vec<(String, String, bool)>,
    flags: Vec<FlagBox>,
    /// The box as sprayed by its shape; empty without one.
    shape_box: String,
    /// Powder, and what the part would weigh of its metal.
    shape_masses: Vec<(String, String)>,
    form: PartForm,
    errors: FieldErrors,
    stale: Option<Stale>,
}

struct FlagBox {
    value: &'static str,
    name: String,
    /// What its name does not say; empty if it says all.
    means: &'static str,
    /// What it asks for here.
    asks: String,
    chosen: bool,
}

/// How the form is shown.
#[derive(Default)]
pub struct Shown {
    /// The part as it stands; none for a new one.
    pub stands: Option<Part>,
    pub figures: Option<Figures>,
    pub status: StatusCode,
    pub errors: FieldErrors,
    pub stale: Option<Stale>,
}

impl Shown {
    pub fn faulty(errors: FieldErrors) -> Shown {
        Shown {
            status: errors.status(),
            errors,
            ..Shown::default()
        }
    }
}

pub async fn form_page(
    visit: &Visit,
    situation: &Situation,
    form: PartForm,
    shown: Shown,
) -> Result<Response, AppError> {
    let Shown {
        stands,
        figures,
        status,
        errors,
        stale,
    } = shown;
    let words = Words::new(situation);
    let assets = situation.assets.iter().map(|asset| {
        let code = asset.code.to_string();
        let chosen = form.asset.contains(&code);
        (code, sentence(&asset.name), chosen)
    });
    let flags = Flag::ALL.iter().map(|of| FlagBox {
        value: of.as_str(),
        name: sentence(flag(*of)),
        means: flag_means(*of),
        asks: sentence(&rule(&situation.rules.of(*of))),
        chosen: form.flag.iter().any(|typed| typed == of.as_str()),
    });
    let shape_masses = figures.iter().flat_map(|f| masses(f, situation));
    let title = stands
        .as_ref()
        .map_or("Add a part", |part| part.code.as_str());
    let page = PartForms {
        page: visit.layout(Screen::Catalogue, title).await?,
        answer: match (&stands, &stale) {
            (_, Some(_)) => "Choose which of the two stands.".to_owned(),
            (Some(part), None) => format!("Say what is so of the {} now.", part.name),
            (None, None) => "Add a part that may be asked for.".to_owned(),
        },
        action: match &stands {
            Some(part) => format!("{}/change", path(part.code.as_str())),
            None => "/catalogue/new".to_owned(),
        },
        back: match &stands {
            Some(part) => path(part.code.as_str()),
            None => "/catalogue".to_owned(),
        },
        is_new: stands.is_none(),
        assets: assets.collect(),
        flags: flags.collect(),
        shape_box: figures
            .as_ref()
            .map_or_else(String::new, |figures| size(sprayed_mm(figures))),
        shape_masses: shape_masses
            .map(|(code, grams)| {
                let name = words.powder_short(&code);
                (code, format!("{name}: {}", kilograms(grams)))
            })
            .collect(),
        form,
        errors,
        stale,
    };
    page_with(status, &page)
}

/// What stands now beside what was typed.
pub async fn stale(
    state: &AppState,
    (stands, yours): (&Part, &Part),
    subject: &Subject,
    version: i64,
) -> Result<Stale, sqlx::Error> {
    let assets = |part: &Part| {
        let codes: Vec<&str> = part.assets.iter().map(|code| code.as_str()).collect();
        codes.join(", ")
    };
    let field = |name, say: &dyn Fn(&Part) -> String| Field::new(name, &say(stands), &say(yours));
    let fields = vec![
        field("Name", &|part| part.name.clone()),
        field("Fits", &assets),
        field("Envelope", &|part| size(part.envelope_mm)),
        field("Mass", &|part| format!("{} kg", thousandths(part.mass_g))),
        field("Allowance", &|part| {
            format!("{} mm", thousandths(part.allowance_um))
        }),
        field("Flags", &flags),
    ];
    Stale::of(&state.db.read, subject, version, fields).await
}
