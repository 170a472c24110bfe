//! The demonstration: the screens, the first entry of each list, and the slowest of the other pages.

use std::cmp::Reverse;
use std::time::{Duration, Instant};

use mendpost_tests::service::Service;

use crate::visitor::Visitor;
use crate::{median_and_most, milliseconds};

pub async fn print() {
    let demonstration = Service::demonstration();
    let mut visitor = Visitor::new(&demonstration);
    visitor.sign_in_as("Cell lead").await;
    visitor.plan().await;

    let mut paths = visitor.pages().await;
    let mut others = visitor.every_page().await;
    let opened = others.len();
    others.sort_by_key(|(_, time)| Reverse(*time));
    let others = others.into_iter().map(|(path, _)| path);
    let slowest: Vec<String> = others
        .filter(|path| !paths.contains(path))
        .take(SLOWEST)
        .collect();
    paths.extend(slowest);

    println!("| page | median | 95 in 100 within | size |");
    println!("| --- | --- | --- | --- |");
    for path in paths {
        println!("{}", measured(&mut visitor, &path).await);
    }
    println!(
        "\n{opened} pages were opened once; the last {SLOWEST} rows are the slowest of the others."
    );
}

const WARM_UP: usize = 5;
const TIMES: usize = 200;
/// Pages that plan take a second each.
const AT_MOST: Duration = Duration::from_secs(10);
const SLOWEST: usize = 5;

/// A row of the table.
async fn measured(visitor: &mut Visitor<'_>, path: &str) -> String {
    for _ in 0..WARM_UP {
        visitor.get(path).await;
    }
    let (mut times, mut size) = (Vec::new(), 0);
    let begin = Instant::now();
    while times.len() < TIMES && begin.elapsed() < AT_MOST {
        let start = Instant::now();
        size = visitor.get(path).await.len();
        times.push(start.elapsed());
    }
    times.sort();
    let (median, most) = median_and_most(&times);
    format!(
        "| {path} | {} | {} | {} KiB |",
        milliseconds(median),
        milliseconds(most),
        size.div_ceil(1024)
    )
}
