//! A shift change, worked by hand.

use proptest::prelude::*;

use super::*;

/// 06:00 and 18:00 of some day, in milliseconds.
const SIX: i64 = 6 * 3_600_000;
const EVENING: i64 = 18 * 3_600_000;
const MINUTE: i64 = 60_000;

fn stand(key: &str, place: Place, reading: &str) -> Stand {
    Stand {
        key: key.to_owned(),
        place,
        name: key.to_owned(),
        word: place.words()[0].word.to_owned(),
        reading: reading.to_owned(),
        read_ms: Some(EVENING - 20 * MINUTE),
    }
}

/// A quiet evening: nothing runs, nothing is off, two people come who know the cell.
fn quiet() -> Record {
    Record {
        shift: 3,
        from_ms: SIX,
        stands: vec![
            stand("booth", Place::Booth, "20.9 % oxygen"),
            stand("feeder", Place::Feeder, "0 g"),
            stand("bank-a", Place::Bank, "120 bar"),
            stand("heater", Place::Heater, "31 °C"),
            stand("furnace", Place::Furnace, "28 °C"),
            stand("collector", Place::Collector, "0.9 kPa"),
            stand("fuel", Place::Fuel, "410 L"),
        ],
        half: Vec::new(),
        guards: Guard::ALL
            .iter()
            .map(|guard| GuardLine {
                guard: *guard,
                off: Some(false),
                what: String::new(),
                restore: String::new(),
            })
            .collect(),
        holds: Vec::new(),
        moved: Vec::new(),
        promises: Vec::new(),
        musts: Vec::new(),
        could_bite: "Wind from the sea: dust may blow in at the door.".to_owned(),
        people: People {
            answers: Question::ALL.iter().map(|it| (*it, Some(false))).collect(),
            words: "Sprayer and machinist go, lead and storekeeper come.".to_owned(),
        },
        clock: ClockBox {
            agrees: Some(true),
            doubt: String::new(),
            copies: "Last good copy 2 h ago.".to_owned(),
            free_mb: Some(80_000),
        },
    }
}

fn half(kind: HalfKind) -> Half {
    Half {
        key: "half-r31-4".to_owned(),
        kind,
        what: "R31 impeller".to_owned(),
        finished: "sprayed".to_owned(),
        next: "Shut until 60 °C, then take it out".to_owned(),
        parked: "in the furnace".to_owned(),
        not_for: "a part to be fitted".to_owned(),
        photos: 1,
        confirmed: true,
    }
}

/// Everything read, every fact seen as told.
fn heard_all(record: &Record) -> Heard {
    let seen = |fact: Fact| {
        let seen = Seen {
            value: fact.told,
            agrees: Some(true),
        };
        (fact.key, seen)
    };
    Heard {
        read: record.items().into_iter().collect(),
        seen: facts(record).into_iter().map(seen).collect(),
        ..Heard::default()
    }
}

fn fields(untold: Vec<Untold>) -> Vec<String> {
    untold.into_iter().map(|it| it.field).collect()
}

/// Nothing is missing from a quiet evening's record; it is ordinary, and heard once all is read and seen.
#[test]
fn a_quiet_evening_is_told_and_heard() {
    let record = quiet();
    assert_eq!(untold(&record, EVENING), []);
    assert_eq!(risk(&triggers(&record)), Risk::Ordinary);
    assert_eq!(
        unheard(
            &Told::of(record.clone()),
            &heard_all(&record),
            false,
            EVENING
        ),
        []
    );
}

/// Read at 17:40 and told at 18:40: 60 minutes, which is allowed. A millisecond later it is the 61st minute. What was
/// read after now was typed wrongly.
#[test]
fn a_reading_is_good_for_an_hour() {
    let mut record = quiet();
    assert_eq!(untold(&record, EVENING + 40 * MINUTE), []);
    let late = untold(&record, EVENING + 40 * MINUTE + 1);
    assert_eq!(late.len(), 7);
    assert_eq!(late[0].why, Why::Stale { age_min: 61 });
    assert_eq!(
        late[0].why.to_string(),
        "read 61 min ago, and 60 min are allowed; read it again"
    );
    record.stands[2].read_ms = Some(EVENING + 5 * MINUTE);
    assert_eq!(untold(&record, EVENING)[0].why, Why::Ahead { by_min: 5 });
}

/// The fault that this record exists for: a blank is not a no. Each safeguard, question and reading left out is named.
#[test]
fn blank_is_never_none() {
    let mut record = quiet();
    record.guards[3].off = None;
    record.guards[5].off = Some(true);
    record.people.answers[0].1 = None;
    record.people.words = "  ".to_owned();
    record.could_bite.clear();
    record.clock.agrees = None;
    record.stands[0].word.clear();
    record.stands[1].word = "fine".to_owned();
    record.stands[2].read_ms = None;
    record.half = vec![Half {
        parked: String::new(),
        confirmed: false,
        ..half(HalfKind::Part)
    }];
    assert_eq!(
        fields(untold(&record, EVENING)),
        [
            "booth_word",
            "feeder_word",
            "bank-a_read",
            "half-r31-4_parked",
            "half-r31-4_seen",
            "relief_off",
            "mill_what",
            "mill_restore",
            "could_bite",
            "people_alone",
            "people_words",
            "clock_agrees",
        ]
    );
}

/// Each trigger by itself makes the handover one of higher risk; without any it is ordinary.
#[test]
fn each_trigger_is_enough() {
    let mut by_hand: Vec<(Trigger, Record)> = vec![
        (Trigger::Build, quiet()),
        (Trigger::Furnace, quiet()),
        (Trigger::GuardOff, quiet()),
        (Trigger::Unusual, quiet()),
        (Trigger::PartHeld, quiet()),
        (Trigger::Clock, quiet()),
    ];
    by_hand[0].1.half.push(half(HalfKind::Build));
    by_hand[1].1.half.push(half(HalfKind::Load));
    by_hand[2].1.guards[0].off = Some(true);
    by_hand[3].1.stands[0].word = "locked off".to_owned();
    by_hand[4].1.holds.push(Held {
        kind: HeldKind::Part,
        what: "R22 fan hub".to_owned(),
        why: "crack check doubtful".to_owned(),
    });
    by_hand[5].1.clock.agrees = Some(false);
    let asked = [
        (Trigger::Alone, 0),
        (Trigger::Tired, 1),
        (Trigger::NewHand, 2),
        (Trigger::LongAway, 3),
        (Trigger::Hurt, 4),
    ];
    for (trigger, question) in asked {
        let mut record = quiet();
        record.people.answers[question].1 = Some(true);
        by_hand.push((trigger, record));
    }
    for (trigger, record) in by_hand {
        assert_eq!(triggers(&record), [trigger]);
        assert_eq!(risk(&triggers(&record)), Risk::StepUp, "{trigger}");
    }
}

/// A part that waits between two steps and a lot on hold are told, and are no trigger by themselves.
#[test]
fn what_only_waits_is_ordinary() {
    let mut record = quiet();
    record.half = vec![half(HalfKind::Part), half(HalfKind::Feeder)];
    record.holds = vec![Held {
        kind: HeldKind::Lot,
        what: "lot L0426".to_owned(),
        why: "moisture not read".to_owned(),
    }];
    assert_eq!(triggers(&record), []);
}

/// Two things off, a build, and seven places: both guards, the build, then bank and furnace before the rest.
#[test]
fn what_can_hurt_is_looked_at_first() {
    let mut record = quiet();
    record.half = vec![half(HalfKind::Build)];
    for at in [0, 5] {
        record.guards[at].off = Some(true);
        record.guards[at].what = "since 15:10".to_owned();
    }
    let found = facts(&record);
    let keys: Vec<&str> = found.iter().map(|it| &*it.key).collect();
    assert_eq!(
        keys,
        ["booth-door", "mill", "half-r31-4", "bank-a", "furnace"]
    );
    assert_eq!(found[0].told, "off: since 15:10");
    assert_eq!(found[3].told, "shut, 120 bar");
}

/// Whoever told a handover does not take it over, and each thing that was not done is named with its field.
#[test]
fn what_was_not_heard_is_named() {
    let mut record = quiet();
    record.people.answers[0].1 = Some(true);
    record.guards[4].off = None;
    let mut heard = heard_all(&record);
    heard.read.remove("booth");
    heard.seen.insert(
        "bank-a".to_owned(),
        Seen {
            value: " ".to_owned(),
            agrees: None,
        },
    );
    heard.seen.entry("furnace".to_owned()).or_default().agrees = Some(false);
    let found = unheard(&Told::of(record.clone()), &heard, true, EVENING);
    let fields: Vec<String> = found.iter().map(Unheard::field).collect();
    assert_eq!(
        fields,
        [
            "sign_passphrase",
            "booth_heard",
            "cut-outs_heard",
            "bank-a_seen",
            "bank-a_agrees",
            "settled",
            "talked",
            "read_back",
        ]
    );
}

/// Left for a reader at 18:00, opened at 05:30: all readings are 710 min old. Those that the reader took again count.
#[test]
fn an_old_reading_is_taken_again_by_the_receiver() {
    let record = quiet();
    let morning = EVENING + 690 * MINUTE;
    let mut heard = heard_all(&record);
    let old = unheard(&Told::of(record.clone()), &heard, false, morning);
    assert_eq!(old.len(), 7);
    let stale = Unheard::Stale {
        key: "booth".to_owned(),
        age_min: 710,
    };
    assert_eq!(old[0], stale);
    for stand in &record.stands {
        heard.again.insert(stand.key.clone(), "as told".to_owned());
    }
    assert_eq!(
        unheard(&Told::of(record.clone()), &heard, false, morning),
        []
    );
}

/// A record is the same after it was written as JSON and read again, and refuses what it does not know.
#[test]
fn a_record_survives_its_json() {
    let mut record = quiet();
    record.half.push(half(HalfKind::Build));
    let written = serde_json::to_value(&record).expect("JSON");
    assert_eq!(
        serde_json::from_value::<Record>(written.clone()).expect("a record"),
        record
    );
    let mut foreign = written;
    foreign["colour"] = "red".into();
    assert!(serde_json::from_value::<Record>(foreign).is_err());
}

proptest! {
    /// Whatever is answered how, a handover with a safeguard on which nobody spoke is neither told nor taken over.
    #[test]
    fn no_blank_guard_passes(
        answers in prop::collection::vec(prop::option::of(any::<bool>()), Guard::ALL.len()),
        late in 0_i64..2_000,
    ) {
        let mut record = quiet();
        for (line, off) in record.guards.iter_mut().zip(&answers) {
            line.off = *off;
            line.what = "since 15:10".to_owned();
            line.restore = "lead".to_owned();
        }
        let now = EVENING + late * MINUTE;
        let blank = answers.iter().filter(|it| it.is_none()).count();
        let untold = untold(&record, now);
        prop_assert_eq!(untold.iter().filter(|it| it.field.ends_with("_off")).count(), blank);
        let unheard = unheard(&Told::of(record.clone()), &heard_all(&record), false, now);
        let told = unheard.iter().filter(|it| matches!(it, Unheard::GuardBlank { .. }));
        prop_assert_eq!(told.count(), blank);
    }
}
