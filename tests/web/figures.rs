//! Figures that change seldom: what the cell is, and what a powder is made of.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_core::situation::{Divergent, Situation};
use mendpost_server::change::verify_journal;
use mendpost_tests::{Answer, App, between, number, site, text};

const CELL: &str = "/site/cell/change";
const BRONZE: &str = "/powder/kinds/CUAL10/change";

/// Another nozzle in a larger booth.
const NOZZLE: &[(&str, &str)] = &[
    ("throat_mm", "2.4"),
    ("worn_mm", "2,65"),
    ("nozzle_exit_mm", "7.2"),
    ("nozzle_divergent_mm", "130"),
    ("max_bar", "60"),
    ("max_c", "1000"),
    ("heater_kw", "32"),
    ("booth_x_mm", "1200"),
    ("booth_y_mm", "900"),
    ("booth_z_mm", "800"),
    ("max_part_kg", "120"),
    ("heel_g", "350"),
    ("collector_limit_pa", "1800"),
];

const METAL: &[(&str, &str)] = &[
    ("density_kg_m3", "7 650"),
    ("strength_mpa", "480"),
    ("melting_c", "1040"),
    ("cp_j_kg_k", "425"),
    ("size_um", "31"),
];

/// Opens a form and posts it with one field changed.
async fn post(app: &mut App, path: &str, usual: &[(&str, &str)], changed: (&str, &str)) -> Answer {
    let opened = app.get(path).await;
    let version = between(&opened.body, "name=\"version\" value=\"", "\"");
    let version = version.expect("a form with a version").to_owned();
    let mut fields: Vec<(&str, &str)> = vec![("version", &version)];
    fields.extend(usual.iter().map(|&(name, typed)| match name == changed.0 {
        true => changed,
        false => (name, typed),
    }));
    app.post(path, &fields).await
}

/// Each wrong figure is told beside its field, what was typed elsewhere stays, nothing is stored.
async fn refused(app: &mut App, path: &str, usual: &[(&str, &str)], wrong: &[(&str, &str)]) {
    for changed in wrong {
        let answer = post(app, path, usual, *changed).await;
        let field = changed.0;
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{changed:?}"
        );
        assert!(
            answer.field_error(field).is_some(),
            "{changed:?}: {}",
            answer.body
        );
        let kept = usual.iter().filter(|(name, _)| *name != field);
        for (name, typed) in kept {
            let typed = format!("name=\"{name}\" inputmode=\"decimal\" value=\"{typed}\"");
            assert!(answer.contains(&typed), "{changed:?}: {typed}");
        }
    }
}

async fn changes(app: &App) -> Option<i64> {
    let query = "select count(*) from journal where kind in ('cell.changed', 'powder.changed')";
    number(app, query).await
}

/// What is set stands with its unit, and the lead sets another nozzle: the next plan counts with it, and
/// the journal keeps old and new.
#[tokio::test]
async fn another_nozzle_is_set() {
    let mut app = App::signed_in(Role::Lead).await;
    let page = app.get("/site/cell").await;
    assert!(page.contains("Throat as machined") && page.contains("0.5 to 10 mm"));
    let answer = post(&mut app, CELL, NOZZLE, ("", "")).await;
    assert_eq!(answer.location(), "/site/cell", "{}", answer.body);
    let page = app.get("/site/cell").await;
    for set in [
        "2.65 mm",
        "130 mm",
        "60 bar",
        "1\u{202f}000 °C",
        "32 kW",
        "120 kg",
        "350 g",
    ] {
        assert!(page.contains(set), "{set}: {}", page.body);
    }
    let cell = site(&app).await.cell;
    let divergent = Divergent {
        exit_um: 7200,
        length_um: 130_000,
    };
    assert_eq!(cell.divergent, Some(divergent));
    assert_eq!(cell.booth_mm, [1200, 900, 800]);
    assert_eq!(
        (cell.max_mbar, cell.max_c, cell.max_part_g),
        (60_000, 1000, 120_000)
    );
    assert_eq!(
        (cell.heel_g, cell.worn_um, cell.collector_limit_pa),
        (350, Some(2650), Some(1800))
    );
    let both = "select json_extract(content, '$.before.max_c') || ' to ' || json_extract(content, '$.after.max_c')
                from journal where kind = 'cell.changed'";
    assert_eq!(text(&app, both).await.as_deref(), Some("900 to 1000"));
    let whole = verify_journal(&app.state.db.read).await.expect("readable");
    assert!(whole.is_ok());
}

#[tokio::test]
async fn a_fault_of_each_figure_of_the_cell_stands_beside_it() {
    let mut app = App::signed_in(Role::Lead).await;
    let wrong = [
        ("throat_mm", ""),
        ("throat_mm", "0.4"),
        ("worn_mm", "2.4"),
        ("worn_mm", "11"),
        ("nozzle_exit_mm", ""),
        ("nozzle_exit_mm", "2.3"),
        ("nozzle_divergent_mm", ""),
        ("nozzle_divergent_mm", "4"),
        ("max_bar", "0"),
        ("max_bar", "high"),
        ("max_c", "1201"),
        ("heater_kw", "0.01"),
        ("booth_x_mm", "0"),
        ("booth_y_mm", "0.5"),
        ("booth_z_mm", ""),
        ("max_part_kg", "0"),
        ("heel_g", "-1"),
        ("collector_limit_pa", "9"),
    ];
    refused(&mut app, CELL, NOZZLE, &wrong).await;
    assert_eq!(changes(&app).await, Some(0));
    assert_eq!(number(&app, "select version from cell").await, Some(1));
}

/// Two tablets have the form open: the second to save sees what the first set, and saves over it only
/// when told so.
#[tokio::test]
async fn a_form_opened_before_another_saved_shows_both() {
    let mut app = App::signed_in(Role::Lead).await;
    let mut late: Vec<(&str, &str)> = NOZZLE.to_vec();
    late.push(("version", "1"));
    post(&mut app, CELL, NOZZLE, ("max_c", "850")).await;
    let answer = app.post(CELL, &late).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.contains("Not saved.") && answer.contains("850 °C"));
    assert_eq!(site(&app).await.cell.max_c, 850);
    let carried = between(&answer.body, "name=\"version\" value=\"", "\"");
    assert_eq!(carried, Some("2"));
}

/// Everybody sees the figures; the cell's are the lead's to set, a powder's metal also the checker's.
#[tokio::test]
async fn only_who_may_changes_figures() {
    let mut crew = App::signed_in(Role::Crew).await;
    for path in ["/site/cell", "/powder/kinds/CUAL10"] {
        let page = crew.get(path).await;
        assert_eq!(page.status, StatusCode::OK);
        assert!(!page.contains("Change them"));
        let form = crew.get(&format!("{path}/change")).await;
        assert_eq!(form.status, StatusCode::FORBIDDEN);
    }
    let mut checker = App::signed_in(Role::Checker).await;
    assert_eq!(checker.get(CELL).await.status, StatusCode::FORBIDDEN);
    assert_eq!(checker.get(BRONZE).await.status, StatusCode::OK);
}

/// Taken off and told anew; without them a volume cannot become a mass.
#[tokio::test]
async fn what_a_powder_is_made_of_is_told() {
    let mut app = App::signed_in(Role::Checker).await;
    let none: Vec<(&str, &str)> = METAL.iter().map(|(name, _)| (*name, "")).collect();
    let answer = post(&mut app, BRONZE, &none, ("", "")).await;
    assert_eq!(answer.location(), "/powder/kinds/CUAL10", "{}", answer.body);
    assert!(
        app.get("/powder/kinds/CUAL10")
            .await
            .contains("Tell what bronze CuAl10 is made of.")
    );
    let bronze = |site: Situation| {
        let mut powders = site.powders.into_iter();
        powders
            .find(|p| p.code.as_str() == "CUAL10")
            .expect("listed")
            .solid
    };
    assert_eq!(bronze(site(&app).await), None);
    post(&mut app, BRONZE, METAL, ("", "")).await;
    let solid = bronze(site(&app).await).expect("told");
    assert_eq!((solid.density_kg_m3, solid.strength_mpa), (7650, 480));
    assert_eq!(
        (solid.melting_c, solid.cp_j_kg_k, solid.size_um),
        (1040, 425, 31)
    );
    assert!(
        app.get("/powder/kinds/CUAL10")
            .await
            .contains("7\u{202f}650 kg/m³")
    );
    assert_eq!(changes(&app).await, Some(2));
    let none = app.get("/powder/kinds/GOLD").await;
    assert_eq!(none.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_fault_of_each_figure_of_a_metal_stands_beside_it() {
    let mut app = App::signed_in(Role::Lead).await;
    let wrong = [
        ("density_kg_m3", "499"),
        ("density_kg_m3", "7.6"),
        ("strength_mpa", "3001"),
        ("melting_c", "hot"),
        ("cp_j_kg_k", "49"),
        ("size_um", "0"),
        ("size_um", ""),
    ];
    refused(&mut app, BRONZE, METAL, &wrong).await;
    assert_eq!(changes(&app).await, Some(0));
}

/// A feeder that needs no heel: the field is emptied, nothing is kept as 0 g, and the journal says so too.
#[tokio::test]
async fn an_emptied_heel_is_told_as_it_is_kept() {
    let mut app = App::signed_in(Role::Lead).await;
    let answer = post(&mut app, CELL, NOZZLE, ("heel_g", "")).await;
    assert_eq!(answer.location(), "/site/cell", "{}", answer.body);
    let told =
        "select json_extract(content, '$.after.heel_g') from journal where kind = 'cell.changed'";
    assert_eq!(number(&app, told).await, Some(0));
    assert_eq!(number(&app, "select heel_g from cell").await, Some(0));
}

/// How long a powder may stand open is the site's own figure: told without those of the metal or beside them, with a
/// fault beside its field, and in the journal. The page of a draw counts against it.
#[tokio::test]
async fn how_long_a_powder_may_stand_open_is_told() {
    let mut app = App::signed_in(Role::Lead).await;
    let mut told = METAL.to_vec();
    told.push(("open_limit_min", "240"));
    let wrong = [("open_limit_min", "0"), ("open_limit_min", "a shift")];
    refused(&mut app, BRONZE, &told, &wrong).await;
    let answer = post(&mut app, BRONZE, &told, ("", "")).await;
    assert_eq!(answer.location(), "/powder/kinds/CUAL10", "{}", answer.body);
    assert!(app.get("/powder/kinds/CUAL10").await.contains("240 min"));
    let kept = "select json_extract(content, '$.after.open_limit_min') from journal where kind = 'powder.changed'";
    assert_eq!(number(&app, kept).await, Some(240));
    let draw = app.get("/feeder/draw?container=L0399-1").await;
    assert!(draw.contains("of 4 h"), "{}", draw.body);

    let alone: Vec<(&str, &str)> = METAL.iter().map(|(name, _)| (*name, "")).collect();
    let alone = [alone.as_slice(), &[("open_limit_min", "90")]].concat();
    post(&mut app, BRONZE, &alone, ("", "")).await;
    let kept = "select open_limit_min from powder where code = 'CUAL10' and density_kg_m3 is null";
    assert_eq!(number(&app, kept).await, Some(90));
}
