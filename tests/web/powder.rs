//! The pages of powder: which lot to open, what runs out, and what became of a lot.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, between};

use crate::book::{draw, with_clean_feeder};
use crate::keep_back::keep_bronze;

/// The demonstration's only nickel lot has its date on day 2 at 12:00, Friday, and the boat brings more
/// on day 6.
#[tokio::test]
async fn the_answer_names_what_runs_out_first_and_what_comes() {
    let mut app = App::signed_in(Role::Viewer).await;
    let page = app.get("/powder").await;
    assert_eq!(page.status, StatusCode::OK);
    let answer = between(&page.body, "<h1>", "</h1>").expect("an answer");
    assert!(answer.contains("Ni 625 runs out Fri 27 12:00"), "{answer}");
    assert!(answer.contains("before the supply boat"), "{answer}");
    assert!(page.contains("with the date of L0394"));
}

#[tokio::test]
async fn every_lot_is_in_the_table_with_its_state() {
    let mut app = App::signed_in(Role::Viewer).await;
    let page = app.get("/powder").await;
    for (lot, word) in [
        ("L0408", "clumps at the feeder inlet"),
        ("L0411", "certificate not checked"),
        ("L0410", "certificate names another alloy"),
        ("L0401", "not looked at yet"),
    ] {
        let row = between(&page.body, &format!("href=\"/powder/{lot}\""), "</tr>");
        assert!(row.is_some_and(|row| row.contains(word)), "{lot}");
    }
}

#[tokio::test]
async fn another_powder_is_drawn_when_asked_for() {
    let mut app = App::signed_in(Role::Viewer).await;
    let page = app.get("/powder?powder=ZNAL15").await;
    assert!(page.contains("<title id=\"drawdown-1232\">ZnAl15"));
    let none = app.get("/powder?powder=GOLD").await;
    assert_eq!(none.status, StatusCode::NOT_FOUND);
    assert!(none.contains("powder GOLD"));
}

/// L0390 came in cans of 5 000 and 3 000 g, and 2 400 g of the first are used: 5 600 g are left.
#[tokio::test]
async fn a_lot_shows_its_cans_and_its_book() {
    let mut app = App::signed_in(Role::Viewer).await;
    let page = app.get("/powder/L0390").await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(page.contains("5\u{202f}600 g") || page.contains("5\u{2009}600 g"));
    for can in ["L0390-1", "L0390-2"] {
        assert!(page.contains(can));
    }
    let book = between(&page.body, "Movements", "</table>").expect("its book");
    assert_eq!(book.matches("received").count(), 2);
    assert_eq!(book.matches("used before the book began").count(), 1);
}

#[tokio::test]
async fn a_lot_that_may_not_be_drawn_says_so_first() {
    let mut app = App::signed_in(Role::Viewer).await;
    for (lot, answer) in [
        ("L0408", "Do not draw from L0408: it is on hold."),
        ("L0411", "Do not draw from L0411 yet: it is in quarantine."),
        ("L0410", "Never draw from L0410: it is rejected."),
        ("L0401", "Look at L0401 first"),
    ] {
        let page = app.get(&format!("/powder/{lot}")).await;
        assert!(page.contains(answer), "{lot}");
    }
    let none = app.get("/powder/L9999").await;
    assert_eq!(none.status, StatusCode::NOT_FOUND);
}

/// Three days on the date of L0394, the only lot of nickel, has passed.
#[tokio::test]
async fn a_date_that_passed_bars_the_lot() {
    let mut app = App::new().await;
    app.wait_minutes(3 * 1440);
    app.sign_in(Role::Viewer).await;
    let page = app.get("/powder/L0394").await;
    assert!(page.contains("Do not draw from L0394: its date passed"));
    let all = app.get("/powder").await;
    assert!(all.contains("Ni 625 is out until the supply boat"));
}

/// Of 17 600 g of bronze in released lots 3 500 are kept back for the feed pumps, which leaves 14 100 for any
/// machine; with 12 kg more kept back 2 100. All lots last to the end, so that any machine may take that from one
/// lot and no more, and a lot of 1 700 g whole.
#[tokio::test]
async fn what_is_kept_back_is_not_called_free() {
    let mut app = App::signed_in(Role::Lead).await;
    let free = |page: &str| {
        let row = between(page, "?powder=CUAL10#course", "</tr>").expect("a row");
        row.replace('\u{202f}', "")
    };
    let page = app.get("/powder").await;
    let row = free(&page.body);
    assert!(row.contains("decides\">14100<"), "{row}");
    assert!(row.contains("3500 kept back"), "{row}");
    let whom = "3\u{202f}500\u{a0}g of bronze CuAl10 for Feed pump 1, Feed pump 2, Feed pump 3";
    assert!(page.contains(whom), "{}", page.body);
    assert!(page.contains("href=\"/line-up/keep-backs\""));

    keep_bronze(&mut app, "12", "WP1", "the boat may slip").await;
    let page = app.get("/powder").await;
    let row = free(&page.body);
    assert!(row.contains("decides\">2100<"), "{row}");
    let lot = app.get("/powder/L0399").await;
    let lot = lot.body.replace('\u{202f}', "");
    assert!(lot.contains("Draw up to 2100 g of bronze CuAl10"), "{lot}");
    assert!(lot.contains("3100 g more is kept back"), "{lot}");
    let small = app.get("/powder/L0415").await;
    let small = small.body.replace('\u{202f}', "");
    assert!(small.contains("Draw up to 1700 g"), "{small}");
}

/// 1 100 g of the 1 400 g of L0406 went to waste. Steel is sprayed from one lot, and no approved recipe takes as little
/// as 300 g: they are stranded, in words and in the table. The draws of an order stand in a table, each with what is
/// enough in 95 % of builds and what it most likely takes.
#[tokio::test(flavor = "multi_thread")]
async fn what_nothing_can_use_is_named_and_so_is_what_a_draw_likely_takes() {
    let mut app = with_clean_feeder().await;
    draw(&mut app, "L0406-1", "trial", 1_100).await;
    let waste = [("waste", "1100"), ("clean", "yes")];
    let answer = app.post("/feeder/empty", &waste).await;
    assert_eq!(answer.location(), "/feeder", "{}", answer.body);
    app.plan().await;
    let page = app.get("/powder?powder=SS316").await;
    let told = "Stranded after the order: 300 g of L0406";
    let picture = between(&page.body, "<title id=\"drawdown-1232\">", "</title>");
    assert!(picture.is_some_and(|it| it.contains(told)), "{}", page.body);
    assert!(page.contains(&format!("<b>{told}")), "{}", page.body);
    let row = between(&page.body, "href=\"/powder/L0406\"", "</tr>");
    assert!(row.is_some_and(|row| row.contains("300 stranded")));

    let table = between(&page.body, "The draws as a table", "</table>").expect("a table");
    assert!(table.contains("Enough in 95 %, g") && table.contains("Most likely, g"));
    let figures: Vec<i64> = table
        .split("<td class=\"figure")
        .skip(1)
        .filter_map(|cell| {
            between(cell, ">", "<")?
                .replace('\u{202f}', "")
                .parse()
                .ok()
        })
        .collect();
    let draws: Vec<&[i64]> = figures.chunks(3).collect();
    assert!(!draws.is_empty(), "{table}");
    for draw in draws {
        assert!(
            draw[0] > draw[1],
            "enough nearly always is more than likely: {draw:?}"
        );
    }
}
