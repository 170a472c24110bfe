//! Load lists: frozen by number, added to, sent out and answered.

mod answers;
mod reading;

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_core::resupply::list::{LoadList, depot};
use mendpost_tests::{Answer, App, number, text};

use super::storekeeper;

pub const LISTS: &str = "/resupply/lists";

/// One row: item, units, priority, needed by, reason.
pub type Row<'a> = (&'a str, &'a str, &'a str, &'a str, &'a str);

/// Four cans of steel powder, two of bronze, a box of filters, and an impeller.
pub const ROWS: [Row; 4] = [
    (
        "SS-5",
        "4",
        "1",
        "2026-12-03T08:00",
        "frees requests 3 and 7",
    ),
    ("BZ-5", "2", "2", "", "the bearing shells"),
    ("MASK-20", "1", "1", "", "a week of spraying"),
    ("PT-IMPELLER", "1", "3", "", "the second feed pump"),
];

pub fn fields<'a>(step: &'a str, rows: &[Row<'a>]) -> Vec<(&'a str, &'a str)> {
    let mut fields = vec![("trip", "BOAT-7"), ("do", step)];
    for (item, units, priority, needed_by, reason) in rows {
        fields.extend([
            ("item", *item),
            ("units", *units),
            ("priority", *priority),
            ("needed_by", *needed_by),
            ("reason", *reason),
            ("one_lot", if *item == "SS-5" { "yes" } else { "no" }),
            ("takes_back", ""),
        ]);
    }
    fields
}

pub async fn freeze(app: &mut App, rows: &[Row<'_>]) -> Answer {
    app.get("/resupply/lists/new?trip=BOAT-7").await;
    app.post(LISTS, &fields("freeze", rows)).await
}

/// A storekeeper who has frozen the list for the boat.
pub async fn frozen() -> App {
    let mut app = storekeeper().await;
    let answer = freeze(&mut app, &ROWS).await;
    assert_eq!(answer.location(), "/resupply/lists/1", "{}", answer.body);
    app
}

pub async fn the_list(app: &mut App) -> LoadList {
    let file = app.get("/resupply/lists/1/list.json").await;
    assert_eq!(file.header("content-type"), Some("application/json"));
    depot::read(&file.body).expect("a list")
}

/// Gross 4 x 5.42 + 2 x 5.42 + 1.7 + 14.5 = 48.72 kg, net 4 x 5 + 2 x 5 + 1.4 + 11.2 = 42.6 kg; 48 720 g /
/// 453.592 37 g are 107.4 lb. A can is 180 x 180 x 250 mm, 8.1 l; the filters 13.5 l; the impeller 32 l: 6 x
/// 8.1 + 45.5 = 94.1 l.
#[tokio::test]
async fn a_list_is_frozen_with_what_it_comes_to() {
    let mut app = frozen().await;
    let page = app.get("/resupply/lists/1").await;
    for said in [
        "Send load list 1 to the depot by 29 Nov 2026 12:00.",
        "42.6 kg net, 48.72 kg (107.4 lb) gross",
        "48.72 kg (107.4 lb) of 570 kg (1256.6 lb)",
        "94.1 of 4000 l",
        "316L stainless powder",
        "frees requests 3 and 7; all of one lot",
        "UN 3089 METAL POWDER, FLAMMABLE",
        "free by its safety sheet",
        "180 × 180 × 250 mm",
        "by 3 Dec 2026 08:00",
        "1, must go",
        "this list is none",
        "Weigh every piece yourself.",
        "Enter the depot’s answer",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let list = the_list(&mut app).await;
    assert_eq!(list.check(), Ok(()));
    assert_eq!(
        (list.number, list.trip.as_str(), list.lines.len()),
        (1, "BOAT-7", 4)
    );
    let journal =
        "select count(*) from journal where kind = 'load-list.frozen' and subject_id = '1'";
    assert_eq!(number(&app, journal).await, Some(1));
    let index = app.get(LISTS).await;
    assert!(
        index.contains("<b>1</b> for BOAT-7 supply boat") && index.contains("not answered"),
        "{}",
        index.body
    );
    let again = freeze(&mut app, &ROWS).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    assert!(
        again.contains("oad list 1 is frozen for BOAT-7 already"),
        "{}",
        again.body
    );
}

/// What was proposed comes to the same page, and is frozen only from there. What must go stands on a new one
/// already.
#[tokio::test]
async fn a_list_begins_with_what_must_go_or_is_proposed() {
    let mut app = storekeeper().await;
    let page = app.get("/resupply/lists/new?trip=BOAT-7").await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(
        page.contains("<option value=\"MASK-20\" selected>"),
        "{}",
        page.body
    );
    let proposed: Vec<_> = fields("", &ROWS)
        .into_iter()
        .filter(|(name, _)| !["do", "one_lot", "takes_back"].contains(name))
        .collect();
    let page = app.post("/resupply/lists/new", &proposed).await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(
        page.contains("48.72 kg (107.4 lb) of 570 kg"),
        "{}",
        page.body
    );
    assert_eq!(
        number(&app, "select count(*) from load_list").await,
        Some(0)
    );
    let choose = app.get("/resupply/lists/new").await;
    assert!(
        choose.contains("/resupply/lists/new?trip=AIR-3"),
        "{}",
        choose.body
    );
    for (trip, status) in [
        ("SHIP-9", StatusCode::NOT_FOUND),
        ("a b", StatusCode::NOT_FOUND),
    ] {
        let path = format!("/resupply/lists/new?trip={}", trip.replace(' ', "%20"));
        assert_eq!(app.get(&path).await.status, status, "{trip}");
    }
}

/// Each fault stands beside its field, and nothing that was typed is lost. 110 bottles of 75 kg are 8 250 kg
/// where 570 go, 7 680 too much; diesel and aluminium are not loaded together on the sea.
#[tokio::test]
async fn what_does_not_go_is_refused_beside_its_field() {
    let mut app = storekeeper().await;
    let row: Row = ("SS-5", "4", "1", "2026-12-03T08:00", "frees request 3");
    let wrong: [(Row, &str, &str); 9] = [
        (
            ("GOLD-1", row.1, row.2, row.3, row.4),
            "item-1",
            "is no item that is sent for",
        ),
        (
            ("", row.1, row.2, row.3, row.4),
            "item-1",
            "enter something here",
        ),
        ((row.0, "0", row.2, row.3, row.4), "units-1", "enter 1 to"),
        (
            (row.0, "many", row.2, row.3, row.4),
            "units-1",
            "not a whole number",
        ),
        (
            (row.0, row.1, "10", row.3, row.4),
            "priority-1",
            "enter 1 to 9",
        ),
        (
            (row.0, row.1, row.2, "tomorrow", row.4),
            "needed_by-1",
            "not a date",
        ),
        (
            (row.0, row.1, row.2, row.3, ""),
            "reason-1",
            "enter something here",
        ),
        (
            ("ZN-5", row.1, row.2, row.3, row.4),
            "item-1",
            "nobody has read its safety sheet",
        ),
        (
            ("N2-50", "110", row.2, row.3, row.4),
            "units-1",
            "7680 too much",
        ),
    ];
    for (typed, field, fault) in wrong {
        let answer = freeze(&mut app, &[typed]).await;
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{fault}: {}",
            answer.body
        );
        let told = answer.field_error(field).unwrap_or_default();
        assert!(told.contains(fault), "{field}: {told}; {}", answer.body);
        assert!(
            answer.contains(&format!("value=\"{}\"", typed.1)),
            "{fault}"
        );
    }
    let both = [
        ("DSL-20", "1", "1", "", "a day of power"),
        ("AL-5", "1", "1", "", "the crosshead"),
    ];
    let answer = freeze(&mut app, &both).await;
    let told = answer.field_error("item-1").unwrap_or_default();
    assert!(told.contains("are not loaded together"), "{told}");
    let nothing = freeze(&mut app, &[]).await;
    assert!(nothing.contains("Nothing is asked for"), "{}", nothing.body);
    assert_eq!(
        number(&app, "select count(*) from load_list").await,
        Some(0)
    );
}

/// Of four cans one is taken back and a box of filters added: 48.72 - 5.42 + 1.7 = 45 kg. More than is left
/// is not taken back; the database refuses it too, and any change of what was frozen.
#[tokio::test]
async fn an_addition_adds_and_takes_back() {
    let mut app = frozen().await;
    let page = app.get("/resupply/lists/1/add").await;
    assert_eq!(page.status, StatusCode::OK);
    let add = |why: &'static str, back: &'static str, units: &'static str| {
        vec![
            ("why", why),
            ("version", "1"),
            ("do", "freeze"),
            ("item", "MASK-20"),
            ("units", "1"),
            ("priority", "1"),
            ("needed_by", ""),
            ("reason", "dust is worse than thought"),
            ("one_lot", "no"),
            ("takes_back", ""),
            ("item", ""),
            ("units", units),
            ("priority", ""),
            ("needed_by", ""),
            ("reason", "a can was found here"),
            ("one_lot", ""),
            ("takes_back", back),
        ]
    };
    for (typed, field, fault) in [
        (add("", "1", "1"), "why", "enter something here"),
        (
            add("found one", "9", "1"),
            "takes_back-2",
            "line 9 asks for nothing here",
        ),
        (
            add("found one", "1", "5"),
            "units-2",
            "5 are more than line 1 still asks for: 4",
        ),
    ] {
        let answer = app.post("/resupply/lists/1/add", &typed).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{fault}");
        assert!(
            answer
                .field_error(field)
                .unwrap_or_default()
                .contains(fault),
            "{fault}: {}",
            answer.body
        );
    }
    let answer = app
        .post("/resupply/lists/1/add", &add("found one", "1", "1"))
        .await;
    assert_eq!(answer.location(), "/resupply/lists/1", "{}", answer.body);
    let page = app.get("/resupply/lists/1").await;
    for said in [
        "Addition 1",
        "found one; ",
        "takes back of line 1",
        "3 left by additions",
        "45 kg (99.2 lb) gross",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let list = the_list(&mut app).await;
    assert_eq!(list.asked().get(&1), Some(&3));
    let stale = app
        .post("/resupply/lists/1/add", &add("found one more", "1", "1"))
        .await;
    assert_eq!(stale.status, StatusCode::CONFLICT);
    assert!(
        stale.contains("Somebody added to this list meanwhile"),
        "{}",
        stale.body
    );
    for sql in [
        "update load_list_line set units = 9",
        "delete from load_list_line",
        "update load_list set trip = 'X'",
        "delete from load_list_addition",
        "insert into load_list_line (list_number, number, addition, takes_back, item_id, name, unit, units, net_g, gross_g,
           x_mm, y_mm, z_mm, goods, uses, priority, reason, one_lot, substitutes)
         select 1, 99, 1, 1, item_id, name, unit, 4, net_g, gross_g, x_mm, y_mm, z_mm, goods, uses, 1, 'r', 0, ''
         from load_list_line where number = 1",
    ] {
        let done = sqlx::query(sql).execute(&app.state.db.write).await;
        assert!(done.is_err(), "{sql}");
    }
}

/// The sheet opens in a spreadsheet program, guarded against formulas, with empty columns for the answer; the
/// lines to be read aloud are plain.
#[tokio::test]
async fn a_list_goes_out_as_sheet_and_by_voice() {
    let mut app = storekeeper().await;
    let rows = [("SS-5", "4", "1", "", "=1+1 frees, \"request\" 3")];
    freeze(&mut app, &rows).await;
    let sheet = app.get("/resupply/lists/1/list.csv").await;
    assert_eq!(
        sheet.header("content-disposition"),
        Some("attachment; filename=\"load-list-1.csv\"")
    );
    let lines: Vec<&str> = sheet.body.split("\r\n").collect();
    assert!(
        lines[0].starts_with("\u{feff}list,trip,line,stock_number,"),
        "{}",
        lines[0]
    );
    assert!(
        lines[0]
            .ends_with("sent,cut,later,later_on,instead,instead_units,consignment,note,arrival")
    );
    assert!(
        lines[1]
            .starts_with("1,BOAT-7,1,SS-5,316L stainless powder,can 5 kg,4,5,5.42,180,180,250,"),
        "{}",
        lines[1]
    );
    assert!(
        lines[1].ends_with("\"'=1+1 frees, \"\"request\"\" 3\",,,,,,,,,"),
        "{}",
        lines[1]
    );
    let page = app.get("/resupply/lists/1/radio").await;
    assert!(
        page.contains("<code>2 LINE 1 SEND 4 OF SS DASH 5 "),
        "{}",
        page.body
    );
}

/// Everybody looks; only lead and storekeeper freeze, add and answer.
#[tokio::test]
async fn only_lead_and_storekeeper_freeze_lists() {
    let mut keeper = frozen().await;
    keeper.get("/resupply/lists/1").await;
    for role in Role::ALL {
        let mut app = keeper.other_browser();
        app.sign_in(role).await;
        let may = matches!(role, Role::Lead | Role::Storekeeper);
        let due = if may {
            StatusCode::OK
        } else {
            StatusCode::FORBIDDEN
        };
        for path in ["/resupply/lists/1/add", "/resupply/lists/1/answer"] {
            assert_eq!(app.get(path).await.status, due, "{role} {path}");
        }
        for path in ["", "/radio", "/list.csv", "/list.json", "/return"] {
            let path = format!("/resupply/lists/1{path}");
            assert_eq!(app.get(&path).await.status, StatusCode::OK, "{role} {path}");
        }
        if !may {
            for path in [
                LISTS,
                "/resupply/lists/1/add",
                "/resupply/lists/1/answer",
                "/resupply/lists/1/return",
            ] {
                assert_eq!(app.post(path, &[]).await.status, due, "{role} {path}");
            }
            let page = app.get("/resupply/lists/1").await;
            assert!(!page.contains("Add to it"), "{role}");
        }
    }
    for path in [
        "/resupply/lists/2",
        "/resupply/lists/x",
        "/resupply/lists/2/list.json",
    ] {
        assert_eq!(
            keeper.get(path).await.status,
            StatusCode::NOT_FOUND,
            "{path}"
        );
    }
}

/// What goes back: what somebody writes down, put right by writing it again.
#[tokio::test]
async fn what_goes_back_is_written_down() {
    let mut app = frozen().await;
    let back = "/resupply/lists/1/return";
    let page = app.get(back).await;
    for said in [
        "It takes: empty bottles and drums; worn parts",
        "Copy of the records",
        "a trained shipper makes the declaration",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let own = |pieces: &'static str, kg: &'static str| {
        [
            ("what", "worn impellers"),
            ("pieces", pieces),
            ("gross_kg", kg),
            ("note", "for the yard"),
        ]
    };
    for (typed, field) in [
        (own("-1", ""), "pieces"),
        (own("1", "x"), "gross_kg"),
        (
            [
                ("what", ""),
                ("pieces", "1"),
                ("gross_kg", ""),
                ("note", ""),
            ],
            "what",
        ),
    ] {
        let answer = app.post(back, &typed).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(
            answer.field_error(field).is_some(),
            "{field}: {}",
            answer.body
        );
    }
    assert_eq!(app.post(back, &own("2", "29")).await.location(), back);
    assert!(app.get(back).await.contains("29 kg (63.9 lb)"));
    app.post(back, &own("0", "")).await;
    assert!(app.get(back).await.contains("worn impellers stays here"));
    assert!(!app.get(back).await.contains("worn impellers"));
    let rows = "select group_concat(pieces, ' ') from load_return";
    assert_eq!(
        text(&app, rows).await.as_deref(),
        Some("2 0"),
        "both stay on record"
    );
}
