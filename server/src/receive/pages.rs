use askama::Template;
use mendpost_core::powder::LotState;

use super::draft::{Draft, Lot};
use super::form::amount;
use super::queries::{Delivery, Kind, Line, LotOf, OfReceipt, Receipt};
use super::{Coming, delivery_path, new_path, receipt_path};
use crate::form::FieldErrors;
use crate::form::section::{Fields, Section};
use crate::page::{Layout, grams_exact};
use crate::powder::lot_path;
use crate::words::powder::lot_state;
use crate::words::work::sentence;

/// What came of a line, in words.
struct LineRow {
    name: String,
    of_list: String,
    expected: String,
    taken: String,
    /// What is out of the ordinary; empty if nothing is.
    matter: String,
    /// 'all here', or what is missing.
    missing: String,
    mark: &'static str,
}

fn line_row(line: &Line, came: &mendpost_core::powder::receipt::Came, note: &str) -> LineRow {
    let say = |number| amount(line.kind, number);
    let mut matter = Vec::new();
    if came.over() > 0 {
        matter.push(format!("{} too many", say(came.over())));
    }
    if came.damaged > 0 {
        matter.push(format!("{} damaged, set aside", say(came.damaged)));
    }
    if came.refused > 0 {
        matter.push(format!("{} refused", say(came.refused)));
    }
    if !note.is_empty() {
        matter.push(note.to_owned());
    }
    let missing = match (came.missing(), line.kind) {
        (0, _) => "nothing".to_owned(),
        (_, Kind::Other) => "it".to_owned(),
        (missing, _) => say(missing),
    };
    LineRow {
        name: sentence(&line.name),
        of_list: line.list_in_words(),
        expected: match line.kind {
            Kind::Other => "1".to_owned(),
            _ => say(came.expected),
        },
        taken: match (line.kind, came.taken) {
            (Kind::Other, taken) => taken.to_string(),
            (_, taken) => say(taken),
        },
        matter: matter.join("; "),
        mark: if came.missing() == 0 { "done" } else { "waits" },
        missing,
    }
}

struct ReceiptRow {
    path: String,
    number: i64,
    when: String,
    by: String,
    of: String,
    note: String,
    journal: i64,
}

fn receipt_row(page: &Layout, receipt: Receipt) -> ReceiptRow {
    let of = receipt.delivery_name.unwrap_or_default();
    ReceiptRow {
        path: receipt_path(receipt.number),
        number: receipt.number,
        when: page.moment(&receipt.received_ms),
        by: receipt.received_by,
        of: if of.is_empty() {
            "without a delivery".to_owned()
        } else {
            of
        },
        note: receipt.note,
        journal: receipt.journal,
    }
}

struct DeliveryRow {
    path: String,
    new: String,
    name: String,
    code: String,
    when: String,
    state: String,
    missing: String,
    is_expected: bool,
    mark: &'static str,
}

fn delivery_row(page: &Layout, delivery: Delivery, lines: &[Line]) -> DeliveryRow {
    let is_expected = delivery.state == "expected";
    let missing: Vec<String> = lines
        .iter()
        .filter(|line| line.open() > 0)
        .map(|line| match line.kind {
            Kind::Other => line.name.clone(),
            kind => format!("{} of {}", amount(kind, line.open()), line.name),
        })
        .collect();
    let mark = match (is_expected, missing.is_empty()) {
        (true, _) => "free",
        (false, true) => "done",
        (false, false) => "waits",
    };
    DeliveryRow {
        path: delivery_path(&delivery.code),
        new: new_path(&delivery.code),
        name: delivery.name,
        when: page.moment(&delivery.expected_ms),
        state: match delivery.state.as_str() {
            "arrived" if missing.is_empty() => "arrived, all of it".to_owned(),
            "arrived" => "arrived, not all of it".to_owned(),
            other => other.to_owned(),
        },
        missing: missing.join(", "),
        code: delivery.code,
        is_expected,
        mark,
    }
}

#[derive(Template)]
#[template(path = "receive/list.html")]
pub struct ListPage {
    page: Layout,
    answer: String,
    reason: String,
    deliveries: Vec<DeliveryRow>,
    receipts: Vec<ReceiptRow>,
    may_enter: bool,
}

impl ListPage {
    pub fn new(
        page: Layout,
        deliveries: Vec<(Delivery, Vec<Line>)>,
        receipts: Vec<Receipt>,
        may_enter: bool,
    ) -> Self {
        let next = deliveries.iter().find(|(it, _)| it.state == "expected");
        let (answer, reason) = match next {
            Some((next, _)) => (
                format!("Receive the {} next.", next.name),
                format!(
                    "It is expected {}, {}.",
                    page.moment(&next.expected_ms),
                    page.age(&next.expected_ms)
                ),
            ),
            None => (
                "Receive what comes: no delivery is expected.".to_owned(),
                String::new(),
            ),
        };
        ListPage {
            answer,
            reason,
            deliveries: deliveries
                .into_iter()
                .map(|(delivery, lines)| delivery_row(&page, delivery, &lines))
                .collect(),
            receipts: receipts
                .into_iter()
                .map(|it| receipt_row(&page, it))
                .collect(),
            may_enter,
            page,
        }
    }
}

#[derive(Template)]
#[template(path = "receive/delivery.html")]
pub struct DeliveryPage {
    page: Layout,
    answer: String,
    reason: String,
    row: DeliveryRow,
    latest: String,
    lines: Vec<LineRow>,
    receipts: Vec<ReceiptRow>,
    may_enter: bool,
    has_gauges: bool,
}

impl DeliveryPage {
    pub fn new(
        page: Layout,
        delivery: Delivery,
        lines: &[Line],
        receipts: Vec<Receipt>,
        may_enter: bool,
    ) -> Self {
        let latest = delivery
            .latest_ms
            .map(|ms| page.moment(&ms))
            .unwrap_or_default();
        let age = page.age(&delivery.expected_ms);
        let has_gauges = lines
            .iter()
            .any(|it| matches!(it.kind, Kind::Gas | Kind::Fuel));
        let row = delivery_row(&page, delivery, lines);
        let (answer, reason) = match (row.is_expected, row.missing.is_empty()) {
            (true, _) => (
                format!("Receive the {} when it comes.", row.name),
                format!("It is expected {}, {age}.", row.when),
            ),
            (false, true) => (
                format!("The {} brought all that was expected.", row.name),
                String::new(),
            ),
            (false, false) => (
                format!("Ask for what the {} did not bring.", row.name),
                format!("Still missing: {}.", row.missing),
            ),
        };
        DeliveryPage {
            answer,
            reason,
            lines: lines
                .iter()
                .map(|line| line_row(line, &line.came, ""))
                .collect(),
            receipts: receipts
                .into_iter()
                .map(|it| receipt_row(&page, it))
                .collect(),
            row,
            latest,
            may_enter,
            has_gauges,
            page,
        }
    }
}

struct LotRow {
    path: String,
    code: String,
    powder: String,
    state: String,
    containers: i64,
    grams: String,
}

#[derive(Template)]
#[template(path = "receive/receipt.html")]
pub struct ReceiptPage {
    page: Layout,
    answer: String,
    reason: String,
    row: ReceiptRow,
    delivery: Option<String>,
    lines: Vec<LineRow>,
    lots: Vec<LotRow>,
    has_gauges: bool,
}

impl ReceiptPage {
    pub fn new(
        page: Layout,
        receipt: Receipt,
        lines: &[Line],
        of: &[OfReceipt],
        lots: &[LotOf],
    ) -> Self {
        let delivery = receipt.delivery.as_deref().map(delivery_path);
        let has_gauges = lines
            .iter()
            .any(|it| matches!(it.kind, Kind::Gas | Kind::Fuel));
        let rows: Vec<LineRow> = lines
            .iter()
            .filter_map(|line| {
                let mine = of.iter().find(|it| it.line == line.id)?;
                let came = mendpost_core::powder::receipt::Came {
                    expected: line.came.expected,
                    taken: mine.taken,
                    damaged: mine.damaged,
                    refused: mine.refused,
                };
                let mut row = line_row(line, &came, &mine.note);
                // Of what is missing by now, whichever receipt brought the rest.
                row.missing = line_row(line, &line.came, "").missing;
                row.mark = if line.open() == 0 { "done" } else { "waits" };
                Some(row)
            })
            .collect();
        let waiting: Vec<&str> = lots
            .iter()
            .filter(|lot| ["arrived", "quarantine"].contains(&lot.state.as_str()))
            .map(|lot| lot.code.as_str())
            .collect();
        let answer = match waiting.as_slice() {
            [] => "Nothing of this receipt waits for its release.".to_owned(),
            [one] => format!("Check the certificate of {one}, and release it."),
            [many @ .., last] => format!(
                "Check the certificates of {} and {last}, and release them.",
                many.join(", ")
            ),
        };
        let missing = rows.iter().filter(|row| row.missing != "nothing").count();
        ReceiptPage {
            answer,
            reason: match missing {
                0 => String::new(),
                1 => "One thing of the delivery is still missing.".to_owned(),
                many => format!("{many} things of the delivery are still missing."),
            },
            row: receipt_row(&page, receipt),
            delivery,
            lines: rows,
            lots: lots
                .iter()
                .map(|lot| LotRow {
                    path: lot_path(&lot.code),
                    code: lot.code.clone(),
                    powder: lot.powder.clone(),
                    state: lot
                        .state
                        .parse::<LotState>()
                        .map_or("", lot_state)
                        .to_owned(),
                    containers: lot.containers,
                    grams: grams_exact(lot.milligrams),
                })
                .collect(),
            has_gauges,
            page,
        }
    }
}

/// A line of the delivery in the form.
struct FormLine {
    at: usize,
    name: String,
    of_list: String,
    owed: String,
    unit: &'static str,
    is_powder: bool,
    is_other: bool,
}

/// A container in the form.
struct Can<'a> {
    section: Section<'a>,
    hint: String,
    /// What takes it out.
    out: String,
}

#[derive(Template)]
#[template(path = "receive/new.html")]
pub struct FormPage {
    page: Layout,
    answer: String,
    reason: String,
    delivery: String,
    back: String,
    lines: Vec<FormLine>,
    has_gauges: bool,
    powders: Vec<(String, String)>,
    draft: Draft,
    errors: FieldErrors,
    /// An empty section, for lines of which nothing is typed.
    nothing: Fields,
}

impl FormPage {
    pub(super) fn new(page: Layout, coming: &Coming, draft: Draft, errors: FieldErrors) -> Self {
        let (answer, reason, delivery, back) = match &coming.delivery {
            Some((delivery, _)) => (
                format!("Receive the {}.", delivery.name),
                "Count the pieces, look at each seal, weigh what is powder. Lots wait in quarantine for their release.".to_owned(),
                delivery.code.clone(),
                delivery_path(&delivery.code),
            ),
            None => (
                "Receive what came without a delivery.".to_owned(),
                "Count the pieces, look at each seal, weigh. Lots wait in quarantine for their release.".to_owned(),
                String::new(),
                super::PATH.to_owned(),
            ),
        };
        let lines = coming
            .lines()
            .iter()
            .enumerate()
            .map(|(at, line)| FormLine {
                at,
                name: sentence(&line.name),
                of_list: line.list_in_words(),
                owed: match line.kind {
                    Kind::Other => "expected".to_owned(),
                    kind => format!("{} expected", amount(kind, line.open())),
                },
                unit: match line.kind {
                    Kind::Powder => "g",
                    Kind::Gas => "bottles",
                    Kind::Fuel => "L",
                    Kind::Other => "",
                },
                is_powder: line.kind == Kind::Powder,
                is_other: line.kind == Kind::Other,
            });
        let has_gauges = coming
            .lines()
            .iter()
            .any(|it| matches!(it.kind, Kind::Gas | Kind::Fuel));
        FormPage {
            answer,
            reason,
            delivery,
            back,
            lines: lines.collect(),
            has_gauges,
            powders: coming.powders.clone(),
            draft,
            errors,
            nothing: Fields::new(),
            page,
        }
    }

    fn line(&self, line: &FormLine) -> Section<'_> {
        let fields = self.draft.lines.get(&line.at).unwrap_or(&self.nothing);
        Section::new(format!("d{}_", line.at), fields)
    }

    fn cans<'a>(&self, at: &usize, head: &str, lot: &'a Lot) -> Vec<Can<'a>> {
        let code = lot.own(head).typed("code");
        let cans = lot.cans(head).into_iter().enumerate();
        cans.map(|(number, section)| Can {
            hint: format!("scan it; empty: {code}-{}", number + 1),
            out: format!("take-can-out.{at}.{number}"),
            section,
        })
        .collect()
    }

    fn add_element(&self, at: &usize) -> String {
        format!("add-element.{at}")
    }

    fn damaged(&self) -> [(&'static str, &'static str); 2] {
        [("0", "no"), ("1", "yes")]
    }

    fn lots(&self) -> Vec<(usize, String, &Lot)> {
        let lots = self.draft.lots().enumerate();
        lots.map(|(at, (head, lot))| (at, head, lot)).collect()
    }

    fn date_kinds(&self) -> [(&'static str, &'static str); 2] {
        [("use-by", "use by"), ("retest", "retest by")]
    }

    fn seals(&self) -> [(&'static str, &'static str); 3] {
        [
            ("whole", "whole"),
            ("broken", "broken"),
            ("none", "came without"),
        ]
    }

    fn fates(&self) -> [(&'static str, &'static str); 2] {
        [
            ("refused", "refused, goes back"),
            ("quarantined", "kept apart"),
        ]
    }

    fn came(&self) -> [(&'static str, &'static str); 2] {
        [("1", "it came"), ("0", "it did not come")]
    }

    /// How many marked entries there are.
    fn faults(&self) -> String {
        match self.errors.iter().count() {
            0 => String::new(),
            1 => "put the marked entry right".to_owned(),
            many => format!("put the {many} marked entries right"),
        }
    }
}

/// A delivery that is due, for the page of what is next.
pub struct Due {
    pub name: String,
    pub when: String,
    pub path: String,
}

impl Due {
    /// Deliveries that are expected within a day or should have come.
    pub fn of(page: &Layout, deliveries: Vec<Delivery>) -> Vec<Due> {
        const SOON_MS: i64 = 24 * 60 * 60 * 1000;
        let due = deliveries.into_iter().filter(|delivery| {
            delivery.state == "expected" && delivery.expected_ms <= page.now() + SOON_MS
        });
        due.map(|delivery| Due {
            when: format!(
                "expected {}, {}",
                page.moment(&delivery.expected_ms),
                page.age(&delivery.expected_ms)
            ),
            path: delivery_path(&delivery.code),
            name: delivery.name,
        })
        .collect()
    }
}
