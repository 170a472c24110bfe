//! Powder from the boat to a released part, step by step as the crew does it, and traced both ways.

use std::time::Duration;

use chrono::NaiveDateTime;
use mendpost_tests::browser::Browser;
use mendpost_tests::chromium::Scripts;
use thirtyfour::By;
use tokio::time::{Instant, sleep};

use crate::walk;

/// R10, the alternator fan hub of generating set 2, is built by AL-011 of Al 6061, which the boat brings.
const REQUEST: &str = "/requests/10";
const LOT: &str = "/powder/L0416";

/// Three people have a hand in it: who received the powder does not release it, and who sprayed the part does not let
/// it go. In the end the part names its lot, and the lot names its part.
#[tokio::test]
async fn powder_from_the_boat_becomes_a_part_that_is_traced_both_ways() {
    walk("journey", Scripts::On, async |browser: Browser| {
        change_hands(&browser, "Storekeeper").await;
        receive_the_boat(&browser).await;
        change_hands(&browser, "Machinist").await;
        release_the_lot(&browser).await;
        change_hands(&browser, "Sprayer").await;
        empty_the_feeder(&browser).await;
        prepare_the_part(&browser).await;
        draw_powder(&browser).await;
        spray(&browser).await;
        weigh_and_finish(&browser).await;
        heat_treat(&browser).await;
        change_hands(&browser, "Machinist").await;
        cut_and_look_for_cracks(&browser).await;
        measure(&browser).await;
        test_coupons(&browser).await;
        release_the_part(&browser).await;
        read_the_tag(&browser).await;
        change_hands(&browser, "Visitor").await;
        trace_both_ways(&browser).await;
    })
    .await;
}

/// Whoever was at the tablet signs out, and another person signs in.
pub(crate) async fn change_hands(browser: &Browser, person: &str) {
    browser.open("/").await;
    if browser.offers("Sign out").await {
        browser.press("Sign out").await;
    }
    browser.sign_in_as(person).await;
}

/// 12 kg of aluminium in one drum come as expected, with six bottles of gas, fuel and nozzles; the nickel is short.
pub(crate) async fn receive_the_boat(browser: &Browser) {
    browser.open("/receiving/new?delivery=BOAT-7").await;
    let second = "(//button[starts-with(., 'Take this lot out')])[last()]";
    let out = browser.driver.find(By::XPath(second)).await;
    let out = out.expect("two lots are expected");
    out.scroll_into_view().await.expect("it can be seen");
    out.click().await.expect("it can be pressed");
    browser.choose("Powder", "Al 6061").await;
    browser.choose("The date is", "use by").await;
    for (label, typed) in [
        ("Our lot number", "L0416"),
        ("Maker’s lot or heat number", "AL-2301"),
        ("Gross", "12420"),
        ("Tare", "420"),
        ("Net", "12000"),
        ("Maker", "Light metal powder works"),
        ("Certificate number", "C-2301"),
        ("Specification", "PS-AL-03"),
        ("Revision", "C"),
        ("D10", "18"),
        ("D50", "32"),
        ("D90", "52"),
        ("Element", "Al"),
        ("Found", "97.4"),
    ] {
        browser.fill(label, typed).await;
    }
    browser.set("Use-by or retest date", "2099-09-01").await;
    browser.set("Its date", "2026-11-01").await;
    // Bottles and fuel are counted in fields of the same name, one after the other.
    for (id, typed) in [("d2_came", "6"), ("d3_came", "100")] {
        let field = browser.driver.find(By::Id(id)).await;
        let field = field.expect("a line of the delivery");
        field.send_keys(typed).await.expect("a field takes text");
    }
    browser.choose("Did it come?", "it came").await;
    browser.press("Receive").await;
    let answer = browser.answer().await;
    assert!(
        answer.starts_with("Check the certificate of L0416"),
        "{answer}"
    );
}

pub(crate) async fn release_the_lot(browser: &Browser) {
    browser.open(&format!("{LOT}/release")).await;
    let checked = "C-2301; drum, seal and label are of one lot";
    browser.fill("What you checked", checked).await;
    browser.press("Sign the planner may draw").await;
    let state = browser.text("main").await;
    assert!(state.contains("released"), "{state}");
}

/// The feeder holds zinc of days ago.
pub(crate) async fn empty_the_feeder(browser: &Browser) {
    browser.open("/feeder/empty").await;
    browser.fill("Goes to waste", "80").await;
    browser.choose("The feeder is", "clean: any powder").await;
    browser.press("It is empty").await;
}

/// Blasted, then masked with its coupons beside it.
pub(crate) async fn prepare_the_part(browser: &Browser) {
    for _ in 0..2 {
        browser.open(&format!("{REQUEST}/work")).await;
        browser.press("It is done").await;
    }
}

/// 4 500 g leave the drum of the boat. The order names an older lot, and another takes a reason.
pub(crate) async fn draw_powder(browser: &Browser) {
    browser.open("/feeder/draw?for=R10&container=L0416-1").await;
    browser.fill("It weighs before", "12420").await;
    browser.fill("It weighs after", "7920").await;
    browser.fill("The scale’s division", "10").await;
    browser.tick("closed again").await;
    let why = "the older lots are in two small cans";
    browser.fill("Why all the same", why).await;
    browser.press("Book it").await;
    let held = browser.text("main").await;
    assert!(held.contains("L0416"), "{held}");
}

/// Powder flows, the nozzle clogs, readings are taken, and it goes on.
pub(crate) async fn spray(browser: &Browser) {
    browser.open(&format!("{REQUEST}/work")).await;
    browser.press("Begin the build").await;
    assert_eq!(browser.path().await, "/builds/1");
    browser.fill("From pass", "1").await;
    browser.press("Powder flows").await;

    browser.choose("It stops", "nozzle clogged").await;
    browser.fill("After pass", "9").await;
    let note = "spits; parked at the end of pass 9, nozzle changed";
    browser.fill("What the next hand must know", note).await;
    browser.press("Stop").await;
    let answer = browser.answer().await;
    assert!(answer.contains("nozzle clogged"), "{answer}");

    browser.fill("Gas before the nozzle", "30").await;
    browser.fill("Gas temperature", "480").await;
    browser.fill("Oxygen in the booth", "20.8").await;
    browser.press("Enter").await;
    browser.fill("From pass", "10").await;
    browser.press("Powder flows").await;
    let record = browser.text("main").await;
    for said in ["spits; parked", "480 °C", "20.8 %"] {
        assert!(record.contains(said), "{said}: {record}");
    }
}

/// Of 4 500 g drawn 2 400 are on the part, 60 on its coupons, 900 left and 1 130 swept up: 10 g are unexplained.
async fn weigh_and_finish(browser: &Browser) {
    browser.open("/builds/1/finish").await;
    browser.tick("goes on").await;
    for (label, grams) in [
        ("The part weighs more", "2400"),
        ("Its coupons weigh more", "60"),
        ("Left in the feeder", "900"),
        ("Swept up", "1130"),
        ("The scale’s division", "10"),
    ] {
        browser.fill(label, grams).await;
    }
    browser.press("It has ended").await;
    let balance = browser.text("main").await;
    assert!(balance.contains("Within what scales allow"), "{balance}");
}

/// It goes into the furnace alone. A soak lasts a minute at the least, so that one must pass.
async fn heat_treat(browser: &Browser) {
    browser.open("/furnace/open").await;
    browser.tick("Generating set 2 alternator fan hub").await;
    browser.choose("Furnace", "Furnace").await;
    browser.fill("Set to", "300").await;
    browser.press("Open the load").await;
    assert_eq!(browser.path().await, "/furnace/1");
    let from = now(browser).await;
    let to = later_than(browser, &from).await;
    browser.open("/furnace/1/close").await;
    browser.fill("Temperature at the soak", "298").await;
    browser.set("Soak from", &from).await;
    browser.set("Soak to", &to).await;
    browser.fill("Chart", "C-118").await;
    browser.press("Close the load").await;
    let load = browser.text("main").await;
    assert!(load.contains("closed") && load.contains("298 °C"), "{load}");
}

/// The minute at the site, which every page shows, as a field takes it.
async fn now(browser: &Browser) -> String {
    browser.open("/furnace").await;
    let shown = browser.text(".head-clock b").await;
    let minute = NaiveDateTime::parse_from_str(&shown, "%a %d %b %Y, %H:%M");
    let minute = minute.unwrap_or_else(|error| panic!("'{shown}' is no time: {error}"));
    minute.format("%Y-%m-%dT%H:%M").to_string()
}

async fn later_than(browser: &Browser, minute: &str) -> String {
    let end = Instant::now() + Duration::from_secs(90);
    loop {
        let reached = now(browser).await;
        if reached.as_str() > minute {
            return reached;
        }
        assert!(Instant::now() < end, "the site's clock stands at {minute}");
        sleep(Duration::from_secs(2)).await;
    }
}

async fn cut_and_look_for_cracks(browser: &Browser) {
    browser.open(&format!("{REQUEST}/work")).await;
    browser.press("It is done").await;
    browser.open(&format!("{REQUEST}/work")).await;
    browser
        .choose("Looked for cracks by", "dye penetrant")
        .await;
    browser.tick("none found").await;
    browser.fill("Tool, or lot of the penetrant", "P-118").await;
    browser.press("It is done").await;
}

/// The bore may have 55 to 55.03 mm, the rim may run out by 0.1.
async fn measure(browser: &Browser) {
    browser.open(&format!("{REQUEST}/work")).await;
    for (what, found, tool) in [
        ("bore", "55.01", "M-03"),
        ("run-out of the rim", "0.05", "M-02"),
    ] {
        browser.fill(&format!("{what}, found"), found).await;
        browser.choose(&format!("{what}, tool"), tool).await;
    }
    browser.press("It is done").await;
}

/// At least 30 MPa and 45 to 70 HV0.3 are expected after the furnace. Both coupons belong to the only build there is.
async fn test_coupons(browser: &Browser) {
    for (property, figure, tool, load) in [
        ("bond strength", "38", "P-01", ""),
        ("hardness", "55", "H-01", "0.3"),
    ] {
        browser.open(&format!("{REQUEST}/coupons")).await;
        browser.choose("Coupon", "a new one").await;
        let label = format!("{property}, beside the rim");
        browser.fill("What is marked on a new one", &label).await;
        browser.choose("What was found", property).await;
        browser.tick("heat treated").await;
        browser.fill("Figure", figure).await;
        browser.fill("Load of a hardness", load).await;
        browser.choose("Tested with", tool).await;
        browser.press("Enter it").await;
    }
    let answer = browser.answer().await;
    assert_eq!(answer, "Every expectation of R10 is tested.");
}

async fn release_the_part(browser: &Browser) {
    browser.open(&format!("{REQUEST}/work")).await;
    browser.tick("stays").await;
    browser.press("Sign lets the part go").await;
    assert_eq!(browser.path().await, REQUEST);
}

async fn read_the_tag(browser: &Browser) {
    browser.open(&format!("{REQUEST}/tag")).await;
    let tag = browser.text("article.tag").await;
    for said in [
        "GS-FANHUB",
        "AL-011 rev 1",
        "L0416",
        "Power station engineer",
        "Overspeed test before load",
    ] {
        assert!(tag.contains(said), "{said}: {tag}");
    }
    let names = browser.texts("article.tag dd b").await;
    for who in ["Sprayer, ", "Machinist, "] {
        assert!(
            names.iter().any(|name| name.starts_with(who)),
            "{who}: {names:?}"
        );
    }
}

async fn trace_both_ways(browser: &Browser) {
    browser.open(&format!("{REQUEST}/trace")).await;
    let answer = browser.answer().await;
    assert!(answer.ends_with("is of lot L0416."), "{answer}");
    let part = browser.text("main").await;
    for said in [
        "L0416-1",
        "AL-2301",
        "3\u{202f}600 g",
        "bond strength heat treated 38 MPa",
        "stress relief",
    ] {
        assert!(part.contains(said), "{said}: {part}");
    }
    browser.open(&format!("{LOT}/trace")).await;
    let answer = browser.answer().await;
    assert_eq!(
        answer,
        "Lot L0416 is in one part, which has gone out: call it off first."
    );
    let lot = browser.text("main").await;
    for said in ["R10", "released, not fitted", "Power station foreman"] {
        assert!(lot.contains(said), "{said}: {lot}");
    }
}
