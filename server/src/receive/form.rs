//! From what was typed to what is booked, or every fault beside its field.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use mendpost_core::code::{self, ContainerCode, LotCode, PowderCode};
use mendpost_core::powder::certificate::Within;
use mendpost_core::powder::receipt::{Came, Weighing, spread};
use mendpost_core::powder::{Allowance, DateKind, LotState, Seal};
use mendpost_core::quantity::Milligrams;
use mendpost_core::situation::instant;

use super::draft::{Draft, Lot};
use super::queries::{Kind, Line};
use crate::certificate::form::hundredths;
use crate::form::section::Section;
use crate::form::{FieldErrors, MOST_WEIGHED_MG, choice, date, integer, local_time, optional_text};
use crate::page::{grams_exact, whole};
use crate::seed::{AsItCame, Keeping, SeedContainer, SeedLot};

/// What a form is held against.
pub struct Against<'a> {
    pub lines: &'a [Line],
    pub powders: &'a [(String, String)],
    pub allowance: &'a Allowance,
    pub zone: Tz,
    pub now: DateTime<Utc>,
}

impl Against<'_> {
    pub fn today(&self) -> NaiveDate {
        self.now.with_timezone(&self.zone).date_naive()
    }
}

/// What came.
pub struct New {
    pub received_at: DateTime<Utc>,
    pub note: String,
    /// Each with its place in the form, by which its files are found.
    pub lots: Vec<(usize, SeedLot)>,
    /// For each line of the delivery what came now, and what there is to say.
    pub lines: Vec<(Came, String)>,
}

/// What came, or none after a fault.
pub fn parse(draft: &Draft, against: &Against<'_>, errors: &mut FieldErrors) -> Option<New> {
    let own = draft.own();
    let received_at = received_at(&own, against, errors);
    let note = own.text("note", 400, errors);
    let mut lots = Vec::new();
    for (at, (head, lot)) in draft.lots().enumerate() {
        let parsed = parse_lot(lot, &head, received_at, against, errors);
        lots.extend(parsed.map(|lot| (at, lot)));
    }
    twice(draft, errors);
    let lines = parse_lines(draft, &lots, against, errors);
    if lots.is_empty() && against.lines.is_empty() && errors.is_empty() {
        errors.add_whole("Nothing is entered: enter at least one lot with a container.");
    }
    errors.is_empty().then_some(New {
        received_at,
        note,
        lots,
        lines,
    })
}

fn received_at(
    own: &Section<'_>,
    against: &Against<'_>,
    errors: &mut FieldErrors,
) -> DateTime<Utc> {
    let read = own.read(
        "received_at",
        |typed| local_time(typed, against.zone),
        errors,
    );
    let at = read.and_then(DateTime::from_timestamp_millis);
    match at {
        // To the minute: the field's own minute may have begun just before.
        Some(at) if at > against.now + TimeDelta::minutes(1) => {
            own.fault(
                "received_at",
                "that is still to come; enter when it came",
                errors,
            );
            against.now
        }
        Some(at) => at,
        None => against.now,
    }
}

fn parse_lot(
    lot: &Lot,
    head: &str,
    received_at: DateTime<Utc>,
    against: &Against<'_>,
    errors: &mut FieldErrors,
) -> Option<SeedLot> {
    let own = lot.own(head);
    let code: Option<LotCode> = code::new_label(own.typed("code"))
        .map_err(|fault| own.fault("code", fault.to_string(), errors))
        .ok();
    let powder = powder(&own, against, errors);
    let maker_lot = own.text("maker_lot", 80, errors);
    let keeping = keeping(&own, against, errors);
    let use_by = use_by(&own, &keeping, against, errors);
    let certificate = lot
        .certificate
        .parse(head, (&maker_lot, against.today()), errors);
    let containers = containers(lot, head, code.as_ref(), against, errors);
    if lot.cans.is_empty() {
        own.fault(
            "code",
            "it has no container; add one, or take the lot out",
            errors,
        );
    }
    Some(SeedLot {
        lot: mendpost_core::powder::Lot {
            code: code?,
            powder: powder?,
            state: LotState::Quarantine,
            state_note: "certificate not checked".to_owned(),
            on_hand: containers.iter().map(|can| can.received).sum(),
            use_by,
            opened: false,
        },
        maker_lot,
        received_at,
        keeping,
        certificate,
        containers,
    })
}

fn powder(
    own: &Section<'_>,
    against: &Against<'_>,
    errors: &mut FieldErrors,
) -> Option<PowderCode> {
    let typed = own.typed("powder");
    let known = against.powders.iter().any(|(code, _)| code == typed);
    if !known {
        own.fault(
            "powder",
            "choose the powder; a new one is listed first",
            errors,
        );
        return None;
    }
    typed.parse().ok()
}

fn keeping(own: &Section<'_>, against: &Against<'_>, errors: &mut FieldErrors) -> Keeping {
    let made_on = own.past_day("made_on", against.today(), errors);
    let date_kind = own.read_if_told("date_kind", choice, errors);
    let humidity = Within {
        min: own.read_if_told("humidity_min", hundredths, errors),
        max: own.read_if_told("humidity_max", hundredths, errors),
    };
    if humidity
        .min
        .zip(humidity.max)
        .is_some_and(|(min, max)| min > max)
    {
        own.fault(
            "humidity_max",
            "less than the least; change one of the two",
            errors,
        );
    }
    Keeping {
        made_on,
        date_kind: date_kind.unwrap_or(DateKind::UseBy),
        storage: own.text("storage", 80, errors),
        humidity,
    }
}

/// To the end of the day that is told, at the site.
fn use_by(
    own: &Section<'_>,
    keeping: &Keeping,
    against: &Against<'_>,
    errors: &mut FieldErrors,
) -> Option<DateTime<Utc>> {
    let day = own.read_if_told("use_by", date, errors)?;
    if keeping.made_on.is_some_and(|made| made > day) {
        own.fault(
            "use_by",
            "before it was made; change one of the two days",
            errors,
        );
    }
    Some(instant(against.zone, day.and_hms_opt(23, 59, 0)?))
}

fn containers(
    lot: &Lot,
    head: &str,
    code: Option<&LotCode>,
    against: &Against<'_>,
    errors: &mut FieldErrors,
) -> Vec<SeedContainer> {
    let cans = lot.cans(head);
    let each = cans.iter().enumerate();
    each.filter_map(|(at, can)| container(can, &label(can, code, at)?, against, errors))
        .collect()
}

/// What the label says; where nothing is typed, the lot's number with that of the container.
fn label(can: &Section<'_>, lot: Option<&LotCode>, at: usize) -> Option<String> {
    match (can.typed("code"), lot) {
        ("", Some(lot)) => Some(format!("{lot}-{}", at + 1)),
        ("", None) => None,
        (typed, _) => Some(typed.to_owned()),
    }
}

fn container(
    can: &Section<'_>,
    label: &str,
    against: &Against<'_>,
    errors: &mut FieldErrors,
) -> Option<SeedContainer> {
    let code: Option<ContainerCode> = code::new_label(label)
        .map_err(|fault| can.fault("code", fault.to_string(), errors))
        .ok();
    let faults = errors.iter().count();
    let mut mass = |name| {
        let mg = can.decimal(name, 3, 1..=MOST_WEIGHED_MG, errors);
        mg.map(Milligrams)
    };
    let weighing = Weighing {
        gross: mass("gross"),
        tare: mass("tare"),
        net: mass("net"),
    };
    let as_it_came = AsItCame {
        seal: can.text("seal", 40, errors),
        seal_state: can.read_if_told("seal_state", choice::<Seal>, errors),
        gross: weighing.gross,
        tare: weighing.tare,
        damage: can.text("damage", 200, errors),
    };
    let is_read = errors.iter().count() == faults;
    let net = match weighing.net(against.allowance) {
        Ok(net) => Some(net.mass),
        Err(fault) if is_read => {
            can.fault("net", fault.to_string(), errors);
            None
        }
        Err(_) => None,
    };
    Some(SeedContainer {
        code: code?,
        received: net?,
        used: Milligrams(0),
        opened_at: None,
        as_it_came,
    })
}

/// Notes lot numbers and labels that are typed twice in one form.
fn twice(draft: &Draft, errors: &mut FieldErrors) {
    let (mut lots, mut labels) = (BTreeSet::new(), BTreeSet::new());
    for (head, lot) in draft.lots() {
        let own = lot.own(&head);
        let code = own.typed("code");
        if !code.is_empty() && !lots.insert(code.to_owned()) {
            own.fault("code", format!("{code} is given twice here"), errors);
        }
        let code = code.parse().ok();
        for (at, can) in lot.cans(&head).iter().enumerate() {
            if let Some(label) = label(can, code.as_ref(), at)
                && !labels.insert(label.clone())
            {
                can.fault("code", format!("{label} is given twice here"), errors);
            }
        }
    }
}

/// What came of each line of the delivery: of powder what the lots hold, of all else what was typed.
fn parse_lines(
    draft: &Draft,
    lots: &[(usize, SeedLot)],
    against: &Against<'_>,
    errors: &mut FieldErrors,
) -> Vec<(Came, String)> {
    let empty = Default::default();
    let mut lines = Vec::new();
    for (at, line) in against.lines.iter().enumerate() {
        let fields = draft.lines.get(&at).unwrap_or(&empty);
        let section = Section::new(format!("d{at}_"), fields);
        let came = match line.kind {
            Kind::Powder => powder_line(at, &section, lots, against, errors),
            kind => other_line(kind, line, &section, errors),
        };
        let note = section.read("note", |typed| optional_text(typed, 200), errors);
        let note = note.flatten().unwrap_or_default();
        // Of damaged powder each container says so.
        let is_hurt = came.refused > 0 || (came.damaged > 0 && line.kind != Kind::Powder);
        if is_hurt && note.is_empty() {
            section.fault(
                "note",
                "say what is damaged, and what becomes of it",
                errors,
            );
        }
        lines.push((came, note));
    }
    lines
}

/// The grams of a lot's powder in all, and of that in damaged containers.
fn held(lots: &[(usize, SeedLot)], powder: &str) -> (i64, i64) {
    let lots = lots.iter().map(|(_, lot)| lot);
    let cans = lots
        .filter(|lot| lot.lot.powder.as_str() == powder)
        .flat_map(|lot| &lot.containers);
    cans.fold((0, 0), |(all, damaged), can| {
        let mg = can.received.0;
        let hurt = if can.as_it_came.damage.is_empty() {
            0
        } else {
            mg
        };
        (all + mg, damaged + hurt)
    })
}

fn powder_line(
    at: usize,
    section: &Section<'_>,
    lots: &[(usize, SeedLot)],
    against: &Against<'_>,
    errors: &mut FieldErrors,
) -> Came {
    let line = &against.lines[at];
    let alike: Vec<usize> = (0..against.lines.len())
        .filter(|other| against.lines[*other].powder == line.powder)
        .collect();
    let open: Vec<i64> = alike.iter().map(|at| against.lines[*at].open()).collect();
    let mine = alike.iter().position(|other| *other == at).unwrap_or(0);
    let (all, damaged) = held(lots, &line.powder);
    // Whole grams: a delivery is ordered by them.
    let part = |milligrams: i64| spread(&open, milligrams / 1000)[mine];
    let taken = part(all);
    Came {
        expected: line.open(),
        taken,
        damaged: part(damaged).min(taken),
        refused: section
            .decimal("refused", 0, 0..=MOST_WEIGHED_MG / 1000, errors)
            .unwrap_or(0),
    }
}

/// Bottles, fuel and other things: how much came, how much of that is damaged, and whether it was refused.
fn other_line(kind: Kind, line: &Line, section: &Section<'_>, errors: &mut FieldErrors) -> Came {
    let amount = |typed: &str| match kind {
        Kind::Fuel => crate::form::decimal(typed, 3, 0..=1_000_000_000),
        Kind::Other => integer(typed, 0..=1),
        _ => integer(typed, 0..=1000),
    };
    let came = if section.is_empty("came") {
        if line.open() > 0 {
            let text = match kind {
                Kind::Other => "did it come? choose one of the two",
                _ => "how much came? enter 0 if nothing did",
            };
            section.fault("came", text, errors);
        }
        0
    } else {
        section.read("came", amount, errors).unwrap_or(0)
    };
    let damaged = section.read_if_told("damaged", amount, errors).unwrap_or(0);
    if damaged > came {
        section.fault("damaged", "more than came; change one of the two", errors);
    }
    let is_refused = section.typed("fate") == "refused";
    if damaged > 0 && section.is_empty("fate") {
        section.fault("fate", "say what becomes of it", errors);
    }
    let (damaged, refused) = if is_refused {
        (0, damaged)
    } else {
        (damaged, 0)
    };
    Came {
        expected: line.open(),
        taken: (came - refused).max(0),
        damaged,
        refused,
    }
}

/// An amount in the unit of its line; nothing to say of one thing.
pub fn amount(kind: Kind, amount: i64) -> String {
    match kind {
        Kind::Powder => format!("{} g", whole(amount)),
        Kind::Gas if amount == 1 => "1 bottle".to_owned(),
        Kind::Gas => format!("{} bottles", whole(amount)),
        Kind::Fuel => format!("{} L", crate::form::plain_decimal(amount, 3)),
        Kind::Other if amount == 0 => "nothing".to_owned(),
        Kind::Other => "it".to_owned(),
    }
}

/// 'L0416: 5 000 g in 1 container'.
pub fn lot_in_words(lot: &SeedLot) -> String {
    let many = match lot.containers.len() {
        1 => "1 container".to_owned(),
        many => format!("{many} containers"),
    };
    format!(
        "{}: {} in {many}",
        lot.lot.code,
        grams_exact(lot.lot.on_hand.0)
    )
}
