//! A handover in words, as it stands on screen and on paper.

use mendpost_core::shift::{
    ClockBox, Fact, Guard, GuardLine, Half, Line, Moved, Question, Record, Stand, Told, Trigger,
};

use crate::page::{Layout, grams_exact, whole};

/// A handover in words, item by item.
pub(super) struct Sheet {
    pub stands: Vec<StandLine>,
    pub half: Vec<HalfLine>,
    pub guards: Vec<GuardWords>,
    pub own: ByItself,
    pub could_bite: String,
    /// What was answered with yes.
    pub people: Vec<&'static str>,
    pub people_words: String,
    pub clock: &'static str,
    pub facts: Vec<Fact>,
    /// What makes it one of higher risk.
    pub triggers: Vec<&'static str>,
}

/// What a handover says without anybody writing it.
pub(super) struct ByItself {
    /// What is on hold, and why.
    pub holds: Vec<(String, String)>,
    /// Lot, and what moved of it.
    pub moved: Vec<(String, String)>,
    pub promises: Vec<DueLine>,
    pub musts: Vec<DueLine>,
    /// Of the clock, the copies and the disk.
    pub laptop: Vec<String>,
}

pub(super) struct StandLine {
    pub key: String,
    pub name: String,
    pub says: String,
    pub read: String,
    pub read_ms: i64,
}

pub(super) struct HalfLine {
    pub key: String,
    pub what: String,
    pub finished: String,
    pub next: String,
    pub parked: String,
    pub not_for: String,
    pub photos: String,
}

pub(super) struct GuardWords {
    pub key: String,
    pub name: &'static str,
    pub off: bool,
    pub says: String,
}

pub(super) struct DueLine {
    pub when: String,
    pub late: bool,
    pub text: String,
}

impl Sheet {
    pub fn of(told: &Told, page: &Layout) -> Sheet {
        let record = &told.record;
        Sheet {
            stands: stands(record, page),
            half: record.half.iter().map(half_line).collect(),
            guards: record.guards.iter().map(guard_line).collect(),
            own: ByItself::of(record, page),
            could_bite: record.could_bite.clone(),
            people: people(record),
            people_words: record.people.words.clone(),
            clock: match record.clock.agrees {
                Some(true) => "a watch says the same",
                Some(false) => "a watch says otherwise",
                None => "nobody looked at a watch",
            },
            facts: told.facts.clone(),
            triggers: told.triggers.iter().map(|it| trigger_word(*it)).collect(),
        }
    }
}

fn stands(record: &Record, page: &Layout) -> Vec<StandLine> {
    let line = |stand: &Stand| {
        let read_ms = stand.read_ms.unwrap_or_default();
        StandLine {
            key: stand.key.clone(),
            name: stand.name.clone(),
            says: format!("{}, {}", stand.word, stand.reading),
            read: page.hour(&read_ms),
            read_ms,
        }
    };
    record.stands.iter().map(line).collect()
}

fn half_line(half: &Half) -> HalfLine {
    HalfLine {
        key: half.key.clone(),
        what: half.what.clone(),
        finished: half.finished.clone(),
        next: half.next.clone(),
        parked: half.parked.clone(),
        not_for: half.not_for.clone(),
        photos: photos(half.photos),
    }
}

/// '2 photos'; empty without one.
pub(super) fn photos(photos: i64) -> String {
    match photos {
        0 => String::new(),
        1 => "1 photo".to_owned(),
        more => format!("{} photos", whole(more)),
    }
}

fn guard_line(line: &GuardLine) -> GuardWords {
    let off = line.off == Some(true);
    GuardWords {
        key: line.guard.to_string(),
        name: guard_word(line.guard),
        off,
        says: match line.off {
            None => "nobody said".to_owned(),
            Some(false) => "none off".to_owned(),
            Some(true) => format!("{}; put back by {}", line.what, line.restore),
        },
    }
}

fn due_line(line: &Line, page: &Layout) -> DueLine {
    DueLine {
        when: page.clock(&line.due_ms),
        late: line.due_ms < page.now(),
        text: line.text.clone(),
    }
}

/// 'drawn 6 480 g, poured back 120 g, on hand 3 160 g'.
fn moved(moved: &Moved) -> String {
    let mut said = Vec::new();
    for (word, milligrams) in [
        ("drawn", moved.drawn_mg),
        ("poured back", moved.returned_mg),
    ] {
        if milligrams > 0 {
            said.push(format!("{word} {}", grams_exact(milligrams)));
        }
    }
    match moved.gap_mg {
        None => {}
        Some(0) => said.push("counted, no gap".to_owned()),
        Some(gap) => said.push(format!(
            "count {} {}",
            grams_exact(gap.abs()),
            if gap > 0 { "over" } else { "short" }
        )),
    }
    said.push(format!("on hand {}", grams_exact(moved.on_hand_mg)));
    said.join(", ")
}

fn people(record: &Record) -> Vec<&'static str> {
    let answers = record.people.answers.iter();
    let yes = answers.filter(|(_, answer)| *answer == Some(true));
    yes.map(|(question, _)| question_yes(*question)).collect()
}

impl ByItself {
    pub fn of(record: &Record, page: &Layout) -> ByItself {
        let due = |line: &Line| due_line(line, page);
        let holds = record.holds.iter();
        let moves = record.moved.iter();
        ByItself {
            holds: holds.map(|it| (it.what.clone(), it.why.clone())).collect(),
            moved: moves.map(|it| (it.lot.clone(), moved(it))).collect(),
            promises: record.promises.iter().map(due).collect(),
            musts: record.musts.iter().map(due).collect(),
            laptop: laptop(&record.clock),
        }
    }
}

fn laptop(clock: &ClockBox) -> Vec<String> {
    let free = clock.free_mb;
    let free = free.map(|mb| format!("{} GB free on the disk", whole(mb / 1000)));
    let said = [clock.doubt.clone(), clock.copies.clone()];
    let said = said.into_iter().chain(free);
    said.map(|it| it.trim_end_matches('.').to_owned())
        .filter(|it| !it.is_empty())
        .collect()
}

pub(super) const fn guard_word(guard: Guard) -> &'static str {
    match guard {
        Guard::BoothDoor => "Booth door",
        Guard::Extraction => "Extraction",
        Guard::Oxygen => "Oxygen alarms",
        Guard::Relief => "Relief valves",
        Guard::CutOuts => "Heat cut-outs",
        Guard::Mill => "Mill and bench",
        Guard::Earthing => "Earthing",
        Guard::Other => "Locks, jumpers, loans",
    }
}

pub(super) const fn question_word(question: Question) -> &'static str {
    match question {
        Question::Alone => "Will somebody be alone?",
        Question::Tired => "Is somebody tired?",
        Question::NewHand => "Is somebody who comes new to this?",
        Question::LongAway => "Was somebody who comes long away?",
        Question::Hurt => "Was somebody hurt, or nearly?",
    }
}

const fn question_yes(question: Question) -> &'static str {
    match question {
        Question::Alone => "somebody alone",
        Question::Tired => "somebody tired",
        Question::NewHand => "a new hand",
        Question::LongAway => "somebody long away",
        Question::Hurt => "somebody hurt, or nearly",
    }
}

pub(super) const fn trigger_word(trigger: Trigger) -> &'static str {
    match trigger {
        Trigger::Build => "a build runs over the change",
        Trigger::Furnace => "a furnace runs over the change",
        Trigger::GuardOff => "a safeguard is off",
        Trigger::Unusual => "something stands as it usually does not",
        Trigger::PartHeld => "a part is on hold",
        Trigger::Alone => "somebody will be alone",
        Trigger::Tired => "somebody is tired",
        Trigger::NewHand => "somebody who comes is new to this",
        Trigger::LongAway => "somebody who comes was long away",
        Trigger::Hurt => "somebody was hurt, or nearly",
        Trigger::Clock => "the clock is in doubt",
    }
}
