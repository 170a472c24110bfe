//! From what was weighed out and in to the movements of a blend, or every fault beside its field.

use std::collections::{BTreeMap, BTreeSet};

use mendpost_core::code::{self, ContainerCode, LotCode, PowderCode};
use mendpost_core::powder::blend::{apportion, pour, use_by};
use mendpost_core::powder::book::{Movement, Place};
use mendpost_core::powder::certificate::Within;
use mendpost_core::powder::receipt::Weighing;
use mendpost_core::powder::{DateKind, Gap, Lot, LotState, Reason};
use mendpost_core::quantity::Milligrams;

use super::Here;
use super::queries::Source;
use crate::certificate::today;
use crate::db::decoded;
use crate::error::AppError;
use crate::form::section::{Fields, Section, numbered};
use crate::form::{FieldErrors, MOST_WEIGHED_MG, text};
use crate::page::grams_exact;
use crate::people::Visit;
use crate::receive::Numbers;
use crate::seed::{AsItCame, Keeping, SeedContainer, SeedLot};
use crate::situation::moment;

/// The most that one form takes.
const MOST_ROWS: usize = 20;

/// What was typed: containers that gave, and containers of the new lot.
#[derive(Debug, Clone, Default)]
pub struct Draft {
    pub fields: Fields,
    pub out: Vec<Fields>,
    pub cans: Vec<Fields>,
}

impl Draft {
    pub fn of(fields: Fields) -> Draft {
        let rows = |letter| -> Vec<Fields> {
            let rows = numbered(&fields, letter).into_values();
            rows.take(MOST_ROWS).collect()
        };
        Draft {
            out: rows('p'),
            cans: rows('c'),
            fields,
        }
    }

    pub fn blank(numbers: &Numbers) -> Draft {
        let code = numbers.next(&[]).map(String::from).unwrap_or_default();
        Draft {
            fields: Fields::from([("code".to_owned(), code)]),
            out: vec![Fields::new(); 2],
            cans: vec![Fields::new()],
        }
    }

    pub fn own(&self) -> Section<'_> {
        Section::new(String::new(), &self.fields)
    }

    pub fn out(&self) -> Vec<Section<'_>> {
        let rows = self.out.iter().enumerate();
        rows.map(|(at, fields)| Section::new(format!("p{at}_"), fields))
            .collect()
    }

    pub fn cans(&self) -> Vec<Section<'_>> {
        let rows = self.cans.iter().enumerate();
        rows.map(|(at, fields)| Section::new(format!("c{at}_"), fields))
            .collect()
    }

    pub fn is_sent(&self) -> bool {
        self.own().typed("do") == "blend"
    }

    /// Adds what the button that was pressed asks for; any other only shows the form again.
    pub fn apply(&mut self) {
        let rows = match self.own().typed("do") {
            "add-out" => &mut self.out,
            "add-can" => &mut self.cans,
            _ => return,
        };
        if rows.len() < MOST_ROWS {
            rows.push(Fields::new());
        }
    }

    /// The labels of the new containers.
    pub fn labels(&self) -> Vec<String> {
        let lot = self.own();
        let lot = lot.typed("code");
        let cans = self.cans();
        let label = |(at, can): (usize, &Section<'_>)| match can.typed("code") {
            "" => format!("{lot}-{}", at + 1),
            typed => typed.to_owned(),
        };
        cans.iter().enumerate().map(label).collect()
    }
}

/// What is made.
pub struct New {
    pub lot: SeedLot,
    pub movements: Vec<Movement>,
    /// The containers that gave.
    pub opened: Vec<ContainerCode>,
    /// How many lots.
    pub parents: usize,
    pub spilt: Milligrams,
    /// What was weighed into the new containers, less what was weighed out and not spilt.
    pub difference: Milligrams,
    pub reason: String,
}

/// What is to be made, or none after a fault.
pub fn parse(
    draft: &Draft,
    here: &Here,
    (taken, visit): (&[String], &Visit),
    errors: &mut FieldErrors,
) -> Result<Option<New>, AppError> {
    let own = draft.own();
    let code = new_code(&own, here, errors);
    let powder = powder(&own, here, errors);
    let reason = own.read("reason", |typed| text(typed, 200), errors);
    let out = weighed_out(draft, here, errors);
    let spilt = own.decimal("spilt", 3, 0..=MOST_WEIGHED_MG, errors);
    let spilt = Milligrams(spilt.unwrap_or(0));
    let all: Milligrams = out.iter().map(|(_, mass)| *mass).sum();
    let cans = weighed_in(draft, here, taken, Milligrams(all.0 - spilt.0), errors);
    let storage = own.text("storage", 80, errors);
    let (Some(code), Some(powder), Some(reason), true) = (code, powder, reason, errors.is_empty())
    else {
        return Ok(None);
    };
    let Some((nets, difference)) = settle(&own, here, (all, spilt), &cans, errors) else {
        return Ok(None);
    };
    let places: Vec<Milligrams> = nets.iter().copied().chain([spilt]).collect();
    let masses: Vec<Milligrams> = out.iter().map(|(_, mass)| *mass).collect();
    let poured = pour(&masses, &places).map_err(AppError::internal)?;
    let to: Vec<Place> = cans
        .iter()
        .map(|can| Place::Container(can.code.clone()))
        .chain([Place::Waste])
        .collect();
    let mut movements = Vec::new();
    for (to, row) in to.iter().zip(&poured) {
        for ((source, _), mass) in out.iter().zip(row) {
            movements.extend(movement(source, &code, to, *mass));
        }
    }
    let parents: BTreeMap<&LotCode, &Source> = out.iter().map(|(it, _)| (&it.lot, *it)).collect();
    let earliest = use_by(parents.values().map(|parent| parent.use_by));
    let by_earliest = parents.values().find(|parent| parent.use_by == earliest);
    let date_kind = by_earliest.map_or(DateKind::UseBy, |parent| parent.date_kind);
    let containers: Vec<SeedContainer> = cans
        .into_iter()
        .zip(&nets)
        .map(|(can, net)| SeedContainer {
            received: *net,
            ..can
        })
        .collect();
    Ok(Some(New {
        lot: SeedLot {
            lot: Lot {
                code,
                powder,
                state: LotState::Quarantine,
                state_note: "blend not checked".to_owned(),
                on_hand: nets.iter().copied().sum(),
                use_by: earliest,
                opened: false,
            },
            maker_lot: String::new(),
            received_at: decoded(moment(visit.now))?,
            keeping: Keeping {
                made_on: Some(today(visit)?),
                date_kind,
                storage,
                humidity: Within::default(),
            },
            certificate: None,
            containers,
        },
        movements,
        opened: out
            .iter()
            .map(|(source, _)| source.container.clone())
            .collect(),
        parents: parents.len(),
        spilt,
        difference,
        reason,
    }))
}

fn movement(source: &Source, into: &LotCode, to: &Place, mass: Milligrams) -> Option<Movement> {
    let is_spilt = *to == Place::Waste;
    (mass.0 > 0).then(|| Movement {
        lot: source.lot.clone(),
        into: if is_spilt {
            source.lot.clone()
        } else {
            into.clone()
        },
        from: Place::Container(source.container.clone()),
        to: to.clone(),
        mass,
        reason: if is_spilt {
            Reason::WriteOff
        } else {
            Reason::Blend
        },
    })
}

fn new_code(own: &Section<'_>, here: &Here, errors: &mut FieldErrors) -> Option<LotCode> {
    let typed = own.typed("code");
    if here.numbers.taken.iter().any(|taken| taken == typed) {
        let free = here.numbers.next(&[]).map(String::from).unwrap_or_default();
        own.fault(
            "code",
            format!("lot {typed} is on record already; the next free number is {free}"),
            errors,
        );
        return None;
    }
    code::new_label(typed)
        .map_err(|fault| own.fault("code", fault.to_string(), errors))
        .ok()
}

fn powder(own: &Section<'_>, here: &Here, errors: &mut FieldErrors) -> Option<PowderCode> {
    let typed = own.typed("powder");
    if !here.powders.iter().any(|(code, _)| code == typed) {
        let text =
            "choose what the blend is; a mix of two metals is listed as a powder of its own first";
        own.fault("powder", text, errors);
        return None;
    }
    typed.parse().ok()
}

/// What left each container.
fn weighed_out<'a>(
    draft: &Draft,
    here: &'a Here,
    errors: &mut FieldErrors,
) -> Vec<(&'a Source, Milligrams)> {
    let (mut out, mut seen) = (Vec::new(), BTreeSet::new());
    for row in draft.out() {
        let typed = row.typed("container");
        let is_blank = ["container", "before", "after", "net"]
            .iter()
            .all(|name| row.is_empty(name));
        if is_blank {
            continue;
        }
        let source = here
            .sources
            .iter()
            .find(|it| it.container.as_str() == typed);
        let Some(source) = source else {
            row.fault(
                "container",
                "choose a container of a released lot in date",
                errors,
            );
            continue;
        };
        if !seen.insert(typed.to_owned()) {
            row.fault(
                "container",
                format!("{typed} is chosen twice; add the two up"),
                errors,
            );
        }
        let Some(mass) = left(&row, errors) else {
            continue;
        };
        if mass > source.on_hand {
            let text = format!(
                "{} holds {} by the book, and {} is to leave it; take less, or count it first",
                source.container,
                grams_exact(source.on_hand.0),
                grams_exact(mass.0)
            );
            let field = if row.is_empty("net") { "after" } else { "net" };
            row.fault(field, text, errors);
        }
        out.push((source, mass));
    }
    let lots: BTreeSet<&LotCode> = out.iter().map(|(source, _)| &source.lot).collect();
    if lots.len() < 2 && errors.is_empty() {
        errors.add(
            "p0_container",
            "a blend takes shares of two lots at least; of one lot it is no new one",
        );
    }
    out
}

/// Before less after, or the net mass.
fn left(row: &Section<'_>, errors: &mut FieldErrors) -> Option<Milligrams> {
    let faults = errors.iter().count();
    let before = row.decimal("before", 3, 1..=MOST_WEIGHED_MG, errors);
    let after = row.decimal("after", 3, 0..=MOST_WEIGHED_MG, errors);
    let net = row.decimal("net", 3, 1..=MOST_WEIGHED_MG, errors);
    if errors.iter().count() > faults {
        return None;
    }
    let weighed = match (before, after) {
        (Some(before), Some(after)) if before <= after => {
            row.fault("after", "no less than before; weigh it again", errors);
            return None;
        }
        (Some(before), Some(after)) => Some(before - after),
        (None, None) => None,
        (Some(_), None) => {
            row.fault(
                "after",
                "weigh it after too, or give the net mass alone",
                errors,
            );
            return None;
        }
        (None, Some(_)) => {
            row.fault(
                "before",
                "weighed before? or give the net mass alone",
                errors,
            );
            return None;
        }
    };
    match (net, weighed) {
        (Some(net), Some(weighed)) if net != weighed => {
            let text = format!(
                "before less after is {}; leave one of the two out",
                grams_exact(weighed)
            );
            row.fault("net", text, errors);
            None
        }
        (None, None) => {
            row.fault(
                "net",
                "give the weights before and after, or the net mass",
                errors,
            );
            None
        }
        (net, weighed) => net.or(weighed).map(Milligrams),
    }
}

/// The new containers as weighed; a single one of which nothing is told holds all.
fn weighed_in(
    draft: &Draft,
    here: &Here,
    taken: &[String],
    all: Milligrams,
    errors: &mut FieldErrors,
) -> Vec<SeedContainer> {
    let rows = draft.cans();
    let labels = draft.labels();
    let mut cans = Vec::new();
    for (at, (row, label)) in rows.iter().zip(&labels).enumerate() {
        if taken.contains(label) {
            let text = format!("container {label} is on record already; read its label again");
            row.fault("code", text, errors);
        }
        if labels[..at].contains(label) {
            row.fault("code", format!("{label} is given twice here"), errors);
        }
        let code = code::new_label::<ContainerCode>(label);
        let code = code.map_err(|fault| row.fault("code", fault.to_string(), errors));
        let faults = errors.iter().count();
        let mut mass = |name| {
            row.decimal(name, 3, 1..=MOST_WEIGHED_MG, errors)
                .map(Milligrams)
        };
        let weighing = Weighing {
            gross: mass("gross"),
            tare: mass("tare"),
            net: mass("net"),
        };
        let is_alone = rows.len() == 1 && weighing.net.is_none() && weighing.gross.is_none();
        let net = match is_alone {
            true => Some(all),
            false => weighing
                .net(&here.allowance)
                .map_err(|fault| {
                    if errors.iter().count() == faults {
                        row.fault("net", fault.to_string(), errors);
                    }
                })
                .ok()
                .map(|net| net.mass),
        };
        let (Ok(code), Some(net)) = (code, net) else {
            continue;
        };
        cans.push(SeedContainer {
            code,
            received: net,
            used: Milligrams(0),
            opened_at: None,
            as_it_came: AsItCame {
                gross: weighing.gross,
                tare: weighing.tare,
                ..AsItCame::default()
            },
        });
    }
    if rows.is_empty() {
        errors.add("code", "it has no container; add one");
    }
    cans
}

/// What is booked into each new container: as weighed, settled so that all that was weighed out has a place. The
/// two may be apart by no more than the site's allowance.
fn settle(
    own: &Section<'_>,
    here: &Here,
    (out, spilt): (Milligrams, Milligrams),
    cans: &[SeedContainer],
    errors: &mut FieldErrors,
) -> Option<(Vec<Milligrams>, Milligrams)> {
    let due = Milligrams(out.0 - spilt.0);
    let placed: Milligrams = cans.iter().map(|can| can.received).sum();
    let difference = Milligrams(placed.0 - due.0);
    if due.0 <= 0 {
        own.fault(
            "spilt",
            "all of it is spilt; nothing is left of the blend",
            errors,
        );
        return None;
    }
    if here.allowance.judge(difference, out) == Gap::Stop {
        let text = format!(
            "{} left the lots, {} are in the new containers, {} spilt: {} apart, and {} are allowed; weigh again",
            grams_exact(out.0),
            grams_exact(placed.0),
            grams_exact(spilt.0),
            grams_exact(difference.0.abs()),
            grams_exact(here.allowance.stop_line(out).0)
        );
        own.fault("spilt", text, errors);
        return None;
    }
    let weights: Vec<i64> = cans.iter().map(|can| can.received.0).collect();
    let nets = apportion(&weights, due.0)?;
    Some((nets.into_iter().map(Milligrams).collect(), difference))
}
