//! From a photo of a broken part to its place in the line-up.

use image::{Rgb, RgbImage};
use mendpost_tests::browser::Browser;
use mendpost_tests::chromium::Scripts;
use tempfile::TempDir;

use crate::walk;

/// The alternator fan hub of the generating sets stands in the catalogue, with an approved recipe; a second one
/// breaks, and one set is left. Photographed, reported and planned, it has a place with its steps, and the photo
/// is there for whoever does them. A tablet may block scripts, so it is done without.
#[tokio::test]
async fn from_a_photo_of_a_broken_part_to_its_place() {
    walk("photo", Scripts::Off, async |browser: Browser| {
        let folder = TempDir::new().expect("a temporary folder");
        let photo = folder.path().join("broken hub.jpg");
        broken_hub().save(&photo).expect("a photo is written");

        browser.sign_in_as("Sprayer").await;
        browser.open("/requests").await;
        browser.press("Report a damaged part").await;
        browser.choose("Machine", "generating set 4").await;
        browser.choose("Part", "alternator fan hub").await;
        browser.attach("Photos", &photo).await;
        browser.tick("nobody").await;
        browser.fill("Who asks", "Power station foreman").await;
        browser.unfold("More").await;
        browser.choose("What it is made of", "aluminium").await;
        browser.tick("known").await;
        browser.press("Report").await;

        let notice = browser.text(".notice").await;
        assert!(
            notice.contains("SAVED") && notice.contains("with a photo"),
            "{notice}"
        );
        let request = browser.path().await;
        let answer = browser.answer().await;
        assert!(answer.starts_with("Plan again to give "), "{answer}");
        browser.plan().await;

        browser.open(&request).await;
        let sheet = browser.text("main").await;
        assert!(sheet.contains("Part done "), "{sheet}");
        assert!(browser.texts(".photos img").await.len() == 1, "{sheet}");
        browser.open("/line-up").await;
        let places = browser.links("table.line-up a.whole-row").await;
        assert!(places.contains(&request), "{request} in {places:?}");
    })
    .await;
}

/// A grey disc with a dark crack, on a bright bench.
fn broken_hub() -> RgbImage {
    RgbImage::from_fn(640, 480, |x, y| {
        let (x, y) = (i64::from(x) - 320, i64::from(y) - 240);
        if x * x + y * y > 180 * 180 {
            Rgb([230, 226, 214])
        } else if x.abs() < 4 && y < 0 {
            Rgb([20, 18, 16])
        } else {
            Rgb([128, 130, 133])
        }
    })
}
