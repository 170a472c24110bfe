//! Saves what the pages of the demonstration look like: every page of the route table, the first entry
//! of each list and the acts on it, the sign-in and the error page, by day and night, on a laptop and
//! on a tablet held upright; and some as printed.

use std::collections::BTreeSet;
use std::env;
use std::fs;
use std::path::{Path, PathBuf};

use axum::http::Method;
use mendpost_server::page::Screen;
use mendpost_tests::browser::Browser;
use mendpost_tests::chromium::{Chromium, Scripts};
use mendpost_tests::service::Service;
use serde_json::json;
use thirtyfour::common::print::{PrintPage, PrintParameters};

#[tokio::main]
async fn main() {
    let folder = env::args_os().nth(1).map(PathBuf::from);
    let folder = folder.expect("say where to save: screenshots FOLDER");
    fs::create_dir_all(&folder).expect("the folder can be made");

    let demonstration = Service::demonstration();
    let chromium = Chromium::start(Scripts::On).await;
    let browser = Browser::new(chromium.driver.clone(), demonstration.url("/"));
    let studio = Studio { browser, folder };
    for skin in ["day", "night"] {
        studio.browser.open("/sign-in").await;
        studio.put_on(skin).await;
        studio.take("sign-in", "/sign-in", skin).await;
    }
    studio.browser.sign_in_as("Cell lead").await;
    studio.browser.plan().await;
    let pages = studio.pages().await;
    for skin in ["day", "night"] {
        studio.browser.open("/site").await;
        studio.put_on(skin).await;
        for (name, path) in &pages {
            studio.take(name, path, skin).await;
        }
    }
    for (name, path) in PRINTED {
        studio.print(name, path).await;
    }
    chromium.quit().await;
}

/// A browser and where its pictures go.
struct Studio {
    browser: Browser,
    folder: PathBuf,
}

impl Studio {
    /// Every page to take, with a name for its file.
    async fn pages(&self) -> Vec<(String, String)> {
        let mut paths = Vec::new();
        for screen in Screen::ALL {
            self.browser.open(screen.path()).await;
            let below = format!("{}/", screen.path());
            let links = self.browser.links("main a.whole-row").await;
            paths.push(screen.path().to_owned());
            paths.extend(links.into_iter().find(|link| link.starts_with(&below)));
        }
        let table = mendpost_server::routes().table;
        let plain = table
            .iter()
            .filter(|route| route.method == Method::GET && !route.path.contains('{'))
            .map(|route| route.path.to_owned());
        paths.extend(plain.chain(ACTS.map(str::to_owned)));
        let mut seen = BTreeSet::new();
        paths.retain(|path| path != "/" && seen.insert(path.clone()));
        let name = |path: &str| path.trim_start_matches('/').replace('/', "-");
        let named = paths.into_iter().map(|path| (name(&path), path));
        named.collect()
    }

    /// Presses the skin's button, unless it is on already.
    async fn put_on(&self, skin: &str) {
        let words = if skin == "night" {
            "Night skin"
        } else {
            "Day skin"
        };
        if self.browser.offers(words).await {
            // The whole page in view: else what stays at its foot may lie over the button.
            self.resize(1280, self.page_height().await).await;
            self.browser.press(words).await;
        }
    }

    /// What is in view at each size, and the whole page where it is longer.
    async fn take(&self, name: &str, path: &str, skin: &str) {
        for (width, height) in SIZES {
            self.resize(width, height).await;
            self.browser.open(path).await;
            let file = format!("{name}-{skin}-{width}x{height}");
            self.save(&file).await;
            let whole = self.page_height().await;
            if whole > height {
                self.resize(width, whole).await;
                self.save(&format!("{file}-whole")).await;
            }
        }
    }

    async fn resize(&self, width: u64, height: u64) {
        let size = json!({
            "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false,
        });
        let cdp = self.browser.driver.cdp();
        let resized = cdp
            .send_raw("Emulation.setDeviceMetricsOverride", size)
            .await;
        resized.expect("Chromium takes a size");
    }

    async fn page_height(&self) -> u64 {
        let script = "return document.documentElement.scrollHeight";
        let answer = self.browser.driver.execute(script, Vec::new()).await;
        let height = answer.expect("Chromium measures a page").convert();
        height.expect("a height in whole pixels")
    }

    async fn save(&self, name: &str) {
        let file = self.folder.join(format!("{name}.png"));
        let saved = self.browser.driver.screenshot(&file).await;
        saved.unwrap_or_else(|error| panic!("cannot save {}: {error}", file.display()));
        println!("{}", file.display());
    }

    /// The page on paper, with the margins that the style sheet sets.
    async fn print(&self, name: &str, path: &str) {
        self.browser.open(path).await;
        for (paper, width, height) in PAPERS {
            let parameters = PrintParameters {
                page: PrintPage { width, height },
                ..PrintParameters::default()
            };
            let printed = self.browser.driver.print_page(parameters).await;
            let printed = printed.expect("Chromium prints a page");
            save(&self.folder.join(format!("{name}-{paper}.pdf")), &printed);
        }
    }
}

fn save(file: &Path, content: &[u8]) {
    fs::write(file, content)
        .unwrap_or_else(|error| panic!("cannot save {}: {error}", file.display()));
    println!("{}", file.display());
}

/// Acts on an entry of a list that the demonstration has, and a page that is not there.
const ACTS: [&str; 25] = [
    "/requests/8/photos",
    "/requests/15/answer",
    "/site/authority/holds-pressure",
    "/powder/L0408",
    "/powder/L0408/release",
    "/powder/L0415/hold",
    "/powder/L0415/count",
    "/powder/L0411/release",
    "/powder/L0411/certificate",
    "/powder/kinds/AL6061/limits",
    "/receiving",
    "/receiving/new?delivery=BOAT-7",
    "/receiving/deliveries/BOAT-7",
    "/blending",
    "/site/people/2",
    "/site/needs",
    "/site/needs/WATER",
    "/site/needs/WATER/change",
    "/site/needs/WATER/what-if",
    "/site/assets/WP2",
    "/site/assets/WP1/report/up",
    "/line-up/keep-backs",
    "/line-up/keep-backs/new",
    "/line-up/keep-backs/1",
    "/nowhere",
];

const PRINTED: [(&str, &str); 8] = [
    ("line-up", "/line-up"),
    ("lot", "/powder/L0408"),
    ("worth", "/line-up/worth"),
    ("what-if", "/line-up/what-if"),
    ("keep-backs", "/line-up/keep-backs"),
    ("own-order", "/line-up/own"),
    ("request", "/requests/8"),
    ("journal", "/journal"),
];

/// A rugged laptop, and a tablet held upright; in pixels.
const SIZES: [(u64, u64); 2] = [(1280, 800), (800, 1280)];

/// In centimetres.
const PAPERS: [(&str, f64, f64); 2] = [("a4", 21.0, 29.7), ("letter", 21.59, 27.94)];
