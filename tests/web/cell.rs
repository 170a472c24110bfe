//! The cell: how long it can spray, and entering readings.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, between};

async fn readings(app: &App) -> i64 {
    sqlx::query_scalar("select count(*) from reading")
        .fetch_one(&app.state.db.read)
        .await
        .expect("the readings are counted")
}

async fn latest(app: &App, what: &str) -> (i64, String) {
    sqlx::query_as(
        "select value, read_by from reading where what = ? order by read_at desc, id desc limit 1",
    )
    .bind(what)
    .fetch_one(&app.state.db.read)
    .await
    .expect("a reading")
}

async fn latest_of(app: &App, bank: &str) -> (i64, String) {
    sqlx::query_as(
        "select r.value, r.read_by from reading r join bank b on b.id = r.bank_id
         where b.code = ? and r.what = 'bank-pressure' order by r.read_at desc limit 1",
    )
    .bind(bank)
    .fetch_one(&app.state.db.read)
    .await
    .expect("a reading of the bank")
}

#[tokio::test]
async fn the_answer_says_how_long_and_who_read_the_gauges() {
    let mut app = App::signed_in(Role::Viewer).await;
    let page = app.get("/cell").await;
    assert_eq!(page.status, StatusCode::OK);
    let answer = between(&page.body, "<h1>", "</h1>").expect("an answer");
    assert!(
        answer.starts_with("Spray for ") && answer.contains("then fill bottles"),
        "{answer}"
    );
    assert!(page.contains("Fuel for "));
    assert!(page.contains(", Sprayer</text>"), "who read the bank");
    assert!(!page.contains("/cell/reading"), "a viewer enters nothing");
}

/// 14.987 bar on a gauge at the sea's height, where the air has 1.013, are 16 bar: below every floor.
#[tokio::test]
async fn a_round_of_readings_is_kept_and_counts_at_once() {
    let mut app = App::signed_in(Role::Crew).await;
    let before = readings(&app).await;
    let answer = app
        .post(
            "/cell/reading",
            &[
                ("bank", "N1"),
                ("pressure", "14.987"),
                ("scale", "bar-gauge"),
                ("temperature", "31"),
                ("bank", "N2"),
                ("pressure", "9"),
                ("temperature", "31"),
                ("fuel", "400"),
                ("bore", "2.08"),
                ("heater", "21.5"),
                ("collector", "12.5"),
                ("collector_unit", "mbar"),
                ("service", "180.5"),
                ("furnace", "furnace"),
                ("furnace_temperature", "212"),
                ("furnace", "vacuum"),
                ("furnace_temperature", ""),
            ],
        )
        .await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    assert_eq!(answer.location(), "/cell");
    assert_eq!(readings(&app).await, before + 10);
    let (mbar, by) = latest_of(&app, "N1").await;
    assert!((15_999..=16_001).contains(&mbar), "{mbar}");
    assert_eq!(by, "Sprayer");
    for (what, value) in [
        ("bank-temperature", 31_000),
        ("fuel", 400_000),
        ("nozzle-bore", 2_080),
        ("heater-power", 21_500),
        ("collector-drop", 1_250),
        ("compressor-service", 10_830),
        ("furnace-temperature", 212_000),
    ] {
        assert_eq!(latest(&app, what).await.0, value, "{what}");
    }
    let kinds: i64 =
        sqlx::query_scalar("select count(*) from journal where kind = 'reading.entered'")
            .fetch_one(&app.state.db.read)
            .await
            .expect("the journal is read");
    assert_eq!(kinds, 10);
    let page = app.get("/cell").await;
    assert!(page.contains("SAVED"));
    assert!(page.contains("Fill bank N1 before you spray"));
    for shown in [
        "2.08 mm",
        "gas +8.1 % over new",
        "1\u{202f}250 Pa",
        "180 h",
        "212 °C, read ",
    ] {
        assert!(page.contains(shown), "{shown}");
    }
    assert!(!page.contains("Read again"), "all was read just now");
}

#[tokio::test]
async fn bad_readings_are_told_at_their_fields_and_nothing_is_kept() {
    let mut app = App::signed_in(Role::Crew).await;
    let before = readings(&app).await;
    let good = [
        ("bank", "N1"),
        ("pressure", "60"),
        ("scale", "bar-gauge"),
        ("temperature", "30"),
        ("fuel", "400"),
        ("bore", "2.05"),
        ("heater", "22"),
        ("collector", "800"),
        ("collector_unit", "pa"),
        ("service", "180"),
        ("furnace", "furnace"),
        ("furnace_temperature", "550"),
        ("read_at", ""),
    ];
    for (field, bad, told) in [
        ("bank", "N9", "is no bank here"),
        ("pressure", "a lot", "is not a number"),
        ("scale", "", "choose what the gauge shows"),
        ("temperature", "99", "out of range"),
        ("fuel", "-3", "out of range"),
        ("bore", "20.5", "out of range"),
        ("heater", "0.01", "out of range"),
        ("collector", "800.5", "finer than can be kept"),
        ("collector_unit", "", "choose the unit"),
        ("service", "-1", "out of range"),
        ("furnace", "kiln", "is no furnace here"),
        ("furnace_temperature", "red", "is not a number"),
        ("read_at", "2036-01-01T00:00", "later than now"),
        ("read_at", "2016-01-01T00:00", "is on record"),
    ] {
        let fields = good.map(|(name, typed)| (name, if name == field { bad } else { typed }));
        let answer = app.post("/cell/reading", &fields).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        assert!(answer.contains(told), "{field} = '{bad}'");
        assert!(
            answer.contains("value=\"2.05\"") || field == "bore",
            "typed figures stay"
        );
        if !["bank", "scale", "collector_unit", "furnace"].contains(&field) {
            assert!(
                answer.contains(&format!("value=\"{bad}\"")),
                "{field} = '{bad}' stays"
            );
        }
    }
    let nothing = app.post("/cell/reading", &[("scale", "bar-gauge")]).await;
    assert_eq!(nothing.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(nothing.contains("nothing was entered"));
    assert_eq!(readings(&app).await, before);
}

/// A third bank of the same bottles as the first, which nobody has read.
async fn with_third_bank(app: &App) {
    sqlx::query(
        "insert into bank (id, code, gas, bottles, bottle_ml, drop_mbar, steady_g_per_day)
         select x'0190aaaaaaaa7aaaaaaaaaaaaaaaaaaa', 'N3', gas, bottles, bottle_ml, drop_mbar, 0 from bank where code = 'N1'",
    )
    .execute(&app.state.db.write)
    .await
    .expect("a third bank");
}

/// 2000 psi on the gauge are 137.895 bar over the air's 1.013 at 4 m: 138.908. Two banks are read in
/// one round, each by its own row; the lower is used up first and both show their layers.
#[tokio::test]
async fn two_banks_are_read_in_one_round_and_in_psi() {
    let mut app = App::signed_in(Role::Crew).await;
    with_third_bank(&app).await;
    let unread = app.get("/cell").await;
    assert!(unread.contains("Nitrogen bank N3"));
    assert!(unread.contains("not read yet: read its gauge"));
    let alone = [("bank", "N3"), ("pressure", "2000"), ("scale", "psi-gauge")];
    let alone = app.post("/cell/reading", &alone).await;
    assert!(alone.contains("bank N3 has never been read"));
    let answer = app
        .post(
            "/cell/reading",
            &[
                ("bank", "N1"),
                ("pressure", "1000"),
                ("temperature", "29"),
                ("bank", "N3"),
                ("pressure", "2000"),
                ("temperature", "29"),
                ("scale", "psi-gauge"),
            ],
        )
        .await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    assert_eq!(latest_of(&app, "N3").await.0, 138_908);
    let page = app.get("/cell").await;
    assert!(page.contains("<th class=\"figure\">bank N2</th><th class=\"figure\">bank N3</th>"));
    let layers = between(&page.body, "The layers as a table", "</table>").expect("the table");
    for bank in ["<td>N1</td>", "<td>N3</td>"] {
        assert!(layers.contains(bank), "{bank}");
    }
    assert!(
        layers.contains("recipes up to 64 bar"),
        "N3 serves the highest"
    );
    assert!(layers.contains("would serve 64 bar"), "N1 does not");
}

/// The demonstration's banks were read 21 h before and are good for 12; after a round they are not marked, and 13 h
/// later it is again, while the nozzle, gauged with it, is good for 14 days.
#[tokio::test]
async fn readings_that_are_too_old_are_marked() {
    let mut app = App::signed_in(Role::Crew).await;
    let reason = |page: &mendpost_tests::Answer| {
        let head = between(&page.body, "<h1>", "<ul").expect("the answer");
        head.to_owned()
    };
    let page = app.get("/cell").await;
    assert!(reason(&page).contains("Read again: N1, N2, fuel, collector, compressor."));
    assert!(page.contains("read again: over 12 h"));
    let round = [
        ("bank", "N1"),
        ("pressure", "69"),
        ("scale", "bar-gauge"),
        ("temperature", "29"),
        ("bank", "N2"),
        ("pressure", "57"),
        ("temperature", "29"),
        ("fuel", "610"),
        ("bore", "2.04"),
        ("collector", "900"),
        ("collector_unit", "pa"),
        ("service", "200"),
    ];
    let entered = app.post("/cell/reading", &round).await;
    assert_eq!(entered.status, StatusCode::SEE_OTHER, "{}", entered.body);
    let fresh = app.get("/cell").await;
    assert!(!fresh.body.to_lowercase().contains("read again:"));
    app.wait_minutes(13 * 60);
    app.sign_in(Role::Crew).await;
    let later = app.get("/cell").await;
    assert!(reason(&later).contains("Read again: N1, N2, fuel."));
}

#[tokio::test]
async fn a_viewer_may_not_enter_readings() {
    let mut app = App::signed_in(Role::Viewer).await;
    let before = readings(&app).await;
    let answer = app.post("/cell/reading", &[("fuel", "400")]).await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN);
    assert_eq!(readings(&app).await, before);
}

/// A recipe's own setting, a figure typed over it, and faults beside their fields.
#[tokio::test]
async fn minutes_at_a_chosen_setting() {
    let mut app = App::signed_in(Role::Viewer).await;
    let recipe = app.get("/cell?recipe=SS-041").await;
    assert_eq!(recipe.status, StatusCode::OK);
    assert!(recipe.contains("Nitrogen at 45 bar and 750 °C"));
    let lower = app.get("/cell?recipe=SS-041&bar=20").await;
    assert!(lower.contains("Nitrogen at 20 bar and 750 °C"));
    let beyond = app.get("/cell?gas=nitrogen&bar=90&celsius=700").await;
    assert!(beyond.contains("recipe at 90 bar, cell to 70 bar"));
    let bad = app.get("/cell?gas=steam&bar=thick&celsius=9000").await;
    assert_eq!(bad.status, StatusCode::UNPROCESSABLE_ENTITY);
    for told in [
        "is not one of the choices",
        "is not a number",
        "out of range",
    ] {
        assert!(bad.contains(told), "{told}");
    }
    assert!(bad.contains("value=\"thick\"") && bad.contains("value=\"9000\""));
    let unknown = app.get("/cell?recipe=XX-1").await;
    let faults = app
        .get("/cell?gas=air&bar=30&celsius=480&powder=XX&throat=0.2")
        .await;
    assert_eq!(faults.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(faults.contains("is no powder here") && faults.contains("enter 0.5 to 10"));
    assert!(faults.contains("value=\"0.2\""), "what was typed stays");
    assert_eq!(unknown.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(unknown.contains("is no recipe here"));
}

/// What a setting does is shown as approved beside today, with its uncertainty in words.
#[tokio::test]
async fn a_setting_is_tried_before_powder_is_fed() {
    let mut app = App::signed_in(Role::Viewer).await;
    let page = app.get("/cell?recipe=SS-041").await;
    for shown in [
        "316L stainless, throat 2.04 mm as gauged",
        "throat 2.04 mm, as machined 2.00 mm",
        "kg an hour, carrier gas included",
        "kW of 24 kW",
        "of the set’s 60 kW",
        "<b>today:</b> Marginal: spray a coupon first; its 15 % reach down to ‘unlikely to build’.",
        "It says nothing of efficiency, strength or bond.",
        "schmidt-2006",
    ] {
        assert!(page.contains(shown), "{shown}");
    }
    let wide = app.get("/cell?recipe=SS-041&throat=2.2").await;
    assert!(wide.contains("throat 2.20 mm as asked"));
    let beyond = app
        .get("/cell?gas=nitrogen&bar=64&celsius=800&powder=SS316")
        .await;
    assert!(beyond.contains("bank N1 brings 63.5 bar to the nozzle, 64 bar asked"));
    let figures = app.get("/cell?gas=nitrogen&bar=30&celsius=500").await;
    assert!(figures.contains("Choose a powder to see what its particles do."));
}

/// Nothing is worked out from what nobody told.
#[tokio::test]
async fn missing_figures_are_named() {
    let mut app = App::signed_in(Role::Viewer).await;
    for change in [
        "update powder set density_kg_m3 = null, strength_mpa = null, melting_c = null,
           cp_j_kg_k = null, size_um = null where code = 'SS316'",
        "update cell set collector_limit_pa = null, worn_um = null, heater_w = null",
    ] {
        sqlx::query(change)
            .execute(&app.state.db.write)
            .await
            .expect("the figures are taken away");
    }
    let page = app.get("/cell?recipe=SS-041").await;
    for shown in [
        "of SS316 are not on record; enter them among the site&#39;s powders.",
        "no limit on record",
        "no bore on record at which to change it",
        "nobody told how much it can",
    ] {
        assert!(page.contains(shown), "{shown}");
    }
    assert!(!page.contains("as approved:"), "no verdict");
    sqlx::query("update cell set nozzle_exit_um = null, nozzle_divergent_um = null")
        .execute(&app.state.db.write)
        .await
        .expect("the nozzle is taken away");
    let page = app.get("/cell?recipe=BR-037").await;
    assert!(page.contains("diverging part are not on record"));
}
