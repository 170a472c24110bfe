//! Lots with their containers: new ones wait for their release, and the book is moved by movements only.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, number};

use super::{JOURNAL, fault, faults, import, send};

const LOTS: &str = "code;powder;state;received;use_by;maker_lot;note\n";
const CONTAINERS: &str = "code;lot;received_g;used_g;opened\n";

/// Two bottles of 2 500 g and 2 499.75 g, of which 500.5 g were used: 4 499.25 g on hand, in quarantine.
#[tokio::test]
async fn a_new_lot_comes_in_and_waits_for_its_release() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let lots =
        format!("{LOTS}L0500;AL6061;quarantine;2026-11-25 09:00;2027-11-25 00:00;AL-2311;\n");
    let containers =
        format!("{CONTAINERS}L0500-1;L0500;2500;;\nL0500-2;L0500;2499,75;500,5;2026-11-25 10:00\n");
    let sheets = [
        ("lots", lots.as_bytes()),
        ("containers", containers.as_bytes()),
    ];
    let preview = send(&mut app, "lots", &sheets).await;
    assert!(
        preview.contains("Read as parted by semicolons, decimals with a comma."),
        "{}",
        preview.body
    );
    assert!(
        preview.contains("4\u{202f}499.25 g of AL6061 in 2 containers, quarantine"),
        "{}",
        preview.body
    );
    assert_eq!(
        import(&mut app, "lots", &preview).await.status,
        StatusCode::SEE_OTHER
    );
    let on_hand = "select sum(c.milligrams) from container_now c
                   join lot l on l.id = c.lot_id where l.code = 'L0500' and l.state = 'quarantine'";
    assert_eq!(number(&app, on_hand).await, Some(4_499_250));
    let entry = "select count(*) from movement m join journal j on j.sequence = m.journal_sequence
                 where j.kind = 'lot.received' and j.subject_id = 'L0500'";
    assert_eq!(
        number(&app, entry).await,
        Some(3),
        "two receipts and what was used before"
    );
    let page = app.get("/powder/L0500").await;
    assert!(page.contains("quarantine"), "{}", page.body);
}

/// The lot is entered by the number on its label, 26/0417, and found, counted and photographed under it.
#[tokio::test]
async fn a_lot_is_found_by_a_number_with_a_stroke() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let lots = format!("{LOTS}26/0417;AL6061;quarantine;2026-11-25 09:00;;;\n");
    let containers = format!("{CONTAINERS}26/0417-1;26/0417;2500;;\n");
    let sheets = [
        ("lots", lots.as_bytes()),
        ("containers", containers.as_bytes()),
    ];
    let preview = send(&mut app, "lots", &sheets).await;
    let done = import(&mut app, "lots", &preview).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", preview.body);
    let all = app.get("/powder").await;
    assert!(all.contains("/powder/26%2F0417\""), "{}", all.body);
    let lot = app.get("/powder/26%2F0417").await;
    for act in ["release", "count", "photos"] {
        let path = format!("/powder/26%2F0417/{act}");
        assert!(
            lot.contains(&format!("href=\"{path}")),
            "{act}: {}",
            lot.body
        );
        assert_eq!(app.get(&path).await.status, StatusCode::OK, "{act}");
    }
    let count = app.get("/powder/26%2F0417/count").await;
    assert!(count.contains("action=\"/powder/26%2F0417/count\""));
}

/// An import releases nothing, and takes no lot without a container.
#[tokio::test]
async fn no_lot_comes_in_released_or_without_a_container() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    for state in ["released", "hold", "rejected", "empty"] {
        let lots = format!("{LOTS}L0500;AL6061;{state};2026-11-25 09:00;;;\n");
        let containers = format!("{CONTAINERS}L0500-1;L0500;2500;;\n");
        let told = fault(
            &mut app,
            "lots",
            &[
                ("lots", lots.as_bytes()),
                ("containers", containers.as_bytes()),
            ],
        )
        .await;
        assert_eq!(
            told,
            format!(
                "2 | state | '{state}' is nothing that a sheet makes of a new lot; give arrived or quarantine, and release it on its page"
            )
        );
    }
    let lots = format!("{LOTS}L0500;AL6061;arrived;2026-11-25 09:00;;;\n");
    let told = fault(
        &mut app,
        "lots",
        &[
            ("lots", lots.as_bytes()),
            ("containers", CONTAINERS.as_bytes()),
        ],
    )
    .await;
    assert_eq!(
        told,
        "2 | code | containers.csv has no container of it; list each with what came in it"
    );
    let told = fault(&mut app, "lots", &[("lots", lots.as_bytes())]).await;
    assert_eq!(told, "all | all | the file is missing; choose it too");
}

/// L0390 is released, came on a day, and holds two bottles: a row that says otherwise is told with how it
/// is put right, and so is a further bottle for it.
#[tokio::test]
async fn a_lot_in_the_book_is_not_changed_by_a_sheet() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let before = number(&app, JOURNAL).await;
    let lots = "code,powder,state,received,use_by\nL0390,AL6061,hold,day-62 10:00,day+191 00:00\n";
    let containers = "code,lot,received_g,used_g,opened\n\
                      L0390-1,L0390,5000,1400,day-20 07:30\n\
                      L0390-9,L0390,5000,,\n";
    let told = faults(
        &send(
            &mut app,
            "lots",
            &[
                ("lots", lots.as_bytes()),
                ("containers", containers.as_bytes()),
            ],
        )
        .await,
    );
    let expected = [
        [
            "2",
            "used_g",
            "'1400' is given and '2400' stands; a container in the book is moved by movements only: draw, return or count it on the page of lot L0390, and take this row out",
        ],
        [
            "3",
            "lot",
            "lot L0390 is in the book with its containers, and no sheet adds one; give what came since a lot of its own",
        ],
        [
            "2",
            "state",
            "'hold' is given and 'released' stands; a lot is released, stopped or rejected on the page of lot L0390, not by a sheet; give what stands",
        ],
        [
            "2",
            "use_by",
            "'day+191 00:00' is given and '2027-06-03 00:00' stands; what lot L0390 was entered with stays; give what stands, or another code if it is another lot",
        ],
    ];
    assert_eq!(told, expected.map(|row| row.map(str::to_owned)));
    assert_eq!(number(&app, JOURNAL).await, before);
}

/// Powder that was counted to more than came, a fraction of a gram, a lot that is drawn down and not yet
/// called empty: whatever the book holds comes out and goes in again as nothing.
#[tokio::test]
async fn an_odd_book_comes_back_as_nothing_changed() {
    let mut app = App::signed_in(Role::Lead).await;
    moved(&app, "L0390-1", 3_000_500).await; // 2 600 g on hand and 3 000.5 g more: more than came
    moved(&app, "L0390-2", -3_000_000).await; // all of it, without ever having been opened
    moved(&app, "L0391-1", -1).await; // a milligram
    for separator in ["comma", "semicolon"] {
        let mut sheets = Vec::new();
        for file in ["lots", "containers"] {
            let path = format!("/site/sheets/lots/{file}.csv?separator={separator}");
            sheets.push((file, app.get(&path).await));
        }
        let mark = if separator == "comma" { "." } else { "," };
        let written = &sheets[1].1.body;
        assert!(written.contains(&format!("5600{mark}5")), "{written}");
        let sent: Vec<(&str, &[u8])> = sheets
            .iter()
            .map(|(f, a)| (*f, a.bytes.as_slice()))
            .collect();
        let preview = send(&mut app, "lots", &sent).await;
        assert!(preview.contains("Change nothing"), "{}", preview.body);
    }
}

/// A count that found so much more than the book, or less.
async fn moved(app: &App, container: &str, milligrams: i64) {
    sqlx::query(
        "insert into movement (id, lot_id, into_lot_id, from_id, to_id, milligrams, reason, at_ms, journal_sequence)
         select randomblob(16), c.lot_id, c.lot_id, iif(?1 > 0, g.id, c.id), iif(?1 > 0, c.id, g.id), abs(?1),
           'count', 0, 1
         from container c, place g where c.code = ?2 and g.kind = 'gap'",
    )
    .bind(milligrams)
    .bind(container)
    .execute(&app.state.db.write)
    .await
    .expect("a movement");
}

const WHOLE: &str = "code,powder,state,received,use_by,maker_lot,made_on,date_kind,storage,humidity_min,humidity_max,maker,certificate,certificate_date,certificate_lot,specification,revision,d10_um,d50_um,d90_um,chemistry,statement,flow_s,moisture_percent\n";
const CANS: &str = "code,lot,received_g,used_g,opened,seal,seal_state,gross_g,tare_g,damage\n";
const LOT: &str = "L0500,AL6061,quarantine,2026-11-24 09:00,2027-11-25 00:00,AL-2311,2026-08-14,retest,cabinet A,10,45,Light metal powder works,C-2311,2026-08-20,AL-2312,PS-AL-03,C,18,32.5,52,Al 97.4; Mg 1.02 (0.8..1.2),conforms,21.5,0.03\n";
const CAN: &str = "L0500-1,L0500,2500,,,S77,broken,2780,280,lid dented\n";

/// What the certificate says and how each container came goes in by a sheet, stands on the lot's page, and comes out
/// again as it went in.
#[tokio::test]
async fn certificate_and_containers_go_in_and_come_out() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let (lots, containers) = (format!("{WHOLE}{LOT}"), format!("{CANS}{CAN}"));
    let sheets = [
        ("lots", lots.as_bytes()),
        ("containers", containers.as_bytes()),
    ];
    let preview = send(&mut app, "lots", &sheets).await;
    let done = import(&mut app, "lots", &preview).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", preview.body);
    let page = app.get("/powder/L0500").await;
    for said in [
        "Retest by",
        "keep at 10 to 45 % humidity",
        "C-2311, 2026-08-20",
        "the certificate is of the maker’s lot AL-2312; the label says AL-2311",
        "1.02 %; allows 0.8 to 1.2 %",
        "seal S77, broken",
        "damaged: lid dented",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let mut sheets = Vec::new();
    for file in ["lots", "containers"] {
        let out = app.get(&format!("/site/sheets/lots/{file}.csv")).await;
        sheets.push((file, out));
    }
    let written = &sheets[0].1.body;
    assert!(
        written.contains("18,32.5,52,Al 97.4; Mg 1.02 (0.8..1.2),conforms,21.5,0.03"),
        "{written}"
    );
    assert!(sheets[1].1.body.contains("S77,broken,2780,280,lid dented"));
    let sent: Vec<(&str, &[u8])> = sheets
        .iter()
        .map(|(f, a)| (*f, a.bytes.as_slice()))
        .collect();
    let again = send(&mut app, "lots", &sent).await;
    assert!(again.contains("Change nothing"), "{}", again.body);

    // A certificate that is on record is put right on its page.
    let other = lots.replace("PS-AL-03", "PS-AL-04");
    let containers = containers.replace("2500,,,", "2500,0,,");
    let sheets = [
        ("lots", other.as_bytes()),
        ("containers", containers.as_bytes()),
    ];
    let told = fault(&mut app, "lots", &sheets).await;
    assert_eq!(
        told,
        "2 | specification | 'PS-AL-04' is given and 'PS-AL-03' stands; a certificate is entered and put right on the page of lot L0500, not by a sheet; give what stands"
    );
}

/// Every faulty cell is told by its column.
#[tokio::test]
async fn each_wrong_cell_of_a_certificate_is_told() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    for (good, bad, column, says) in [
        ("2026-08-14", "2031-08-14", "made_on", "has not come yet"),
        ("2026-08-20", "last week", "certificate_date", "is no day"),
        (
            ",retest,",
            ",best-before,",
            "date_kind",
            "none of: use-by, retest",
        ),
        (
            ",10,45,",
            ",50,45,",
            "humidity_max",
            "less than humidity_min",
        ),
        (",10,45,", ",10,145,", "humidity_max", "out of range"),
        (",32.5,", ",60,", "d90_um", "rise"),
        ("Al 97.4;", "Xx 97.4;", "chemistry", "is no element"),
        ("(0.8..1.2)", "(0.8-1.2)", "chemistry", "cannot be read"),
        (",0.03\n", ",101\n", "moisture_percent", "out of range"),
        (
            ",broken,",
            ",torn,",
            "seal_state",
            "none of: whole, broken, none",
        ),
        (",280,", ",light,", "tare_g", "is not a number"),
    ] {
        let lots = format!("{WHOLE}{LOT}").replace(good, bad);
        let containers = format!("{CANS}{CAN}").replace(good, bad);
        let sheets = [
            ("lots", lots.as_bytes()),
            ("containers", containers.as_bytes()),
        ];
        let answer = send(&mut app, "lots", &sheets).await;
        let told = faults(&answer);
        let found = told
            .iter()
            .any(|[line, at, what]| line == "2" && at == column && what.contains(says));
        assert!(found, "{column}: {told:?}");
    }
}
