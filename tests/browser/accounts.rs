//! A new site from nothing: its lead gets in by the start code, lets a second person in, the two sign
//! what takes two, and somebody signs out everywhere.

use mendpost_tests::browser::Browser;
use mendpost_tests::chromium::Scripts;
use mendpost_tests::service::Service;

use crate::walk_at;

const LEADS: &str = "copper crane on monday";
const CHECKERS: &str = "nickel boat in autumn";

#[tokio::test]
async fn a_site_is_started_and_two_people_sign() {
    let (service, code) = Service::real("Ada Marsh");
    walk_at(
        service,
        "accounts",
        Scripts::On,
        async move |browser: Browser| {
            start(&browser, "Ada Marsh", &code, LEADS).await;
            assert_eq!(browser.path().await, "/account");

            let code = let_in(&browser, "Bo Reed", "checker").await;
            stopped_lot_is_signed_once(&browser).await;

            browser.press("Sign out").await;
            start(&browser, "Bo Reed", &code, CHECKERS).await;
            second_signature(&browser).await;
            sign_out_everywhere(&browser).await;
        },
    )
    .await;
}

/// By the code that `init` or the lead gave. A passphrase that is too short is told beside its field.
async fn start(browser: &Browser, name: &str, code: &str, passphrase: &str) {
    browser.open("/start").await;
    for typed in ["too short", passphrase] {
        browser.fill("Name", name).await;
        browser.fill("Start or recovery code", code).await;
        browser.fill("New passphrase", typed).await;
        browser.fill("The same again", typed).await;
        browser.press("Start").await;
        if typed != passphrase {
            let fault = browser.text(".entry-error").await;
            assert!(fault.contains("9 characters are too few"), "{fault}");
        }
    }
}

/// The lead adds a person and reads the start code off the page that shows it once.
async fn let_in(browser: &Browser, name: &str, role: &str) -> String {
    browser.open("/site").await;
    browser.press("Add a person").await;
    browser.fill("Name", name).await;
    browser.tick(role).await;
    browser.fill("Your passphrase", LEADS).await;
    browser.press("Add the person").await;
    let code = browser.text(".codes .lead").await;
    browser.press("It is written down").await;
    code
}

/// L0408 is on hold: the lead's signature is the first of two, and releases nothing.
async fn stopped_lot_is_signed_once(browser: &Browser) {
    browser.open("/powder/L0408").await;
    browser.press("Release from hold").await;
    browser
        .fill("Why it may be sprayed again", "sieved, two coupons sprayed")
        .await;
    browser.fill("Your passphrase", CHECKERS).await;
    browser.press("Sign the first").await;
    let fault = browser.text(".entry-error").await;
    assert!(fault.contains("do not belong together"), "{fault}");
    browser.fill("Your passphrase", LEADS).await;
    browser.press("Sign the first").await;
    let notice = browser.text(".notice").await;
    assert!(notice.contains("waits for a second signature"), "{notice}");
    browser.open("/powder/L0408").await;
    assert!(
        browser.answer().await.contains("on hold"),
        "one is not enough"
    );
}

/// The second person finds it on Now, and signs with the passphrase of their own.
async fn second_signature(browser: &Browser) {
    browser.open("/now").await;
    browser.press("Look at it").await;
    browser.fill("Your passphrase", CHECKERS).await;
    browser.press("Sign as the second").await;
    assert_eq!(browser.path().await, "/powder/L0408");
    assert!(
        browser.answer().await.starts_with("Draw"),
        "{}",
        browser.answer().await
    );
    let page = browser.text("main").await;
    assert!(
        page.contains("Ada Marsh, lead") && page.contains("Bo Reed, checker"),
        "{page}"
    );
}

async fn sign_out_everywhere(browser: &Browser) {
    browser.open("/account").await;
    browser.press("Sign out everywhere").await;
    assert_eq!(browser.path().await, "/sign-in");
    browser.open("/powder/L0408").await;
    assert_eq!(
        browser.path().await,
        "/sign-in",
        "nothing is shown any more"
    );
}
