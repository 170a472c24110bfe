//! Ten years of one busy cell: of each kind of page many, old and new, each opened three times.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use mendpost_server::clock::Clock;
use mendpost_server::db::{Db, open_to_read};
use mendpost_tests::decade::{Extent, make, state_on};
use mendpost_tests::service::Service;
use sqlx::SqlitePool;
use tempfile::TempDir;

use crate::visitor::Visitor;
use crate::{median_and_most, milliseconds};

pub async fn print(folder: Option<PathBuf>) {
    let own = TempDir::new().expect("a temporary folder");
    let folder = match folder {
        Some(folder) => folder,
        None => {
            let begin = Instant::now();
            let db = Db::open(own.path()).await.expect("a new database opens");
            let (state, time) = state_on(db);
            let made = make(&state, &time, Extent::TEN_YEARS, Clock::System.now()).await;
            made.expect("every act is one that the service allows");
            state.db.close().await;
            println!("Made in {} s.\n", begin.elapsed().as_secs());
            own.path().to_owned()
        }
    };
    let read = open_to_read(&folder).await.expect("a site");
    println!("{}\n", held(&read).await);
    let kinds = kinds(&read).await;
    read.close().await;

    let service = Service::demonstration_in(&folder);
    let mut visitor = Visitor::new(&service);
    visitor.sign_in_as("Cell lead").await;
    visitor.plan().await;
    println!("| pages | how many | median | 95 in 100 within | slowest | largest |");
    println!("| --- | --- | --- | --- | --- | --- |");
    for kind in kinds {
        println!("{}", measured(&mut visitor, &kind).await);
    }
}

/// What the site holds, in words.
async fn held(read: &SqlitePool) -> String {
    let mut told = Vec::new();
    for (what, query) in [
        ("movements", "select count(*) from movement"),
        ("lots", "select count(*) from lot"),
        ("builds", "select count(*) from build"),
        ("requests", "select count(*) from request"),
        ("journal entries", "select count(*) from journal"),
        ("furnace loads", "select count(*) from furnace_load"),
        ("counts", "select count(*) from stock_count"),
        ("readings of gauges", "select count(*) from reading"),
    ] {
        let count: i64 = sqlx::query_scalar(query)
            .fetch_one(read)
            .await
            .expect(query);
        told.push(format!("{count} {what}"));
    }
    told.join(", ")
}

/// Pages of one kind, by their addresses.
struct Kind {
    name: &'static str,
    paths: Vec<String>,
}

/// So many of what there are thousands of, from the first to the last.
const SAMPLE: usize = 60;

async fn some(read: &SqlitePool, query: &'static str) -> Vec<String> {
    let all: Vec<String> = sqlx::query_scalar(query)
        .fetch_all(read)
        .await
        .expect(query);
    let step = (all.len() / SAMPLE).max(1);
    // The newest is always among them.
    let mut some: Vec<String> = all
        .iter()
        .rev()
        .step_by(step)
        .take(SAMPLE)
        .cloned()
        .collect();
    some.extend(all.first().cloned());
    some
}

#[rustfmt::skip]
async fn kinds(read: &SqlitePool) -> Vec<Kind> {
    let lots = some(read, "select code from lot order by received_ms, code").await;
    let held = some(read, "select l.code from lot l where l.state = 'released' and exists (select 1 from container c where c.lot_id = l.id and c.holds = 1) order by l.code").await;
    let large = some(read, "select l.code from lot l order by (select count(*) from movement m where m.lot_id = l.id) desc limit 10").await;
    let builds = some(read, "select cast(number as text) from build order by number").await;
    let closed = some(read, "select cast(number as text) from request where state <> 'open' order by number").await;
    let open = some(read, "select cast(number as text) from request where state = 'open' order by number").await;
    let counts = some(read, "select cast(number as text) from stock_count order by number").await;
    let loads = some(read, "select cast(number as text) from furnace_load order by number").await;
    let tools = some(read, "select code from tool order by code").await;
    let parts = some(read, "select code from part order by code").await;
    let powders = some(read, "select code from powder order by code").await;
    let nozzles = some(read, "select code from nozzle_fitted order by journal_sequence").await;
    let banks = some(read, "select code from bank order by code").await;
    let cans = some(read, "select code from container where holds = 1 order by code").await;
    let entries = some(read, "select cast(sequence as text) from journal where sequence % 50 = 0 order by sequence").await;
    let moved = some(read, "select distinct cast(journal_sequence as text) from movement order by journal_sequence").await;
    let at = |paths: &[&str]| paths.iter().map(ToString::to_string).collect::<Vec<_>>();
    let each = |of: &[String], before: &str, after: &str| {
        of.iter().map(|it| format!("{before}{it}{after}")).collect::<Vec<_>>()
    };
    let pages: Vec<String> = (0..600).step_by(50).map(|from| from.to_string()).collect();
    let kind = |name, paths| Kind { name, paths };
    vec![
        kind("Now", at(&["/now"])),
        kind("line-up, requests, catalogue, cell, site", at(&["/line-up", "/requests", "/requests/new", "/catalogue", "/cell", "/site"])),
        kind("powder, each drawn", each(&powders, "/powder?powder=", "")),
        kind("all lots, every page", [each(&pages, "/lots?from=", ""), each(&powders, "/lots?powder=", "")].concat()),
        kind("a lot", each(&lots, "/powder/", "")),
        kind("the ten lots with most movements", each(&large, "/powder/", "")),
        kind("an old page of one of those", large.iter().flat_map(|lot| each(&entries[..10], &format!("/powder/{lot}?before="), "")).collect()),
        kind("trace of a lot", each(&lots, "/powder/", "/trace")),
        kind("trace of one of the ten, and holding all of it", [each(&large, "/powder/", "/trace"), each(&large, "/powder/", "/trace/hold")].concat()),
        kind("certificate, weighing, stopping, sending back of a lot", [each(&held, "/powder/", "/certificate"), each(&held, "/powder/", "/count"), each(&held, "/powder/", "/hold"), each(&held, "/powder/", "/send-back")].concat()),
        kind("builds, pages of fifty", each(&builds, "/builds?before=", "")),
        kind("a build", each(&builds, "/builds/", "")),
        kind("a request that is served", each(&closed, "/requests/", "")),
        kind("trace of a part", [each(&closed, "/requests/", "/trace"), each(&open, "/requests/", "/trace")].concat()),
        kind("an open request, its work", [each(&open, "/requests/", ""), each(&open, "/requests/", "/work")].concat()),
        kind("feeder, draw", [at(&["/feeder", "/feeder/draw", "/feeder/empty"]), each(&cans, "/feeder/draw?container=", "")].concat()),
        kind("taking a movement back", each(&moved[..moved.len().min(3)], "/book/", "/take-back")),
        kind("counts", [at(&["/counts"]), each(&counts, "/counts/", ""), each(&counts, "/counts?before=", "")].concat()),
        kind("receiving, blending, labels", at(&["/receiving", "/receiving/new", "/blending", "/labels"])),
        kind("nozzle", at(&["/cell/nozzle"])),
        kind("trace of a nozzle, of a bank", [each(&nozzles, "/trace/nozzles/", ""), each(&banks, "/trace/banks/", ""), each(&banks, "/trace/banks/", "?before=9000")].concat()),
        kind("furnace loads", [at(&["/furnace", "/furnace/open"]), each(&loads, "/furnace/", ""), each(&loads, "/furnace?before=", "")].concat()),
        kind("tools", [at(&["/tools"]), each(&tools, "/tools/", "")].concat()),
        kind("what a tool measured", [each(&tools, "/tools/", "/touched"), each(&tools, "/tools/", "/touched?before=9000")].concat()),
        kind("a part of the catalogue, its weighed builds", [each(&parts, "/catalogue/", ""), each(&parts, "/catalogue/", "?from=400")].concat()),
        kind("journal, pages of fifty", each(&entries, "/journal?before=", "")),
        kind("journal of a lot, of a request", [each(&lots, "/journal?subject=lot&id=", ""), each(&closed, "/journal?subject=request&id=R", "")].concat()),
    ]
}

const TIMES: usize = 3;
const AT_MOST: Duration = Duration::from_secs(20);

/// A row of the table.
async fn measured(visitor: &mut Visitor<'_>, kind: &Kind) -> String {
    let (mut times, mut slowest, mut largest) = (Vec::new(), (Duration::ZERO, ""), (0, ""));
    let begin = Instant::now();
    visitor.get(&kind.paths[0]).await;
    for path in kind.paths.iter().cycle().take(kind.paths.len() * TIMES) {
        if begin.elapsed() > AT_MOST {
            break;
        }
        let start = Instant::now();
        let size = visitor.get(path).await.len();
        let took = start.elapsed();
        times.push(took);
        slowest = slowest.max((took, path));
        largest = largest.max((size, path));
    }
    times.sort();
    let (median, most) = median_and_most(&times);
    format!(
        "| {} | {} | {} | {} | {} ({}) | {} KiB ({}) |",
        kind.name,
        kind.paths.len(),
        milliseconds(median),
        milliseconds(most),
        milliseconds(slowest.0),
        slowest.1,
        largest.0.div_ceil(1024),
        largest.1
    )
}
