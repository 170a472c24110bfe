//! The shape of a part as pages show it: a section of the part's page, the form, and what was read.

use askama::Template;
use mendpost_core::catalogue::Part;
use mendpost_core::people::Act;
use mendpost_core::shape::{Figures, Unit, Views};
use mendpost_core::situation::Situation;

use super::form::ShapeForm;
use super::picture::draw;
use super::queries::{Kept, Off};
use super::reading::Reading;
use super::{path, words};
use crate::drawing::{Drawing, Mark};
use crate::form::FieldErrors;
use crate::page::{Layout, whole};
use crate::people::Visit;
use crate::words::work::sentence;

/// A shape with all that is said of it.
pub struct Shown {
    drawing: Drawing,
    pairs: Vec<(&'static str, String)>,
    masses: Vec<(String, String)>,
    /// What is wrong with the mesh, and what the catalogue says otherwise.
    faults: Vec<String>,
    mesh: String,
}

impl Shown {
    fn new(situation: &Situation, part: &Part, figures: &Figures, views: &Views) -> Shown {
        let mut faults = words::faults(figures);
        faults.extend(words::disagreements(situation, part, figures));
        let triangles = i64::try_from(figures.triangles)
            .map(whole)
            .unwrap_or_default();
        Shown {
            drawing: draw(views, figures, &sentence(&part.name)),
            pairs: words::measures(situation, figures),
            masses: words::masses(situation, figures),
            faults,
            mesh: format!("{triangles} triangles"),
        }
    }
}

/// The section 'Shape' of a part's page, whose template shows it as `{{ shape|safe }}`.
#[derive(Template)]
#[template(path = "shape/section.html")]
pub struct ShapeSection {
    path: String,
    shown: Option<Shown>,
    told: String,
    /// Why it has none any more; empty if it has one or never had.
    off: String,
    may_give: bool,
}

impl ShapeSection {
    pub fn new(
        visit: &Visit,
        page: &Layout,
        situation: &Situation,
        part: &Part,
        (kept, off): (Option<&Kept>, Option<&Off>),
    ) -> ShapeSection {
        let shown = kept.map(|k| Shown::new(situation, part, &k.figures, &k.views));
        ShapeSection {
            path: path(part.code.as_str()),
            off: off.map_or_else(String::new, |off| {
                format!(
                    "“{}” was taken off by {} {}: {}.",
                    off.file_name,
                    off.off_by,
                    page.age(&off.off_ms),
                    off.reason.trim_end_matches('.')
                )
            }),
            told: kept.map_or_else(String::new, |kept| {
                format!(
                    "{}, in {}, given by {} {}",
                    kept.file_name,
                    kept.unit,
                    kept.given_by,
                    page.age(&kept.given_ms)
                )
            }),
            shown,
            may_give: visit.may(Act::Attach),
        }
    }
}

/// The form that gives a part its shape.
#[derive(Template)]
#[template(path = "shape/give.html")]
pub struct GivePage {
    pub page: Layout,
    pub code: String,
    pub name: String,
    pub form: ShapeForm,
    pub errors: FieldErrors,
}

impl GivePage {
    fn path(&self) -> String {
        path(&self.code)
    }

    fn units(&self) -> Vec<(&'static str, &'static str)> {
        let units = Unit::ALL.iter().copied();
        units.map(|unit| (unit.as_str(), unit.as_str())).collect()
    }
}

/// What was read of a file, before it is kept.
#[derive(Template)]
#[template(path = "shape/read.html")]
pub struct ReadPage {
    page: Layout,
    code: String,
    name: String,
    shown: Shown,
    told: String,
    back: String,
    action: String,
}

impl ReadPage {
    pub fn new(page: Layout, situation: &Situation, part: &Part, reading: &Reading) -> ReadPage {
        let back = path(part.code.as_str());
        ReadPage {
            page,
            code: part.code.to_string(),
            name: part.name.clone(),
            shown: Shown::new(situation, part, &reading.figures, &reading.views),
            told: format!("{}, read in {}", reading.file_name, reading.unit),
            action: format!("{back}/{}", reading.id),
            back,
        }
    }

    fn answer(&self) -> String {
        match self.shown.faults.len() {
            0 => format!(
                "Keep this shape for {}, {}, if it is the right one.",
                self.code, self.name
            ),
            1 => format!(
                "Look at what is told of this shape before {} keeps it.",
                self.code
            ),
            count => format!(
                "Look at {count} faults of this shape before {} keeps it.",
                self.code
            ),
        }
    }
}
