//! Labels as a printer gets them, and the scan field at the top of the page.

use lopdf::{Document, Object};
use mendpost_tests::browser::Browser;
use mendpost_tests::chromium::Scripts;
use serde_json::json;

use crate::walk;

/// 37 labels are four sheets of ten, whatever paper the printer was last set to: the page says how large
/// a sheet is. Single labels are 90 by 50 mm, one on a page. A point is 1/72 inch.
#[tokio::test]
async fn labels_print_on_the_paper_that_was_chosen() {
    walk("labels-print", Scripts::On, async |browser: Browser| {
        browser.sign_in_as("Cell lead").await;
        for (path, pages, width, height) in [
            ("/labels/requests", 4, 210.0, 297.0),
            ("/labels/requests?paper=letter", 4, 215.9, 279.4),
            ("/labels/lots/L0390?paper=single", 3, 90.0, 50.0),
        ] {
            let printed = printed(&browser, path).await;
            assert_eq!(printed.len(), pages, "{path}");
            for (wide, high) in printed {
                assert!(
                    (wide - width).abs() < 0.5 && (high - height).abs() < 0.5,
                    "{path}: {wide} x {high} mm"
                );
            }
        }
    })
    .await;
}

/// Laptop and tablet: the top bar stays on its one line with the field in it, nothing runs off at the
/// right, and a finger hits the field.
#[tokio::test]
async fn the_scan_field_has_room_in_the_top_bar() {
    walk("scan-field", Scripts::On, async |browser: Browser| {
        browser.sign_in_as("Cell lead").await;
        for (width, height) in [(1280, 800), (800, 1280)] {
            resize(&browser, width, height).await;
            for path in ["/now", "/requests/new", "/catalogue/AH-FANHUB"] {
                browser.open(path).await;
                let [bar, field, clock, over] = measured(&browser).await;
                let at = format!(
                    "{path} at {width}: bar {bar}, field {field}, clock {clock}, over {over}"
                );
                assert!(bar <= 64.0 && clock <= 44.0, "{at}");
                assert!(field >= 44.0, "{at}");
                assert!(over <= 0.0, "{at}");
            }
        }
    })
    .await;
}

/// Heights of bar, field and clock, and by how much the page is wider than its window.
async fn measured(browser: &Browser) -> [f64; 4] {
    let script = "const high = (css) => document.querySelector(css).getBoundingClientRect().height;
        const page = document.documentElement;
        return [high('.head-line'), high('#scan'), high('.head-clock'), page.scrollWidth - page.clientWidth]";
    let measured = browser.driver.execute(script, Vec::new()).await;
    measured
        .expect("a script runs")
        .convert()
        .expect("four lengths")
}

async fn resize(browser: &Browser, width: u64, height: u64) {
    let size = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false });
    let cdp = browser.driver.cdp();
    let resized = cdp
        .send_raw("Emulation.setDeviceMetricsOverride", size)
        .await;
    resized.expect("Chromium takes a size");
}

/// Width and height of each page of what a printer gets, in millimetres.
async fn printed(browser: &Browser, path: &str) -> Vec<(f64, f64)> {
    browser.open(path).await;
    let cdp = browser.driver.cdp();
    let told = json!({ "preferCSSPageSize": true, "transferMode": "ReturnAsBase64" });
    let answer = cdp
        .send_raw("Page.printToPDF", told)
        .await
        .expect("a print");
    let data = answer["data"].as_str().expect("a PDF");
    let script = "return [...atob(arguments[0])].map((byte) => byte.charCodeAt(0))";
    let bytes = browser.driver.execute(script, vec![json!(data)]).await;
    let bytes: Vec<u8> = bytes.expect("a script runs").convert().expect("bytes");
    let document = Document::load_mem(&bytes).expect("a PDF");
    let pages = document.get_pages();
    pages
        .values()
        .map(|id| {
            let page = document.get_dictionary(*id).expect("a page");
            let size = page
                .get(b"MediaBox")
                .and_then(Object::as_array)
                .expect("a size");
            let millimetres =
                |at: usize| f64::from(size[at].as_float().expect("a length")) / 72.0 * 25.4;
            (millimetres(2), millimetres(3))
        })
        .collect()
}
