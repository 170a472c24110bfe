//! One lot: where it stands, its containers, its book, and the places that draw on it.

use askama::Template;
use mendpost_core::lineup::{LineUp, LotStock, Place, Stock};
use mendpost_core::powder::certificate::Within;
use mendpost_core::powder::{LotState, Reason, blend};
use mendpost_core::quantity::Milligrams;
use mendpost_core::situation::Situation;

use super::queries::{ContainerRow, LotFacts};
use super::release::LotAct;
use super::{kind, lot_path};
use crate::attachment::Photos;
use crate::blend::queries::Relative;
use crate::book::queries::BookLine;
use crate::certificate::Checked;
use crate::feeder;
use crate::form::plain_decimal;
use crate::furnace::Dried;
use crate::page::{Layout, grams_down, grams_exact, whole};
use crate::signature::Signature;
use crate::words::powder::{lot_state, moved, place};
use crate::words::work::sentence;
use crate::words::{Words, certificate};
use crate::{receive, requests};

/// What is on record about a lot.
pub struct Record {
    pub lot: LotFacts,
    pub containers: Vec<ContainerRow>,
    /// The newest, or those before an entry, and the address of older ones.
    pub movements: Vec<BookLine>,
    pub older: Option<String>,
    pub signatures: Vec<Signature>,
    /// Loads of the furnace in which its containers dried.
    pub dried: Vec<Dried>,
    /// What the person may do with it.
    pub acts: Vec<LotAct>,
    pub photos: Photos,
    /// Whether the person may draw powder, and take back what moved.
    pub may_draw: bool,
    pub may_take_back: bool,
    pub checked: Checked,
    /// The lots that it was made of, and those that were made of it.
    pub parents: Vec<Relative>,
    pub children: Vec<Relative>,
}

#[derive(Template)]
#[template(path = "powder/lot.html")]
pub struct LotPage {
    page: Layout,
    answer: String,
    reason: String,
    code: String,
    /// The address of the figures of its powder.
    kind: String,
    mark: &'static str,
    pairs: Vec<(&'static str, String, String)>,
    containers: Vec<Can>,
    certificate: Vec<certificate::Line>,
    /// Who entered it, and when.
    entered: String,
    missing: String,
    findings: Vec<String>,
    parents: Vec<Share>,
    children: Vec<Share>,
    receipt: Option<(String, i64)>,
    movements: Vec<Line>,
    older: Option<String>,
    places: Vec<Draw>,
    signatures: Vec<Signature>,
    dried: Vec<Dried>,
    acts: Vec<LotAct>,
    photos: Photos,
}

struct Can {
    code: String,
    opened: String,
    seal: String,
    /// Gross and tare as it came.
    weights: String,
    damage: String,
    grams: String,
    /// Where it is drawn from, for who may.
    draw: Option<String>,
}

/// A lot that went into this one, or came of it.
struct Share {
    path: String,
    code: String,
    powder: String,
    state: &'static str,
    grams: String,
    /// Of the whole, in per cent.
    share: String,
}

struct Line {
    when: String,
    reason: &'static str,
    note: String,
    from: String,
    to: String,
    grams: String,
    taken_back: bool,
    can_be_taken_back: bool,
    sequence: i64,
}

struct Draw {
    number: usize,
    mark: &'static str,
    path: String,
    asset: String,
    part: String,
    when: String,
    grams: String,
}

impl LotPage {
    pub fn new(
        page: Layout,
        situation: &Situation,
        line_up: Option<&LineUp>,
        stocks: &[Stock],
        record: Record,
    ) -> Self {
        let words = Words::new(situation);
        let mut lots = stocks.iter().flat_map(|s| &s.lots);
        let stock = lots.find(|l| l.lot.code.as_str() == record.lot.code);
        let (answer, reason) = answer(&page, &words, &record.lot, stock);
        let entered = record.checked.entered.as_ref();
        LotPage {
            certificate: entered.map_or_else(Vec::new, |it| {
                certificate::lines(&it.certificate, &record.checked.limits)
            }),
            entered: entered.map_or_else(String::new, |it| {
                format!("entered by {}, {}", it.by, page.moment(&it.at_ms))
            }),
            missing: record.checked.missing_in_words(),
            findings: record.checked.findings_in_words(),
            parents: shares(&record.parents),
            children: record.children.iter().map(|it| share(it, None)).collect(),
            receipt: record
                .lot
                .receipt
                .map(|number| (receive::receipt_path(number), number)),
            answer,
            reason,
            kind: kind::path(&record.lot.powder),
            mark: mark(&record.lot, stock),
            pairs: pairs(&page, &record.lot, stock),
            places: line_up
                .map_or_else(Vec::new, |l| draws(situation, &words, l, &record.lot.code)),
            containers: record
                .containers
                .iter()
                .map(|c| container(&page, &record, c))
                .collect(),
            movements: record
                .movements
                .into_iter()
                .map(|m| line(&page, m, record.may_take_back))
                .collect(),
            older: record.older,
            signatures: record.signatures,
            dried: record.dried,
            acts: record.acts,
            photos: record.photos,
            code: record.lot.code,
            page,
        }
    }
}

fn answer(
    page: &Layout,
    words: &Words<'_>,
    lot: &LotFacts,
    stock: Option<&LotStock>,
) -> (String, String) {
    let (code, name) = (&lot.code, words.powder_short(&lot.powder));
    let note = if lot.state_note.is_empty() {
        String::new()
    } else {
        format!("{}.", sentence(&lot.state_note))
    };
    let Some(stock) = stock else {
        return (format!("Draw nothing from {code}: it is empty."), note);
    };
    let answer = match lot.state {
        LotState::Hold => format!("Do not draw from {code}: it is on hold."),
        LotState::Quarantine => format!("Do not draw from {code} yet: it is in quarantine."),
        LotState::Arrived => format!("Look at {code} first: it has arrived and is not released."),
        LotState::Rejected => format!("Never draw from {code}: it is rejected."),
        LotState::Empty => format!("Draw nothing from {code}: it is empty."),
        LotState::Released if !stock.usable => {
            let until = lot.use_by_ms.map(|ms| page.moment(&ms)).unwrap_or_default();
            format!("Do not draw from {code}: its date passed, {until}.")
        }
        LotState::Released if stock.free_g == 0 => {
            format!("Draw from {code} for the order alone: none of its {name} is free.")
        }
        LotState::Released if stock.for_any_g == 0 => format!(
            "Draw from {code} for the order, and for machines for which {name} is kept back."
        ),
        LotState::Released => format!(
            "Draw up to {} g of {name} from {code} freely.",
            whole(stock.for_any_g)
        ),
    };
    (answer, note)
}

fn mark(lot: &LotFacts, stock: Option<&LotStock>) -> &'static str {
    match lot.state {
        LotState::Released if stock.is_some_and(|s| s.usable) => "ready",
        LotState::Hold => "hold",
        LotState::Arrived | LotState::Quarantine => "quarantine",
        _ => "lost",
    }
}

fn pairs(
    page: &Layout,
    lot: &LotFacts,
    stock: Option<&LotStock>,
) -> Vec<(&'static str, String, String)> {
    let grams = |value: Option<i64>| format!("{} g", whole(value.unwrap_or(0)));
    let made = lot.keeping.made_on.map(|day| format!("made {day}"));
    let maker = if lot.maker_lot.is_empty() {
        "not on record".to_owned()
    } else {
        lot.maker_lot.clone()
    };
    let keeping = &lot.keeping;
    let use_by = lot.use_by_ms.map_or_else(
        || ("none told".to_owned(), String::new()),
        |ms| (page.moment(&ms), page.age(&ms)),
    );
    vec![
        (
            "State",
            lot_state(lot.state).to_owned(),
            lot.state_note.clone(),
        ),
        ("Powder", sentence(&lot.powder_name), lot.powder.clone()),
        ("Maker’s lot", maker, made.unwrap_or_default()),
        (
            "Received",
            page.moment(&lot.received_ms),
            page.age(&lot.received_ms),
        ),
        (
            certificate::date_kind(keeping.date_kind),
            use_by.0,
            use_by.1,
        ),
        (
            "Stands",
            or_not_told(&keeping.storage),
            keep_at(keeping.humidity),
        ),
        (
            "On hand",
            grams(stock.map(|s| s.on_hand_g)),
            "sum of the movements".to_owned(),
        ),
        (
            "Committed",
            grams(stock.map(|s| s.committed_g)),
            String::new(),
        ),
        (
            "Free for any machine",
            grams(stock.map(|s| s.for_any_g)),
            kept(stock),
        ),
    ]
}

fn or_not_told(text: &str) -> String {
    if text.is_empty() { "nobody said" } else { text }.to_owned()
}

/// In which humidity it is to be kept.
fn keep_at(humidity: Within) -> String {
    match (humidity.min, humidity.max) {
        (Some(min), Some(max)) => format!("keep at {min} to {max} % humidity"),
        (Some(min), None) => format!("keep at {min} % humidity or more"),
        (None, Some(max)) => format!("keep at {max} % humidity or less"),
        (None, None) => String::new(),
    }
}

fn shares(parents: &[Relative]) -> Vec<Share> {
    let masses: Vec<Milligrams> = parents.iter().map(|parent| parent.mass).collect();
    let shares = blend::shares(&masses);
    let each = parents.iter().zip(shares);
    each.map(|(parent, ppm)| share(parent, Some(ppm))).collect()
}

fn share(of: &Relative, ppm: Option<i64>) -> Share {
    Share {
        path: lot_path(&of.lot),
        code: of.lot.clone(),
        powder: of.powder.clone(),
        state: lot_state(of.state),
        grams: match of.mass.0 {
            0 => "by another".to_owned(),
            mg => grams_exact(mg),
        },
        share: ppm.map_or_else(String::new, |ppm| {
            format!("{} %", plain_decimal((ppm + 500) / 1000, 1))
        }),
    }
}

/// What of a lot only the machines may draw for which it is kept back.
fn kept(stock: Option<&LotStock>) -> String {
    match stock.map_or(0, |it| it.free_g - it.for_any_g) {
        0 => String::new(),
        grams => format!("{} g more is kept back", whole(grams)),
    }
}

fn container(page: &Layout, record: &Record, row: &ContainerRow) -> Can {
    let opened = row.opened_ms.map_or_else(
        || "not opened".to_owned(),
        |ms| format!("opened {}", page.moment(&ms)),
    );
    let released = record.lot.state == LotState::Released;
    let may = record.may_draw && released && row.on_hand_mg > 0;
    let it = &row.as_it_came;
    let seal = match (it.seal.as_str(), it.seal_state) {
        ("", None) => String::new(),
        ("", state) => format!("seal {}", certificate::seal(state)),
        (number, state) => format!("seal {number}, {}", certificate::seal(state)),
    };
    let weights = [("gross", it.gross), ("tare", it.tare)];
    let weights = weights
        .into_iter()
        .filter_map(|(word, mass)| Some(format!("{word} {}", grams_exact(mass?.0))));
    Can {
        code: row.code.clone(),
        opened,
        seal,
        weights: weights.collect::<Vec<_>>().join(", "),
        damage: it.damage.clone(),
        grams: grams_down(row.on_hand_mg),
        draw: may.then(|| feeder::draw_path(&row.code)),
    }
}

fn line(page: &Layout, row: BookLine, may_take_back: bool) -> Line {
    let movement = row.movement;
    let ways = [&movement.from, &movement.to].map(place);
    Line {
        when: page.moment(&row.at_ms),
        reason: moved(movement.reason),
        note: row.note,
        from: ways[0].clone(),
        to: ways[1].clone(),
        grams: grams_exact(movement.mass.0),
        taken_back: row.taken_back,
        can_be_taken_back: may_take_back
            && !row.taken_back
            && movement.reason != Reason::Correction,
        sequence: row.sequence,
    }
}

fn draws(situation: &Situation, words: &Words<'_>, line_up: &LineUp, lot: &str) -> Vec<Draw> {
    let mut draws = Vec::new();
    let open = |place: &&Place| situation.request(&place.request).is_some();
    for place in line_up.places.iter().filter(open) {
        for (_, stage) in place.stages() {
            for share in stage.lots.iter().filter(|share| share.lot == lot) {
                draws.push(Draw {
                    number: place.number,
                    mark: words.readiness(&place.readiness).0,
                    path: requests::path(&place.request),
                    asset: words.asset(place.asset.as_str()),
                    part: place.part_name.clone(),
                    when: words.clock(stage.start),
                    grams: format!("{} g", whole(share.grams)),
                });
            }
        }
    }
    draws
}
