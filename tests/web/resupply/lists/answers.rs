//! The depot's answer: typed, or read in, and what is expected of it.

use axum::http::StatusCode;
use mendpost_core::resupply::list::answer::{Answer, AnswerLine, Instead};
use mendpost_core::resupply::list::depot;
use mendpost_core::situation::Brings;
use mendpost_tests::{App, altered, number, site, text};

use super::{frozen, the_list};

const ANSWER: &str = "/resupply/lists/1/answer";
const READ_IN: &str = "/resupply/lists/1/answer/read";

/// Of four cans of steel three come and one later; one can of bronze comes and two of half the size for the
/// other; the filters are cut; the impeller comes. All of it a day later than the boat usually would.
const TYPED: [(&str, &str); 14] = [
    ("version", "0"),
    ("by", "Depot clerk"),
    ("arrival", "2026-12-02T10:00"),
    ("besides", "go"),
    ("sent-1", "3"),
    ("later-1", "1"),
    ("later_on-1", "2026-12-09"),
    ("sent-2", "1"),
    ("instead-2", "BZ-2.5"),
    ("instead_units-2", "2"),
    ("cut-3", "1"),
    ("sent-4", "1"),
    ("consignment-4", "C-2301"),
    ("note-4", "in a crate"),
];

const BRINGS: &str = "select group_concat(kind || ' ' || amount || ' ' || coalesce(list_line, '-'), ', ')
    from (select * from delivery_line where delivery_id = (select id from delivery where code = 'BOAT-7') order by position)";

/// 3 x 5 000 g of steel, 5 000 g and 2 x 2 500 g of bronze, and the impeller as a thing of its own.
#[tokio::test]
async fn an_answer_is_what_the_delivery_is_expected_to_bring() {
    let mut app = frozen().await;
    let page = app.get(ANSWER).await;
    assert!(
        page.contains("4 asked: SS-5 316L stainless powder") && page.contains("they come besides"),
        "{}",
        page.body
    );
    let answer = app.post(ANSWER, &TYPED).await;
    assert_eq!(answer.location(), "/resupply/lists/1", "{}", answer.body);
    let brings = text(&app, BRINGS).await;
    assert_eq!(
        brings.as_deref(),
        Some("powder 15000 1, powder 5000 2, powder 5000 2, other 0 4")
    );
    let site = site(&app).await;
    let boat = site
        .deliveries
        .iter()
        .find(|it| it.code.as_str() == "BOAT-7")
        .expect("it");
    assert_eq!(
        boat.brings
            .iter()
            .filter(|it| matches!(it, Brings::Powder { .. }))
            .count(),
        3
    );
    let page = app.get("/resupply/trips/BOAT-7").await;
    assert!(
        page.contains("2 Dec 2026 10:00"),
        "the trip moved: {}",
        page.body
    );
    let page = app.get("/resupply/lists/1").await;
    for said in [
        "Receive BOAT-7 against what the depot sends.",
        "3 sent, 1 later, on 9 Dec 2026",
        "1 sent, 2 of BZ-2.5 instead",
        "1 cut",
        "1 sent, consignment C-2301, in a crate",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let receiving = app.get("/receiving/new?delivery=BOAT-7").await;
    assert!(
        receiving.contains("15\u{202f}000 g expected, load list 1, line 1"),
        "{}",
        receiving.body
    );
    let replaced = "select json_array_length(content, '$.replaced') from journal where kind = 'load-list.answered'";
    assert_eq!(
        number(&app, replaced).await,
        Some(5),
        "what was announced before stays in the journal"
    );

    // The newer answer holds: all four come after all, and only its own lines are replaced.
    app.get(ANSWER).await;
    let newer = altered(
        &TYPED,
        &[
            ("version", "1"),
            ("sent-1", "4"),
            ("later-1", ""),
            ("later_on-1", ""),
        ],
    );
    let answer = app.post(ANSWER, &newer).await;
    assert_eq!(answer.location(), "/resupply/lists/1", "{}", answer.body);
    let brings = text(&app, BRINGS).await;
    assert_eq!(
        brings.as_deref(),
        Some("powder 20000 1, powder 5000 2, powder 5000 2, other 0 4")
    );
    let stale = app.post(ANSWER, &newer).await;
    assert_eq!(stale.status, StatusCode::CONFLICT, "{}", stale.body);
    assert_eq!(
        number(&app, "select count(*) from load_answer").await,
        Some(2)
    );
}

/// What was announced without a list comes besides, if somebody says so.
#[tokio::test]
async fn what_was_announced_before_may_come_besides() {
    let mut app = frozen().await;
    app.get(ANSWER).await;
    let stay = altered(&TYPED, &[("besides", "stay")]);
    app.post(ANSWER, &stay).await;
    let brings = text(&app, BRINGS).await.expect("lines");
    assert!(
        brings.starts_with(
            "powder 12000 -, powder 1000 -, gas 6 -, fuel 100000 -, other 0 -, powder 15000 1"
        ),
        "{brings}"
    );
}

#[tokio::test]
async fn each_fault_of_an_answer_stands_beside_its_field() {
    let mut app = frozen().await;
    app.get(ANSWER).await;
    for (field, typed, fault) in [
        ("sent-1", "2", "3 of 4 are told of"),
        ("sent-1", "x", "not a whole number"),
        ("cut-1", "2", "cut and later go up to"),
        ("later_on-2", "2026-12-09", "nothing is sent later"),
        ("instead-2", "GOLD", "is no item that is listed here"),
        ("instead-2", "", "say which stock number"),
        ("sent-4", "3", "say why in the note"),
        ("consignment-4", "C 2301", "use letters"),
        ("arrival", "2026-11-20T10:00", "that has passed"),
        ("besides", "", "comes besides, or not"),
    ] {
        let more: Vec<_> = match (field, typed) {
            ("sent-4", _) => vec![(field, typed), ("note-4", "")],
            _ => vec![(field, typed)],
        };
        let answer = app.post(ANSWER, &altered(&TYPED, &more)).await;
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{field} {typed}: {}",
            answer.body
        );
        assert!(
            answer.contains(fault),
            "{field} {typed} {fault}: {}",
            answer.body
        );
        assert!(
            answer.contains("value=\"Depot clerk\""),
            "what was typed is kept"
        );
    }
    let mut never = TYPED.to_vec();
    never.push(("sent-9", "1"));
    let answer = app.post(ANSWER, &never).await;
    assert!(
        answer.contains("line 9 of list 1 asks for nothing; answer 1, 2, 3, 4"),
        "{}",
        answer.body
    );
    assert_eq!(
        number(&app, "select count(*) from load_answer").await,
        Some(0)
    );
}

/// An impeller that a request waits for on this boat is expected when the boat is.
#[tokio::test]
async fn a_request_that_waits_for_a_true_part_knows_when_it_comes() {
    let mut app = frozen().await;
    let waits = "insert into request_way (request_id, position, kind, delivery_id, expected_ms, fit_min, crew)
        select r.id, 90, 'true-part', d.id, d.expected_ms, 60, 1 from request r join part p on p.id = r.part_id, delivery d
        where p.code = 'WP-IMPELLER' and d.code = 'BOAT-7'";
    let added = sqlx::query(waits)
        .execute(&app.state.db.write)
        .await
        .expect("a way");
    assert!(
        added.rows_affected() > 0,
        "the demonstration has a worn impeller"
    );
    app.get(ANSWER).await;
    app.post(ANSWER, &TYPED).await;
    let later = "select count(*) from request_way w join delivery d on d.id = w.delivery_id
        where w.position = 90 and w.expected_ms = d.expected_ms";
    let told = "select count(*) from journal where kind = 'request.true-part-expected'";
    let waiting = i64::try_from(added.rows_affected()).ok();
    assert_eq!(number(&app, later).await, waiting);
    assert_eq!(number(&app, told).await, waiting);
}

fn told() -> Answer {
    let of = |line, sent, cut| AnswerLine {
        line,
        sent,
        cut,
        ..AnswerLine::default()
    };
    Answer {
        list: 1,
        trip: "BOAT-7".parse().expect("a code"),
        by: String::new(),
        arrival: None,
        lines: vec![
            of(1, 4, 0),
            AnswerLine {
                instead: Some(Instead {
                    item: "BZ-2.5".parse().expect("a code"),
                    units: 4,
                }),
                ..of(2, 0, 0)
            },
            of(3, 0, 1),
            of(4, 1, 0),
        ],
    }
}

async fn read_in(app: &mut App, text: &str) -> mendpost_tests::Answer {
    app.get(ANSWER).await;
    app.post(READ_IN, &[("text", text)]).await
}

/// File, sheet and voice say the same, and lead to the same form; nothing is entered by it.
#[tokio::test]
async fn an_answer_is_read_in_three_ways() {
    let mut app = frozen().await;
    let file = depot::write_answer(&told()).expect("a file");
    let voice = told().radio().join("\n").to_lowercase();
    let sheet = app.get("/resupply/lists/1/list.csv").await.body;
    let filled: Vec<String> = sheet
        .split("\r\n")
        .enumerate()
        .map(|(n, line)| {
            let answer = [
                ",,,,,,,,",
                "4,,,,,,,,",
                ",,,,BZ-2.5,4,,,",
                ",1,,,,,,,",
                "1,,,,,,,,",
            ];
            match n {
                1..=4 => format!(
                    "{}{}",
                    line.strip_suffix(",,,,,,,,").expect("empty columns"),
                    answer[n]
                ),
                _ => line.to_owned(),
            }
        })
        .collect();
    for text in [file, voice, filled.join("\r\n")] {
        let page = read_in(&mut app, &text).await;
        assert_eq!(page.status, StatusCode::OK, "{text}: {}", page.body);
        for value in [
            "name=\"sent-1\" type=\"text\" value=\"4\"",
            "value=\"BZ-2.5\"",
            "name=\"cut-3\" type=\"text\" value=\"1\"",
        ] {
            assert!(page.contains(value), "{value} of {text}: {}", page.body);
        }
        assert!(!page.contains("entry wrong"), "{}", page.body);
    }
    assert_eq!(
        number(&app, "select count(*) from load_answer").await,
        Some(0)
    );
}

/// Cut off, altered, for another list, of another site, the list itself, a misheard line: each says what it
/// is.
#[tokio::test]
async fn what_is_no_answer_to_this_list_is_not_taken() {
    let mut app = frozen().await;
    let file = depot::write_answer(&told()).expect("a file");
    let list = the_list(&mut app).await;
    let other = depot::write_answer(&Answer { list: 2, ..told() }).expect("a file");
    let foreign = Answer {
        trip: "BOAT-9".parse().expect("a code"),
        ..told()
    };
    let misheard = told().radio().join("\n").replacen("SENT 4", "SENT 5", 1);
    for (text, fault) in [
        (file[..file.len() / 2].to_owned(), "breaks off"),
        (
            file.replacen("\"sent\":4", "\"sent\":5", 1),
            "it was altered on its way",
        ),
        (other, "this answers load list 2"),
        (
            depot::write_answer(&foreign).expect("a file"),
            "it may be of another site",
        ),
        (
            depot::write_list(&list).expect("a file"),
            "this is a load list and no answer",
        ),
        (
            misheard,
            "row 2, as line 2, was misheard: its check characters do not fit",
        ),
        ("a,b,c\n1,2,3\n".to_owned(), "no columns"),
        (String::new(), "paste a text, or choose a file"),
    ] {
        let page = read_in(&mut app, &text).await;
        assert_eq!(
            page.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{fault}: {}",
            page.body
        );
        let told = page.field_error("text").unwrap_or_default();
        assert!(told.contains(fault), "{fault}: {told}");
    }
}
