//! Sheets of labels, to print and cut.

use askama::Template;
use mendpost_core::label::{Kind, Label};
use serde::Deserialize;

use super::face::{Beside, Face};
use super::queries::{ContainerFacts, LotFacts, RequestFacts};
use crate::error::AppError;
use crate::page::{Layout, hour, offset};

/// Labels on one sheet of A4 or Letter: two side by side, five above each other.
const ON_A_SHEET: usize = 10;

/// What is printed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    A4,
    Letter,
    /// A label each, for a label printer.
    Single,
}

impl Paper {
    const ALL: [Paper; 3] = [Paper::A4, Paper::Letter, Paper::Single];

    /// The word in an address, and the class of its sheets.
    fn word(self) -> &'static str {
        match self {
            Paper::A4 => "a4",
            Paper::Letter => "letter",
            Paper::Single => "single",
        }
    }

    fn name(self) -> &'static str {
        match self {
            Paper::A4 => "A4 sheets",
            Paper::Letter => "Letter sheets",
            Paper::Single => "One by one",
        }
    }

    fn on_one(self) -> usize {
        match self {
            Paper::A4 | Paper::Letter => ON_A_SHEET,
            Paper::Single => 1,
        }
    }
}

/// The choice of paper in an address; anything else is no choice.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Choice {
    paper: String,
}

/// The labels of something, on sheets.
#[derive(Template)]
#[template(path = "labels/sheet.html")]
pub struct SheetPage {
    page: Layout,
    /// Whose labels they are, as 'lot L0396'.
    of: String,
    /// Where that has its page.
    of_path: String,
    paper: Paper,
    count: usize,
    sheets: Vec<Vec<Face>>,
    /// Each paper with its address here.
    papers: Vec<(Paper, String)>,
}

impl SheetPage {
    /// `path` is the address of this page, `of` what it is about and where that stands.
    pub fn new(
        page: Layout,
        path: &str,
        of: (String, String),
        faces: &[Face],
        chosen: &Choice,
    ) -> SheetPage {
        let usual = if faces.len() == 1 {
            Paper::Single
        } else {
            Paper::A4
        };
        let named = |paper: &Paper| paper.word() == chosen.paper;
        let paper = Paper::ALL.into_iter().find(named).unwrap_or(usual);
        let address = |paper: Paper| (paper, format!("{path}?paper={}", paper.word()));
        SheetPage {
            page,
            of: of.0,
            of_path: of.1,
            paper,
            count: faces.len(),
            sheets: faces.chunks(paper.on_one()).map(<[Face]>::to_vec).collect(),
            papers: Paper::ALL.into_iter().map(address).collect(),
        }
    }

    fn answer(&self) -> String {
        let labels = match self.count {
            1 => "1 label".to_owned(),
            count => format!("{count} labels"),
        };
        let sheets = match (self.paper, self.sheets.len()) {
            (Paper::Single, _) => "each on a label of 90 by 50 mm".to_owned(),
            (Paper::A4, 1) => "on 1 sheet of A4".to_owned(),
            (Paper::A4, count) => format!("on {count} sheets of A4"),
            (Paper::Letter, 1) => "on 1 sheet of Letter".to_owned(),
            (Paper::Letter, count) => format!("on {count} sheets of Letter"),
        };
        format!("Print {labels} of {}, {sheets}.", self.of)
    }
}

/// The label of a container: what is in it, of which lot, and how long it is good.
pub fn container(page: &Layout, facts: &ContainerFacts) -> Result<Face, AppError> {
    let label = label(Kind::Container, &facts.code)?;
    let mut beside = vec![
        Beside::name(&facts.powder),
        Beside::line(&format!("lot {}", facts.lot), false),
    ];
    beside.extend(use_by(page, facts.use_by_ms));
    Face::new(&label, &beside, super::container_label(&facts.code))
}

/// The label of a lot, for its shelf and its papers.
pub fn lot(page: &Layout, facts: &LotFacts) -> Result<Face, AppError> {
    let label = label(Kind::Lot, &facts.code)?;
    let mut beside = vec![Beside::name(&facts.powder)];
    if !facts.maker_lot.is_empty() {
        beside.push(Beside::line(&format!("maker’s {}", facts.maker_lot), false));
    }
    beside.extend(use_by(page, facts.use_by_ms));
    Face::new(&label, &beside, super::lot_label(&facts.code))
}

/// The label of a request, for the broken part and for what is built in its place.
pub fn request(facts: &RequestFacts) -> Result<Face, AppError> {
    let label = label(Kind::Request, &facts.code())?;
    let beside = [Beside::name(&facts.asset), Beside::more(&facts.part_name)];
    let alone = format!("/labels/requests/{}", facts.number);
    Face::new(&label, &beside, alone)
}

fn label(kind: Kind, code: &str) -> Result<Label, AppError> {
    Label::new(kind, code).map_err(AppError::internal)
}

fn use_by(page: &Layout, use_by_ms: Option<i64>) -> [Beside; 2] {
    match use_by_ms {
        Some(until) => {
            let zone = page.zone();
            let clock = format!("{} {}", hour(until, zone), offset(until, zone));
            [
                Beside::line(&format!("use by {}", page.day(&until)), true),
                Beside::line(&clock, false),
            ]
        }
        None => [
            Beside::line("use by:", true),
            Beside::line("not told", false),
        ],
    }
}
