use super::*;
use crate::lineup::tests::site::{at, code};
use crate::powder::LotState;
use crate::resupply::list::answer::{Answer, AnswerLine, Instead};
use chrono::NaiveDate;
use proptest::prelude::*;

fn request() -> Request {
    let asked = |item: &str, units, priority, needed_by| Asked {
        item: code(item),
        units,
        priority,
        needed_by,
    };
    Request {
        list: 7,
        trip: code("BOAT-8"),
        lines: BTreeMap::from([
            (1, asked("CAN-316L", 4, 1, Some(at(2_000)))),
            (4, asked("6850-01/A+", 12, 3, None)),
        ]),
    }
}

fn stock() -> Stock {
    let lot = |lot: &str, grams, state, use_by| OnHand::Lot {
        lot: code(lot),
        powder: code("316L"),
        grams,
        state,
        use_by,
    };
    Stock {
        at: at(500),
        entries: vec![
            lot(
                "L0396",
                12_500,
                LotState::Released,
                NaiveDate::from_ymd_opt(2027, 1, 31),
            ),
            lot("26/0417", 900, LotState::Hold, None),
            OnHand::Bank {
                bank: code("A"),
                bottles: 12,
                mbar: 143_000,
            },
            OnHand::Fuel { ml: 230_000 },
            OnHand::Item {
                item: code("MASK"),
                units: 7,
            },
        ],
    }
}

fn answer() -> Answer {
    let of = |line, sent, cut, later| AnswerLine {
        line,
        sent,
        cut,
        later,
        ..AnswerLine::default()
    };
    Answer {
        list: 7,
        trip: code("BOAT-8"),
        by: String::new(),
        arrival: Some(at(3_000)),
        lines: vec![
            AnswerLine {
                instead: Some(Instead {
                    item: code("CAN-316L-1"),
                    units: 5,
                }),
                consignment: "C-2301".to_owned(),
                ..of(1, 2, 1, 0)
            },
            AnswerLine {
                later_on: NaiveDate::from_ymd_opt(2026, 12, 10),
                ..of(4, 0, 0, 12)
            },
        ],
    }
}

fn all_three() -> [(Vec<String>, Message); 3] {
    [
        (request().radio(), Message::Request(request())),
        (stock().radio(), Message::Stock(stock())),
        (answer().radio(), Message::Answer(answer())),
    ]
}

#[test]
fn lines_are_short_plain_and_read_back() {
    for (lines, message) in all_three() {
        for line in &lines {
            let plain = |it: char| it.is_ascii_uppercase() || it.is_ascii_digit() || it == ' ';
            assert!(line.chars().all(plain), "{line}");
            // About forty; three signs in a stock number make it longer.
            assert!(line.len() <= 46, "{line}");
        }
        let (heard, read) = read(&lines.join("\n"));
        assert!(heard.is_whole(), "{heard:?}");
        assert_eq!(read, Some(message));
    }
}

#[test]
fn the_words_of_a_list_are_these() {
    let lines = request().radio();
    let without_check: Vec<&str> = lines.iter().map(|it| &it[..it.len() - 3]).collect();
    assert_eq!(without_check[0], "1 LOAD LIST 7 TRIP BOAT DASH 8");
    assert_eq!(without_check[1], "2 LINE 1 SEND 4 OF CAN DASH 316L");
    assert!(
        without_check[2].starts_with("3 LINE 1 PRIORITY 1 BY 20"),
        "{}",
        without_check[2]
    );
    assert_eq!(
        without_check[3],
        "4 LINE 4 SEND 12 OF 6850 DASH 01 BAR A PLUS"
    );
    assert_eq!(without_check[4], "5 LINE 4 PRIORITY 3");
    assert!(
        without_check[5].starts_with("6 END 5 LINES ALL "),
        "{}",
        without_check[5]
    );
}

/// However it was typed: small letters, blanks anywhere or nowhere, lines in another order, a line twice, all
/// of them in one row.
#[test]
fn how_it_was_typed_does_not_matter() {
    for (lines, message) in all_three() {
        let small = lines.join("\n").to_lowercase();
        let spread: String = lines.join("\n").chars().flat_map(|it| [it, ' ']).collect();
        let close = lines.join("\n").replace(' ', "");
        let mut turned = lines.clone();
        turned.reverse();
        let running = lines.join(" ");
        let running_close = running.replace(' ', "");
        for typed in [
            small,
            spread,
            close,
            turned.join("\n\n"),
            running,
            running_close,
        ] {
            let (heard, read) = read(&typed);
            assert!(heard.is_whole(), "{typed}: {heard:?}");
            assert_eq!(read.as_ref(), Some(&message), "{typed}");
        }
        let again = format!("{}\n{}", lines.join("\n"), lines[1]);
        let (heard, read) = read(&again);
        assert_eq!(heard.twice, BTreeSet::from([2]));
        assert_eq!((heard.is_whole(), read), (true, Some(message)));
    }
}

/// Every character of every line turned into each of the 35 others, and every two neighbours swapped: the row
/// is always known as misheard, and the other lines stand as they were.
#[test]
fn one_wrong_character_or_two_swapped_are_always_found() {
    const ALL: &str = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
    for (lines, _) in all_three() {
        let mut tried = 0;
        for (n, line) in lines.iter().enumerate() {
            let told: Vec<char> = bare(line).chars().collect();
            let mut wrong: Vec<Vec<char>> = Vec::new();
            for place in 0..told.len() {
                let others = ALL.chars().filter(|it| *it != told[place]);
                wrong.extend(others.map(|other| {
                    let mut typed = told.clone();
                    typed[place] = other;
                    typed
                }));
                if place > 0 && told[place] != told[place - 1] {
                    let mut typed = told.clone();
                    typed.swap(place - 1, place);
                    wrong.push(typed);
                }
            }
            for typed in wrong {
                let mut rows = lines.clone();
                rows[n] = typed.iter().collect();
                let heard = hear(&rows.join("\n"));
                let rows: Vec<usize> = heard.misheard.iter().map(|it| it.row).collect();
                assert_eq!(
                    rows,
                    [n + 1],
                    "{line} as {}",
                    typed.iter().collect::<String>()
                );
                assert!(!heard.is_whole());
                tried += 1;
            }
        }
        assert!(tried > 1_000);
    }
}

/// A line is left out, the last one is, two lines have one number, a line of another text stands in its
/// place: each is told for itself.
#[test]
fn what_is_missing_or_strange_is_named() {
    let lines = request().radio();
    let without = |n: usize| {
        let mut rows = lines.clone();
        rows.remove(n - 1);
        rows.join("\n")
    };
    let heard = hear(&without(3));
    assert_eq!((heard.missing.as_slice(), heard.end), (&[3][..], End::Open));
    let heard = hear(&without(6));
    assert_eq!(
        (heard.missing.as_slice(), heard.end),
        (&[][..], End::Missing)
    );

    let other = Request {
        list: 8,
        ..request()
    }
    .radio();
    let both = format!("{}\n{}", lines.join("\n"), other[0]);
    let (heard, read) = read(&both);
    let doubted: Vec<_> = heard
        .misheard
        .iter()
        .map(|it| (it.row, it.number, it.why))
        .collect();
    assert_eq!(
        doubted,
        [(1, Some(1), Why::Number), (7, Some(1), Why::Number)]
    );
    assert_eq!((heard.missing, read), (vec![1], None));

    let mut mixed = lines.clone();
    mixed[0].clone_from(&other[0]);
    assert_eq!(hear(&mixed.join("\n")).end, End::Differs);

    let (heard, message) = super::read(&format!("{}\n", line(1, "GOOD MORNING")));
    assert_eq!(
        heard.misheard.iter().map(|it| it.why).collect::<Vec<_>>(),
        [Why::Sense]
    );
    assert_eq!(message, None);
    assert_eq!(super::read("").1, None);
}

proptest! {
    /// Whatever a code is made of, the words for signs among its letters, it is read as it was said.
    #[test]
    fn a_code_is_heard_as_it_was_said(
        parts in prop::collection::vec("[A-Z0-9./+-]|DASH|POINT|BAR|PLUS|EXACTLY|EXACT|PLU|DAS|POIN|BA|LY", 1..14)
    ) {
        let code: String = parts.concat().chars().take(40).collect();
        let said = spoken(&code);
        prop_assert!(said.chars().all(|it| it.is_ascii_uppercase() || it.is_ascii_digit() || it == ' '));
        prop_assert_eq!(words::heard(&bare(&said)), code);
    }

    /// A list with any stock numbers and figures is read back whole, broken into rows or not.
    #[test]
    fn any_list_is_read_back(
        asked in prop::collection::vec(
            ("[A-Z0-9./+-]{1,20}", 1_i64..100_000, 1_i64..10, prop::option::of(0_i64..500_000)),
            1..12
        ),
        running in any::<bool>(),
    ) {
        let lines = (1..).zip(asked).map(|(n, (item, units, priority, by))| {
            (n, Asked { item: code(&item), units, priority, needed_by: by.map(at) })
        });
        let request = Request { lines: lines.collect(), ..request() };
        let typed = request.radio().join(if running { " " } else { "\n" });
        let (heard, read) = read(&typed);
        prop_assert!(heard.is_whole(), "{:?}", heard);
        prop_assert_eq!(read, Some(Message::Request(request)));
    }
}
