//! A hundredth of ten years of one busy cell, as `ten-years` makes them: the book holds, and what there is much of is
//! shown in part, the newest first, with a way to the rest.

use std::collections::BTreeSet;

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::db::Db;
use mendpost_server::verify;
use mendpost_tests::decade::{Extent, make, state_on};
use mendpost_tests::{App, START, between, links, number, site, text};
use tempfile::TempDir;

use super::replayed;

/// The lead's browser in front of a few weeks of two hundred builds.
async fn few_weeks() -> App {
    let folder = TempDir::new().expect("a temporary folder");
    let db = Db::open(folder.path()).await.expect("a new database opens");
    let (state, time) = state_on(db);
    make(&state, &time, Extent::TEN_YEARS.one_in(100), START)
        .await
        .expect("every act is one that the service allows");
    let mut app = App::serving(state, time, folder);
    app.sign_in(Role::Lead).await;
    app
}

/// 200 builds with 2 000 movements of 6 lots.
#[tokio::test]
async fn a_few_weeks_of_a_busy_cell() {
    let mut app = few_weeks().await;
    verify::replayed(&app.state.db.read)
        .await
        .expect("a whole chain, and tables that hold what it says");
    replayed(&app).await;
    let movements = number(&app, "select count(*) from movement").await;
    let about = |it: &i64| (1_900..2_200).contains(it);
    assert!(movements.as_ref().is_some_and(about), "{movements:?}");
    assert!(number(&app, "select count(*) from build").await >= Some(200));
    for path in [
        "/now",
        "/powder",
        "/feeder/draw",
        "/builds/1",
        "/builds/200",
        "/requests/1001",
        "/requests/1001/trace",
        "/powder/L1001/trace",
        "/powder/L1001/trace/hold",
        "/furnace/1",
        "/counts/1",
        "/cell/nozzle",
        "/trace/nozzles/N-2",
    ] {
        assert_eq!(app.get(path).await.status, StatusCode::OK, "{path}");
    }
    what_is_kept_beside_is_what_it_stands_for(&app).await;
    used_up_lots_are_in_no_plan(&mut app).await;
    pages_of_a_lot(&mut app).await;
    pages_of_lists(&mut app).await;
}

/// Where a container holds anything, which reading of a gauge is the newest, and where time jumped, is kept or found by
/// a way of its own; adding up and looking through everything says the same.
async fn what_is_kept_beside_is_what_it_stands_for(app: &App) {
    let holds = "select count(*) from container k join container_now c on c.container_id = k.id
                 where k.holds <> (c.milligrams > 0)";
    assert_eq!(number(app, holds).await, Some(0));
    let newest = "select count(*) from (
                    select id from (select id, row_number() over (partition by what, bank_id, station_id
                      order by read_at desc, id desc) as place from reading) where place = 1
                    except select id from reading_newest)";
    assert_eq!(number(app, newest).await, Some(0));
    let all =
        "select (select count(*) from (select distinct what, bank_id, station_id from reading))
                 - (select count(*) from reading_newest)";
    assert_eq!(number(app, all).await, Some(0));
    let steps = "select (select count(*) from journal_step) - (select count(*) from (
                   select time, lag(time) over (order by sequence) as before from journal)
                   where time < before or time - before > 43200000)";
    assert_eq!(number(app, steps).await, Some(0));
}

/// A lot of which nothing is left stands among all lots, and in no plan.
async fn used_up_lots_are_in_no_plan(app: &mut App) {
    let used_up = "select code from lot l where l.code like 'L1%'
                   and not exists (select 1 from container c where c.lot_id = l.id and c.holds = 1)
                   and not exists (select 1 from movement m where m.lot_id = l.id
                     and m.journal_sequence > (select max(journal_sequence) from feeder_emptied))
                   order by code limit 1";
    let lot = text(app, used_up).await.expect("a lot is used up");
    let situation = site(app).await;
    assert!(situation.lots.iter().all(|it| it.code.as_str() != lot));
    let page = app.get("/lots").await;
    assert!(page.contains("used up"), "{}", page.body);
    assert!(page.contains(&format!("/powder/{lot}")), "{}", page.body);
    let page = app.get(&format!("/powder/{lot}")).await;
    assert!(page.contains("it is empty"), "{}", page.body);
    assert!(!app.get("/labels").await.contains(&format!("{lot}\"")));
}

/// A hundred movements stand on the page of a lot, and its pages together hold each movement once.
async fn pages_of_a_lot(app: &mut App) {
    let most = "select l.code from movement m join lot l on l.id = m.lot_id group by l.id order by count(*) desc limit 1";
    let lot = text(app, most).await.expect("a lot");
    let mut page = app.get(&format!("/powder/{lot}")).await.body;
    let mut entries = Vec::new();
    for _ in 0..100 {
        let here: Vec<String> = links(&page).filter(|it| it.starts_with("/book/")).collect();
        let shown = page.matches("/take-back\"").count();
        assert!((1..150).contains(&shown), "{shown} movements on a page");
        entries.extend(here.into_iter().collect::<BTreeSet<_>>());
        let Some(older) = between(&page, &format!("href=\"/powder/{lot}?before="), "#") else {
            break;
        };
        let older = format!("/powder/{lot}?before={older}");
        page = app.get(&older).await.body;
    }
    let distinct: BTreeSet<&String> = entries.iter().collect();
    assert_eq!(
        distinct.len(),
        entries.len(),
        "no entry stands on two pages"
    );
    let of_it = "select count(distinct m.journal_sequence) from movement m
                 where m.lot_id = (select lot_id from movement group by lot_id order by count(*) desc limit 1)";
    let of_it = number(app, of_it).await.expect("a count");
    assert!(of_it > 150, "{of_it}");
    assert_eq!(i64::try_from(entries.len()).ok(), Some(of_it));
}

/// Fifty builds stand on a page, fifty parts that a tool measured, and older ones on the next.
async fn pages_of_lists(app: &mut App) {
    for (path, below, least) in [
        ("/builds", "/builds/", 50),
        ("/tools/H-01/touched", "/requests/", 50),
    ] {
        let page = app.get(path).await.body;
        let own = |page: &str| {
            let rows = page.split("whole-row\" href=\"").skip(1);
            let of_list = rows.filter(|it| it.starts_with(below));
            of_list
                .filter_map(|it| it.split('"').next().map(str::to_owned))
                .collect::<BTreeSet<_>>()
        };
        let first = own(&page);
        assert_eq!(first.len(), least, "{path}");
        let older = page
            .rsplit_once("\">Older ones")
            .map_or("", |(before, _)| before);
        let (_, older) = older.rsplit_once("href=\"").expect("a way to older ones");
        let page = app
            .get(&older.replace("&#38;", "&").replace("&amp;", "&"))
            .await;
        assert_eq!(page.status, StatusCode::OK, "{older}");
        let second = own(&page.body);
        assert!(!second.is_empty() && first.is_disjoint(&second), "{older}");
    }
}
