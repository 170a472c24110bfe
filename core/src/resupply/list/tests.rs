use super::answer::{Answer, AnswerFault, AnswerLine, Instead, Place};
use super::depot::{self, Fault, Read};
use super::*;
use crate::lineup::tests::site::{at, code};
use crate::resupply::carriage::{Dangerous, PackingGroup};
use crate::resupply::samples::{can, item, trip};
use crate::resupply::{Barred, Carrier, Item};
use crate::resupply::{MASS, VOLUME};

fn line(number: i64, stock_number: &str, units: i64, gross_g: i64) -> ListLine {
    ListLine {
        number,
        addition: 0,
        takes_back: None,
        item: code(stock_number),
        name: format!("item {stock_number}"),
        unit: "can 5 kg".to_owned(),
        units,
        net_g: gross_g - 500,
        gross_g,
        size_mm: [200, 200, 250],
        goods: "free by its safety sheet".to_owned(),
        uses: BTreeMap::from([(MASS.to_owned(), gross_g), (VOLUME.to_owned(), 10_000)]),
        priority: 1,
        needed_by: Some(at(2_000)),
        reason: "frees R7".to_owned(),
        one_lot: true,
        substitutes: vec![],
        set: None,
    }
}

/// Four cans of 5.5 kg and two masks of 0.8 kg, of which an addition takes one back and adds a fifth can:
/// 5 x 5.5 + 1 x 0.8 = 28.3 kg gross; 5 x 5 + 1 x 0.3 = 25.3 kg net; six pieces of 10 l.
pub fn list() -> LoadList {
    let total = |id: &str, unit: &str, allowed, taken| Total {
        id: id.to_owned(),
        what: id.to_owned(),
        unit: unit.to_owned(),
        allowed,
        taken,
    };
    let addition = |number, reason: &str| Addition {
        number,
        at: at(60 * number),
        by: "Storekeeper".to_owned(),
        reason: reason.to_owned(),
        journal: 40 + number,
        apart: vec![],
    };
    let back = ListLine {
        addition: 1,
        takes_back: Some(2),
        ..line(3, "MASK", 1, 800)
    };
    LoadList {
        number: 7,
        site: "Port Ansel".to_owned(),
        trip: code("BOAT-8"),
        trip_name: "supply boat".to_owned(),
        mode: Mode::Sea,
        closes: at(720),
        additions: vec![addition(0, ""), addition(1, "a can was found damaged")],
        lines: vec![
            line(1, "CAN-316L", 4, 5_500),
            line(2, "MASK", 2, 800),
            back,
            ListLine {
                addition: 1,
                ..line(4, "CAN-316L", 1, 5_500)
            },
        ],
        totals: vec![
            total(MASS, "kg", 100_000, 28_300),
            total(VOLUME, "l", 500_000, 60_000),
        ],
    }
}

#[test]
fn what_is_asked_for_is_what_the_additions_leave() {
    let list = list();
    assert_eq!(list.check(), Ok(()));
    assert_eq!(list.asked(), BTreeMap::from([(1, 4), (2, 1), (4, 1)]));
    assert_eq!(list.mass_g(), (25_300, 28_300));
    assert_eq!(
        list.load(),
        Load::from([(code("CAN-316L"), 5), (code("MASK"), 1)])
    );
}

/// Three masks taken back of two: below zero. 28 300 g stand as 28 301: not the sum.
#[test]
fn a_list_that_does_not_add_up_is_refused() {
    let altered = |change: fn(&mut LoadList)| {
        let mut list = list();
        change(&mut list);
        list.check()
    };
    let below = ListFault::BelowZero {
        line: 2,
        asked: 2,
        taken: 3,
    };
    assert_eq!(altered(|it| it.lines[2].units = 3), Err(below));
    let sum = ListFault::Sum {
        what: MASS.to_owned(),
        given: 28_301,
        sum: 28_300,
    };
    assert_eq!(altered(|it| it.totals[0].taken = 28_301), Err(sum));
    let of_another = ListFault::TakesBack { line: 3, of: 1 };
    assert_eq!(
        altered(|it| it.lines[2].takes_back = Some(1)),
        Err(of_another.clone())
    );
    let of_later = ListFault::TakesBack { line: 3, of: 4 };
    assert_eq!(
        altered(|it| it.lines[2].takes_back = Some(4)),
        Err(of_later)
    );
    let none = ListFault::Units { line: 4, units: 0 };
    assert_eq!(altered(|it| it.lines[3].units = 0), Err(none));
    let gap = ListFault::Number {
        what: "line",
        given: 5,
        expected: 4,
    };
    assert_eq!(altered(|it| it.lines[3].number = 5), Err(gap));
    let untold = ListFault::NoTotal {
        line: 1,
        id: VOLUME.to_owned(),
    };
    assert_eq!(altered(|it| drop(it.totals.pop())), Err(untold));
    let nowhere = ListFault::NoAddition {
        line: 3,
        addition: 1,
    };
    assert_eq!(altered(|it| drop(it.additions.pop())), Err(nowhere));
}

#[test]
fn a_file_is_read_as_it_was_written() {
    let text = depot::write_list(&list()).expect("a file");
    assert_eq!(depot::read(&text), Ok(list()));
    let with_mark = format!("\u{feff}{text}\r\n");
    assert_eq!(depot::read(&with_mark), Ok(list()));
    let told = Answer {
        lines: answers(),
        ..answer()
    };
    let text = depot::write_answer(&told).expect("a file");
    assert_eq!(depot::read_any(&text), Ok(Read::Answer(told)));
    assert!(matches!(depot::read(&text), Err(Fault::OtherFormat { .. })));
}

/// Cut off anywhere it is known as cut off; with another figure in it as altered; with figures that do not
/// add up, though the check is right, as such.
#[test]
fn a_file_that_is_not_as_it_was_is_refused() {
    let text = depot::write_list(&list()).expect("a file");
    for end in 1..text.len() {
        let fault = depot::read(&text[..end]);
        assert!(
            matches!(fault, Err(Fault::Truncated { .. })),
            "{end}: {fault:?}"
        );
    }
    assert_eq!(depot::read(" \n"), Err(Fault::Empty));
    let altered = text.replace("\"units\":4", "\"units\":9");
    assert!(matches!(depot::read(&altered), Err(Fault::Altered { .. })));
    let newer = text.replace("load-list/1", "load-list/2");
    let given = "mendpost-load-list/2".to_owned();
    assert_eq!(depot::read(&newer), Err(Fault::OtherFormat { given }));
    let other = Fault::OtherFormat {
        given: "nothing".to_owned(),
    };
    assert_eq!(depot::read("[1, 2]"), Err(other));
    assert!(matches!(
        depot::read("BEGIN LIST"),
        Err(Fault::NotJson { .. })
    ));
    let long = " ".repeat(10) + &"x".repeat(depot::MOST_BYTES + 1);
    let given = depot::MOST_BYTES + 1;
    assert_eq!(depot::read(&long), Err(Fault::TooLong { given }));
    let mut wrong = list();
    wrong.totals[1].taken = 1;
    let text = depot::write_list(&wrong).expect("a file");
    assert!(matches!(
        depot::read(&text),
        Err(Fault::List(ListFault::Sum { .. }))
    ));
}

fn answer() -> Answer {
    Answer {
        list: 7,
        trip: code("BOAT-8"),
        by: "Depot clerk".to_owned(),
        arrival: Some(at(3_000)),
        lines: vec![],
    }
}

fn of(line: i64, sent: i64, cut: i64, later: i64) -> AnswerLine {
    AnswerLine {
        line,
        sent,
        cut,
        later,
        ..AnswerLine::default()
    }
}

fn instead(stock_number: &str, units: i64) -> Option<Instead> {
    let item = code(stock_number);
    Some(Instead { item, units })
}

/// Of four cans two come, one is cut, and a can of another size replaces the fourth; the mask comes later.
fn answers() -> Vec<AnswerLine> {
    let later_on = chrono::NaiveDate::from_ymd_opt(2026, 12, 10);
    vec![
        AnswerLine {
            instead: instead("CAN-316L-1", 5),
            ..of(1, 2, 1, 0)
        },
        AnswerLine {
            later_on,
            ..of(2, 0, 0, 1)
        },
        of(4, 1, 0, 0),
    ]
}

#[test]
fn an_answer_makes_up_what_was_asked_for() {
    let told = Answer {
        lines: answers(),
        ..answer()
    };
    assert_eq!(told.check(&list()), []);
    assert_eq!(told.lines[0].replaced(4), 1);
    assert_eq!(told.lines[1].replaced(1), 0);
}

/// Each of these is one answer too wrong: what is asked for is 4, 1 and 1 of lines 1, 2 and 4.
#[test]
fn each_fault_of_an_answer_stands_by_its_line() {
    let faults = |change: &dyn Fn(&mut Vec<AnswerLine>)| {
        let mut lines = answers();
        change(&mut lines);
        Answer { lines, ..answer() }.check(&list())
    };
    let one = |line, place, fault| vec![(line, place, fault)];
    let few = AnswerFault::TooFew { asked: 4, told: 3 };
    assert_eq!(faults(&|it| it[0].instead = None), one(1, Place::Sent, few));
    let many = AnswerFault::TooMany {
        asked: 1,
        sent: 1,
        told: 2,
    };
    assert_eq!(faults(&|it| it[2].later = 1), one(4, Place::Later, many));
    let over = AnswerFault::OverSent { asked: 1, sent: 3 };
    assert_eq!(faults(&|it| it[2].sent = 3), one(4, Place::Note, over));
    let told_why = |it: &mut Vec<AnswerLine>| {
        (it[2].sent, it[2].note) = (3, "a whole tray".to_owned());
    };
    assert_eq!(faults(&told_why), []);
    let asked_nothing = |line| AnswerFault::NotAsked {
        line,
        list: 7,
        allowed: "1, 2, 4".to_owned(),
    };
    for line in [3, 9] {
        let more = faults(&|it| it.push(of(line, 1, 0, 0)));
        assert_eq!(more, one(line, Place::Line, asked_nothing(line)));
    }
    let twice = AnswerFault::Twice { line: 4 };
    assert_eq!(
        faults(&|it| it.push(of(4, 1, 0, 0))),
        one(4, Place::Line, twice)
    );
    let open = AnswerFault::NotAnswered { line: 4, asked: 1 };
    assert_eq!(
        faults(&|it| drop(it.pop())),
        one(4, Place::Sent, open.clone())
    );
    assert_eq!(faults(&|it| it[2].sent = 0), one(4, Place::Sent, open));
    let negative = AnswerFault::Negative { given: -1 };
    assert_eq!(faults(&|it| it[2].cut = -1), one(4, Place::Cut, negative));
    let item = || code("CAN-316L-1");
    let nothing = AnswerFault::InsteadOfNothing { item: item() };
    assert_eq!(
        faults(&|it| it[0].sent = 3),
        one(1, Place::Instead, nothing)
    );
    let none = AnswerFault::InsteadUnits {
        item: item(),
        units: 0,
    };
    assert_eq!(
        faults(&|it| it[0].instead = instead("CAN-316L-1", 0)),
        one(1, Place::InsteadUnits, none)
    );
    let itself = AnswerFault::InsteadOfItself {
        item: code("CAN-316L"),
    };
    assert_eq!(
        faults(&|it| it[0].instead = instead("CAN-316L", 1)),
        one(1, Place::Instead, itself)
    );
    let day = |it: &mut Vec<AnswerLine>| it[2].later_on = it[1].later_on;
    assert_eq!(
        faults(&day),
        one(4, Place::LaterOn, AnswerFault::DayOfNothing)
    );
}

/// UN 3089 and UN 1396 by the dangerous-goods list of the UN Model Regulations (from memory).
#[test]
fn an_entry_stands_in_one_line() {
    let entry = |un, name: &str, class: &str, subsidiary: &[&str], group| {
        Sheet::Entry(Dangerous {
            un,
            name: name.to_owned(),
            class: class.to_owned(),
            subsidiary: subsidiary.iter().map(|it| (*it).to_owned()).collect(),
            group,
            counted: 1,
            sheet: "a sheet".to_owned(),
        })
    };
    let bronze = entry(
        3089,
        "METAL POWDER, FLAMMABLE, N.O.S.",
        "4.1",
        &[],
        Some(PackingGroup::III),
    );
    assert_eq!(
        bronze.in_one_line(),
        "UN 3089 METAL POWDER, FLAMMABLE, N.O.S., 4.1, III"
    );
    let two = entry(396, "SOMETHING", "4.3", &["4.2"], None);
    assert_eq!(two.in_one_line(), "UN 0396 SOMETHING, 4.3 (4.2)");
    assert_eq!(Sheet::NotRead.in_one_line(), "safety sheet not read");
}

/// Twenty cans of 5.5 kg are 110 kg where 100 go; a piece of 6 m does not go in at all.
#[test]
fn a_load_is_held_against_its_trip() {
    let trip = trip("BOAT-8");
    let carrier = Carrier {
        trip: &trip,
        rules: None,
    };
    let mast = Item {
        size_mm: [6_000, 10, 10],
        ..item("MAST", 1_000)
    };
    let items = [can("CAN", 5_000), mast];
    let judged = judge(&carrier, &items, &Load::from([(code("CAN"), 20)]));
    let over: Vec<_> = judged.over().collect();
    assert_eq!(over, [&(MASS.to_owned(), 110_000, 100_000)]);
    assert!(!judged.goes());
    assert!(judge(&carrier, &items, &Load::from([(code("CAN"), 18)])).goes());
    let long = judge(&carrier, &items, &Load::from([(code("MAST"), 1)]));
    let barred = Barred::TooLong {
        longest_mm: 6_000,
        most_mm: 5_000,
    };
    assert_eq!(long.barred, BTreeMap::from([(code("MAST"), vec![barred])]));
}
