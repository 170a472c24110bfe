//! What goes on the boat: proposed, frozen, printed, answered by the depot, and received against the list.

use lopdf::Document;
use mendpost_core::resupply::list::answer::{Answer, AnswerLine};
use mendpost_tests::browser::Browser;
use mendpost_tests::chromium::Scripts;
use thirtyfour::By;
use thirtyfour::common::print::{PrintPage, PrintParameters};

use crate::walk;

const RESUPPLY: &str = "/resupply?trip=BOAT-7";
const LIST: &str = "/resupply/lists/1";
const DELIVERY: &str = "/receiving/deliveries/BOAT-7";

/// What must go on the boat, by what was said of it.
const MUST_GO: [&str; 2] = ["GLOVE-12", "MASK-20"];

/// The storekeeper proposes a load and freezes it. The depot sends only what must go, and says so by voice: then
/// the boat brings no gas and no powder, the order is planned anew without them, and two things are received, each
/// against its line. No page needs a script for it.
#[tokio::test]
async fn a_load_is_proposed_frozen_answered_and_received() {
    walk("resupply", Scripts::Off, async |browser: Browser| {
        browser.sign_in_as("Storekeeper").await;
        browser.plan().await;
        let placed = placed(&browser).await;
        propose(&browser).await;
        freeze(&browser).await;
        let sheets = sheets(&browser).await;
        assert!((1..=2).contains(&sheets), "{sheets}");
        let lines = lines(&browser).await;
        answer(&browser, &lines).await;
        expect_only_what_is_sent(&browser, &lines).await;
        browser.plan().await;
        let then = self::placed(&browser).await;
        assert!(then.len() < placed.len(), "{then:?} after {placed:?}");
        receive(&browser, &lines).await;
    })
    .await;
}

/// Where each request that has a place in the line-up leads to.
async fn placed(browser: &Browser) -> Vec<String> {
    browser.open("/line-up").await;
    browser.links("table.line-up a.whole-row").await
}

/// A load is worked out in the background; the page is looked at again until it is there.
async fn propose(browser: &Browser) {
    browser.press("Resupply").await;
    browser.press("Work it out").await;
    let said = browser.text("[role=status]").await;
    assert!(said.contains("whole loads planned with"), "{said}");
    browser.look_again(RESUPPLY).await;
    let answer = browser.answer().await;
    assert!(
        answer.starts_with("Send ") && answer.contains(" on BOAT-7 by "),
        "{answer}"
    );
    let load = browser.text("table.load").await;
    for item in MUST_GO {
        assert!(load.contains(item), "{item}: {load}");
    }
    let sheets = sheets(browser).await;
    assert!((1..=2).contains(&sheets), "{sheets}");
}

/// What was proposed stands in the fields of the list, and is frozen by number.
async fn freeze(browser: &Browser) {
    browser.press("Make it a load list").await;
    let first = browser.driver.find(By::Id("item-1")).await;
    let first = first.expect("a first row").value().await;
    let first = first.expect("a field has a value").unwrap_or_default();
    assert!(MUST_GO.contains(&first.as_str()), "{first}");
    browser.press("Freeze it").await;
    assert_eq!(browser.path().await, LIST);
    let notice = browser.text(".notice").await;
    assert!(
        notice.contains("FROZEN") && notice.contains("load list 1"),
        "{notice}"
    );
}

/// How many sheets what is shown takes at the most, on either side of the sea.
pub(crate) async fn sheets(browser: &Browser) -> usize {
    let mut most = 0;
    for page in [A4, LETTER] {
        let parameters = PrintParameters {
            page,
            ..PrintParameters::default()
        };
        let printed = browser.driver.print_page(parameters).await;
        let printed = Document::load_mem(&printed.expect("a page can be printed"));
        most = most.max(printed.expect("it is a PDF").get_pages().len());
    }
    most
}

/// In centimetres.
const A4: PrintPage = PrintPage {
    width: 21.0,
    height: 29.7,
};
const LETTER: PrintPage = PrintPage {
    width: 21.59,
    height: 27.94,
};

/// A line of the list: number, stock number, units.
type Line = (i64, String, i64);

async fn lines(browser: &Browser) -> Vec<Line> {
    let column = async |css: &str| {
        browser
            .texts(&format!("table.load-list tbody td{css}"))
            .await
    };
    let numbers = column(":nth-child(1) b").await;
    let items = column(":nth-child(2) > b").await;
    let units = column(":nth-child(3)").await;
    assert!(numbers.len() > MUST_GO.len(), "{items:?}");
    let figure = |text: &str| {
        let first = text.lines().next().and_then(|it| it.parse().ok());
        first.unwrap_or_else(|| panic!("no figure in '{text}'"))
    };
    let rows = numbers.iter().zip(items).zip(units);
    rows.map(|((number, item), units)| (figure(number), item, figure(&units)))
        .collect()
}

/// Read by voice and typed line by line; it is shown in the form of an answer before it is entered.
async fn answer(browser: &Browser, lines: &[Line]) {
    let of_line = |(line, item, units): &Line| {
        let goes = MUST_GO.contains(&item.as_str());
        let units = *units;
        AnswerLine {
            line: *line,
            sent: if goes { units } else { 0 },
            cut: if goes { 0 } else { units },
            ..AnswerLine::default()
        }
    };
    let answer = Answer {
        list: 1,
        trip: "BOAT-7".parse().expect("a code"),
        by: String::new(),
        arrival: None,
        lines: lines.iter().map(of_line).collect(),
    };
    browser.press("Enter the depot’s answer").await;
    browser
        .fill("What was read", &answer.radio().join("\n"))
        .await;
    browser.press("Read it in").await;
    browser.tick("this list takes their place").await;
    browser.press("Enter the answer").await;
    let answer = browser.answer().await;
    assert_eq!(answer, "Receive BOAT-7 against what the depot sends.");
}

async fn expect_only_what_is_sent(browser: &Browser, lines: &[Line]) {
    browser.press("What it brings").await;
    assert_eq!(browser.path().await, DELIVERY);
    let expected = browser.text("main").await;
    for (line, item, _) in lines {
        let said = expected.contains(&format!("load list 1, line {line}"));
        assert_eq!(said, MUST_GO.contains(&item.as_str()), "{item}: {expected}");
    }
    assert!(!expected.contains("Nitrogen"), "{expected}");
}

async fn receive(browser: &Browser, lines: &[Line]) {
    browser.open("/receiving/new?delivery=BOAT-7").await;
    for (at, _) in MUST_GO.iter().enumerate() {
        let came = format!("//select[@id='d{at}_came']/option[contains(., 'it came')]");
        let came = browser.driver.find(By::XPath(came)).await;
        came.expect("a thing of the list")
            .click()
            .await
            .expect("it can be chosen");
    }
    browser.press("Receive").await;
    let receipt = browser.text("main").await;
    for (line, item, _) in lines
        .iter()
        .filter(|(_, item, _)| MUST_GO.contains(&item.as_str()))
    {
        let said = format!("load list 1, line {line}");
        assert!(receipt.contains(&said), "{item}: {said}: {receipt}");
    }
}
