//! Items: listed, said anew, retired, counted.

use axum::http::StatusCode;
use mendpost_core::resupply::{Content, Item, Sheet};
use mendpost_server::change::verify_journal;
use mendpost_server::resupply::item::queries;
use mendpost_tests::{Answer, App, number, text};

use super::{refuses_each, send, storekeeper};

const NEW: &str = "/resupply/items/new";

/// A can of two kilograms of bronze: its rules count 2 kg of one unit.
const CAN: [(&str, &str); 19] = [
    ("code", "BZ-2"),
    ("name", "bronze, small can"),
    ("unit", "can 2 kg"),
    ("content", "powder"),
    ("powder", "CUAL10"),
    ("powder_g", "2000"),
    ("net_kg", "2"),
    ("gross_kg", "2,25"),
    ("x_mm", "150"),
    ("y_mm", "150"),
    ("z_mm", "180"),
    ("stackable", "yes"),
    ("sheet_state", "entry"),
    ("sheet", "Bronze atomiser, 18 May 2026"),
    ("un", "3089"),
    ("proper_name", "METAL POWDER, FLAMMABLE, N.O.S."),
    ("class", "4.1"),
    ("rules_count", "2"),
    ("substitutes", "BZ-2.5 BZ-5"),
];

async fn items(app: &App) -> Vec<Item> {
    let mut reading = app.state.db.read.acquire().await.expect("a connection");
    let items = queries::items(&mut reading).await.expect("items");
    items.into_iter().map(|(_, item)| item).collect()
}

async fn item(app: &App, code: &str) -> Option<Item> {
    let all = items(app).await;
    all.into_iter().find(|item| item.code.as_str() == code)
}

async fn add(app: &mut App, otherwise: &[(&str, &str)]) -> Answer {
    send(app, NEW, &CAN, otherwise).await
}

/// The list says what each unit is, its mass in both units, its entry, and which sheet nobody read.
#[tokio::test]
async fn the_list_says_what_can_be_sent_and_which_sheet_is_not_read() {
    let mut app = storekeeper().await;
    let page = app.get("/resupply/items").await;
    for said in [
        "Read the safety sheet of ZN-5: until then it goes on no list.",
        "The maker’s safety sheet decides the entry, and a trained shipper. Mendpost warns, and declares nothing.",
        "<b>AL-5</b> Al 6061 powder",
        "5\u{202f}000 g of powder AL6061",
        "UN 1396, 4.3, II",
        // 75 kg / 0.453 592 37 kg = 165.35 lb.
        "75 kg (165.3 lb)",
        "full bottle for bank N1, 200 bar",
        "200 l of fuel",
        "used up: 0.02 an hour of spraying",
        "the true part RC-CROSSHEAD",
        "not counted",
        "not known",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
}

/// One page holds what the sheet says, what is counted, and the warning.
#[tokio::test]
async fn an_item_shows_its_entry_and_what_the_rules_count() {
    let mut app = storekeeper().await;
    let page = app.get("/resupply/items/N2-50").await;
    for said in [
        "N2-50 can be sent: nitrogen, bottle for bank N1.",
        "UN 1066, 2.2, NITROGEN, COMPRESSED",
        "50 l of water capacity of one unit",
        "230 x 230 x 1640 mm; nothing may stand on it",
        "Mendpost warns, and declares nothing.",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let unread = app.get("/resupply/items/ZN-5").await;
    assert!(unread.contains("Read its safety sheet: until then it is loaded on nothing."));
    let uncounted = app.get("/resupply/items/GRIT-25").await;
    assert!(uncounted.contains("Count it: until then none is taken to be here."));
}

/// 2 kg and 2.25 kg are 2 000 g and 2 250 g; 150 x 150 x 180 mm are 4 050 000 mm3, which is 4 050 ml.
#[tokio::test]
async fn an_item_is_listed_as_typed() {
    let mut app = storekeeper().await;
    let answer = add(&mut app, &[]).await;
    assert_eq!(answer.location(), "/resupply/items/BZ-2", "{}", answer.body);
    let item = item(&app, "BZ-2").await.expect("the item");
    assert_eq!((item.net_g, item.gross_g), (2_000, 2_250));
    assert_eq!(item.volume_ml(), 4_050);
    let Sheet::Entry(entry) = &item.sheet else {
        panic!("an entry: {:?}", item.sheet);
    };
    assert_eq!((entry.un, entry.counted, entry.group), (3_089, 2_000, None));
    let instead: Vec<&str> = item.substitutes.iter().map(|it| it.as_str()).collect();
    assert_eq!(instead, ["BZ-2.5", "BZ-5"]);
    assert_eq!(item.depot, None);
    let by =
        "select s.said_by from item_said s join item i on i.id = s.item_id where i.code = 'BZ-2'";
    assert_eq!(text(&app, by).await.as_deref(), Some("Storekeeper"));
    let entry = "select json_extract(content, '$.un') from journal where kind = 'item.listed' and subject_id = 'BZ-2'";
    assert_eq!(text(&app, entry).await.as_deref(), Some("3089"));
    assert!(
        verify_journal(&app.state.db.read)
            .await
            .expect("readable")
            .is_ok()
    );
}

/// Every field says what is wrong with it; nothing is listed.
#[tokio::test]
async fn a_fault_of_each_field_stands_beside_it() {
    let mut app = storekeeper().await;
    let wrong = [
        ("code", ""),
        ("code", "new"),
        ("code", "AL-5"),
        ("code", "B Z"),
        ("unit", ""),
        ("content", ""),
        ("content", "gold"),
        ("powder", "GOLD"),
        ("powder", ""),
        ("powder_g", "0"),
        ("powder_g", "2.5"),
        ("bank", "N1"),
        ("pressure_bar", "200"),
        ("fuel_l", "1"),
        ("part", "RC-RING"),
        ("per_build", "1"),
        ("net_kg", "0"),
        ("net_kg", "much"),
        ("gross_kg", "1.9"),
        ("gross_kg", "20000.001"),
        ("x_mm", "0"),
        ("y_mm", "20001"),
        ("z_mm", ""),
        ("stackable", ""),
        ("stackable", "perhaps"),
        ("sheet_state", ""),
        ("sheet", ""),
        ("un", ""),
        ("un", "10000"),
        ("proper_name", " "),
        ("class", "4.9"),
        ("subsidiary", "6.1 4"),
        ("packing_group", "IV"),
        ("rules_count", ""),
        ("depot", "-1"),
        ("substitutes", "GOLD"),
        ("substitutes", "BZ-5 BZ-5"),
    ];
    let before = items(&app).await.len();
    refuses_each(&mut app, NEW, &CAN, &wrong, "value=\"bronze, small can\"").await;
    let nameless = add(&mut app, &[("name", "")]).await;
    assert!(nameless.field_error("name").is_some(), "{}", nameless.body);
    assert_eq!(items(&app).await.len(), before);
}

/// A consumable that nothing uses is none; an item without an entry has no number.
#[tokio::test]
async fn what_does_not_belong_together_is_refused() {
    let mut app = storekeeper().await;
    let tape = [("content", "consumable"), ("powder", ""), ("powder_g", "")];
    let answer = add(&mut app, &tape).await;
    let fault = answer.field_error("per_build").expect("a fault");
    assert!(fault.contains("say how fast it is used"), "{fault}");
    let answer = add(&mut app, &[("sheet_state", "free")]).await;
    for field in ["un", "proper_name", "class", "rules_count"] {
        let fault = answer.field_error(field).expect(field);
        assert_eq!(fault, "leave it empty: only an entry has it", "{field}");
    }
    let answer = add(&mut app, &[("sheet_state", "not-read")]).await;
    assert!(answer.field_error("sheet").is_some(), "{}", answer.body);
}

/// Half a roll for each build and a fifth a day are 500 and 200 thousandths; the rest is nought.
#[tokio::test]
async fn use_is_kept_in_thousandths() {
    let mut app = storekeeper().await;
    let tape = [
        ("content", "consumable"),
        ("powder", ""),
        ("powder_g", ""),
        ("per_build", "0.5"),
        ("per_day", "0,2"),
    ];
    add(&mut app, &tape).await;
    let item = item(&app, "BZ-2").await.expect("the item");
    let Content::Consumable(used) = item.content else {
        panic!("a consumable: {:?}", item.content);
    };
    let rates = (
        used.per_build_milli,
        used.per_hour_milli,
        used.per_day_milli,
    );
    assert_eq!(rates, (500, 0, 200));
    assert_eq!(used.counted, None);
}

/// What is said anew holds, what was said before stays, and a form that was opened before it saves nothing.
#[tokio::test]
async fn the_newest_saying_holds_and_a_stale_form_saves_nothing() {
    let mut app = storekeeper().await;
    add(&mut app, &[]).await;
    let path = "/resupply/items/BZ-2/change";
    let page = app.get(path).await;
    assert!(
        page.contains("name=\"version\" value=\"1\""),
        "{}",
        page.body
    );
    assert!(page.contains("value=\"2.25\""), "{}", page.body);
    let saved = send(&mut app, path, &CAN, &[("version", "1"), ("depot", "7")]).await;
    assert_eq!(saved.location(), "/resupply/items/BZ-2", "{}", saved.body);
    assert_eq!(item(&app, "BZ-2").await.expect("it").depot, Some(7));

    let stale = send(&mut app, path, &CAN, &[("version", "1"), ("depot", "9")]).await;
    assert_eq!(stale.status, StatusCode::CONFLICT, "{}", stale.body);
    assert!(stale.contains("Save mine over it"), "{}", stale.body);
    assert!(
        stale.contains("name=\"version\" value=\"2\""),
        "{}",
        stale.body
    );
    assert_eq!(item(&app, "BZ-2").await.expect("it").depot, Some(7));
    let versions =
        "select count(*) from item_said s join item i on i.id = s.item_id where i.code = 'BZ-2'";
    assert_eq!(number(&app, versions).await, Some(2));
}

/// What a set or a trip names is not retired; retired it is proposed no more, nor instead of anything, and
/// said anew it is again.
#[tokio::test]
async fn an_item_is_retired_once_nothing_names_it() {
    let mut app = storekeeper().await;
    let why = [("reason", "the depot has no more of it")];
    for (code, named) in [("COUPON-20", "set 1"), ("PT-CROSSHEAD", "trip AIR-3")] {
        let path = format!("/resupply/items/{code}/retire");
        let answer = send(&mut app, &path, &why, &[]).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
        let said = format!("Take it off {named} first: it is named there.");
        assert!(answer.contains(&said), "{}", answer.body);
    }
    let path = "/resupply/items/AL-2.5/retire";
    let silent = send(&mut app, path, &why, &[("reason", "")]).await;
    assert!(silent.field_error("reason").is_some(), "{}", silent.body);
    let answer = send(&mut app, path, &why, &[]).await;
    assert_eq!(answer.location(), "/resupply/items", "{}", answer.body);
    assert_eq!(item(&app, "AL-2.5").await, None);
    assert!(item(&app, "AL-5").await.expect("it").substitutes.is_empty());
    let page = app.get("/resupply/items").await;
    assert!(page.contains("No longer sent for"), "{}", page.body);
    let again = app.get(path).await;
    assert_eq!(again.status, StatusCode::CONFLICT, "{}", again.body);

    let small = [
        ("code", ""),
        ("version", "2"),
        ("powder", "AL6061"),
        ("substitutes", ""),
    ];
    let saved = send(&mut app, "/resupply/items/AL-2.5/change", &CAN, &small).await;
    assert_eq!(saved.location(), "/resupply/items/AL-2.5", "{}", saved.body);
    assert!(item(&app, "AL-2.5").await.is_some());
}

/// The newest count holds; only consumables are counted here, in whole units, and not tomorrow.
#[tokio::test]
async fn a_consumable_is_counted() {
    let mut app = storekeeper().await;
    let path = "/resupply/items/TAPE-25/count";
    let usual = [
        ("units", "4"),
        ("counted_by", "Sprayer"),
        ("counted_at", "2026-11-25T14:00"),
    ];
    let wrong = [
        ("units", ""),
        ("units", "1.5"),
        ("units", "-1"),
        ("counted_at", "2026-11-26T00:00"),
        ("counted_at", "today"),
    ];
    refuses_each(&mut app, path, &usual, &wrong, "value=\"Sprayer\"").await;
    let nobody = send(&mut app, path, &usual, &[("counted_by", "")]).await;
    assert!(
        nobody.field_error("counted_by").is_some(),
        "{}",
        nobody.body
    );
    let answer = send(&mut app, path, &usual, &[]).await;
    assert_eq!(
        answer.location(),
        "/resupply/items/TAPE-25",
        "{}",
        answer.body
    );
    let Content::Consumable(used) = item(&app, "TAPE-25").await.expect("it").content else {
        panic!("a consumable");
    };
    let counted = used.counted.expect("a count");
    assert_eq!((counted.units, counted.by.as_str()), (4, "Sprayer"));
    assert_eq!(counted.at.to_rfc3339(), "2026-11-25T03:00:00+00:00");
    let powder = app.get("/resupply/items/AL-5/count").await;
    assert_eq!(powder.status, StatusCode::CONFLICT, "{}", powder.body);
}

/// What was said and counted is neither changed nor deleted.
#[tokio::test]
async fn what_was_said_stays() {
    let app = storekeeper().await;
    for statement in [
        "update item_said set depot = 1",
        "delete from item_said",
        "update item_substitute set position = 9",
        "delete from item_substitute",
        "update item_count set units = 1",
        "delete from item_count",
        "update item_set set why = 'x'",
        "delete from item_set_item",
        "update trip_said set payload_g = 1",
        "delete from trip_must_go",
        "update carriage_said set edition = 'x'",
        "delete from carriage_rule",
        "delete from carriage_apart",
        "update failure_said set days = 1",
        "delete from failure_said",
    ] {
        let refused = sqlx::query(statement).execute(&app.state.db.write).await;
        assert!(refused.is_err(), "{statement}");
    }
}
