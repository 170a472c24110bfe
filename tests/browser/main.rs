//! The built binary in a real browser, as people use it.

mod accounts;
mod journey;
mod keyboard;
mod labels;
mod order;
mod photo;
mod refusal;
mod report;
mod resupply;
mod scan;
mod shift;

use std::fs;
use std::future::Future;
use std::panic::resume_unwind;
use std::path::Path;
use std::time::Duration;

use mendpost_tests::browser::Browser;
use mendpost_tests::chromium::{Chromium, Scripts};
use mendpost_tests::service::Service;
use tokio::time::timeout;

/// Walks through a demonstration of its own. If the walk fails, what the browser showed last lies in
/// `target/browser/NAME.png`; whatever happens, everything that was started is stopped.
async fn walk<W, F>(name: &str, scripts: Scripts, steps: W)
where
    W: FnOnce(Browser) -> F,
    F: Future<Output = ()> + Send + 'static,
{
    walk_at(Service::demonstration(), name, scripts, steps).await;
}

/// The same at a site that runs already.
async fn walk_at<W, F>(service: Service, name: &str, scripts: Scripts, steps: W)
where
    W: FnOnce(Browser) -> F,
    F: Future<Output = ()> + Send + 'static,
{
    let chromium = Chromium::start(scripts).await;
    let browser = Browser::new(chromium.driver.clone(), service.url("/"));
    let outcome = tokio::spawn(timeout(LIMIT, steps(browser))).await;
    if !matches!(outcome, Ok(Ok(()))) {
        picture(&chromium, name).await;
    }
    chromium.quit().await;
    match outcome {
        Ok(ended) => ended.unwrap_or_else(|_| panic!("the walk did not end in {LIMIT:?}")),
        Err(failed) => resume_unwind(failed.into_panic()),
    }
}

async fn picture(chromium: &Chromium, name: &str) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/browser");
    let file = folder.join(format!("{name}.png"));
    let made = fs::create_dir_all(&folder);
    match chromium.driver.screenshot(&file).await {
        Ok(()) if made.is_ok() => eprintln!("what was shown last: {}", file.display()),
        outcome => eprintln!("no picture of what was shown last: {made:?} {outcome:?}"),
    }
}

/// Many times what a walk takes.
const LIMIT: Duration = Duration::from_secs(180);
