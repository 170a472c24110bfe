//! Recipes: a new revision comes in as a draft, and one that is entered is never changed by a sheet.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, between, number, text};

use super::{JOURNAL, cells, fault, faults, import, send};

const FILES: [&str; 3] = ["recipes", "operations", "sprays"];

/// What the approver of revision 1 wrote; what the approval rests on stands behind it.
const EXPECTED: &str = "holds as the true part does for a season; not tried to failure,";

/// The header of each file and its rows of ZN-021, revision 1.
async fn revision_1(app: &mut App) -> [String; 3] {
    let mut files = FILES.map(str::to_owned);
    for file in &mut files {
        let sheet = app.get(&format!("/site/sheets/recipes/{file}.csv")).await;
        let text = sheet.body.trim_start_matches('\u{feff}').to_owned();
        let mut lines = text.lines();
        let header = lines.next().expect("columns").to_owned();
        let rows = lines.filter(|line| line.starts_with("ZN-021,1,"));
        *file = [header]
            .into_iter()
            .chain(rows.map(str::to_owned))
            .collect::<Vec<_>>()
            .join("\n");
    }
    files
}

/// The same as revision 2, a draft of which the sheet says that the machinist wrote it.
fn as_revision_2(files: &[String; 3]) -> [String; 3] {
    let [recipes, operations, sprays] = files
        .clone()
        .map(|text| text.replace("ZN-021,1,", "ZN-021,2,"));
    let recipes = recipes.replace("approved,Cell lead,Machinist", "draft,,Machinist");
    let (said, _) = recipes
        .rsplit_once(EXPECTED)
        .expect("what the approver expected");
    // Of what stands behind it a new revision says nothing: basis, sizes, limits of coupons.
    let recipes = format!("{said},,,");
    [recipes, operations, sprays]
}

fn sheets(files: &[String; 3]) -> [(&'static str, &[u8]); 3] {
    let [recipes, operations, sprays] = files;
    [
        (FILES[0], recipes.as_bytes()),
        (FILES[1], operations.as_bytes()),
        (FILES[2], sprays.as_bytes()),
    ]
}

/// Revision 2 of the sleeve's recipe, with 3 800 g instead of 3 700 g: a draft, by whom the sheet names,
/// beside the approved revision 1, which stays what it was.
#[tokio::test]
async fn a_new_revision_comes_in_as_a_draft() {
    let mut app = App::signed_in(Role::Lead).await;
    let files = revision_1(&mut app).await;
    let [recipes, operations, sprays] = as_revision_2(&files);
    let revised = [
        recipes,
        operations,
        sprays.replace("ZNAL15,3700,", "ZNAL15,3800,"),
    ];
    let before = number(&app, JOURNAL).await;
    let preview = send(&mut app, "recipes", &sheets(&revised)).await;
    assert!(
        preview.contains("1 new, 0 changed, 0 as it stands."),
        "{}",
        preview.body
    );
    assert!(
        preview.contains("<b>ZN-021/2</b>")
            && preview.contains("draft for SM-ROLLER, 9 operations"),
        "{}",
        preview.body
    );
    let done = import(&mut app, "recipes", &preview).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.body);
    assert_eq!(number(&app, JOURNAL).await, before.map(|n| n + 1));
    let stands = "select group_concat(r.revision || ' ' || r.state || ' ' || r.approved_by || ' ' || r.written_by
                    || ' ' || s.deposited_g, '; ')
                  from recipe r join recipe_spray s on s.recipe_id = r.id where r.code = 'ZN-021'";
    assert_eq!(
        text(&app, stands).await.as_deref(),
        Some("1 approved Cell lead Machinist 3700; 2 draft  Machinist 3800")
    );
    // Taken out again and brought in, both revisions stand.
    let preview = send(&mut app, "recipes", &sheets(&files)).await;
    assert!(preview.contains("Change nothing"), "{}", preview.body);
}

/// Sets the code of something that was entered before codes had to be one step of an address.
async fn renumber(app: &App, sql: &'static str) {
    let set = sqlx::query(sql).execute(&app.state.db.write).await;
    set.expect("written");
}

/// A recipe ZN/021 stands on record: it is revised by sheet under that code, which nothing new is given.
#[tokio::test]
async fn a_recipe_on_record_is_revised_under_its_code() {
    let mut app = App::signed_in(Role::Lead).await;
    let files = as_revision_2(&revision_1(&mut app).await);
    let files = files.map(|text| text.replace("ZN-021,", "ZN/021,"));
    let told = fault(&mut app, "recipes", &sheets(&files)).await;
    assert!(
        told.starts_with("2 | code | 'ZN/021' cannot be found"),
        "{told}"
    );
    renumber(
        &app,
        "update recipe set code = 'ZN/021' where code = 'ZN-021'",
    )
    .await;
    let preview = send(&mut app, "recipes", &sheets(&files)).await;
    let told = "1 new, 0 changed, 0 as it stands.";
    assert!(preview.contains(told), "{}", preview.body);
}

/// So it is with a part: its name is changed by sheet.
#[tokio::test]
async fn a_part_on_record_is_changed_under_its_code() {
    let mut app = App::signed_in(Role::Lead).await;
    renumber(
        &app,
        "update part set code = 'IMP/1' where code = 'SM-ROLLER'",
    )
    .await;
    let parts = app.get("/site/sheets/parts/parts.csv").await.body;
    let row = parts.lines().find(|line| line.starts_with("IMP/1,"));
    let name = row.and_then(|row| row.split(',').nth(1)).expect("a name");
    let changed = parts.replace(&format!("IMP/1,{name},"), "IMP/1,roller of the mill,");
    let preview = send(&mut app, "parts", &[("parts", changed.as_bytes())]).await;
    assert!(preview.contains("0 new, 1 changed, "), "{}", preview.body);
}

/// No sheet approves: neither by its state nor by a name.
#[tokio::test]
async fn no_sheet_approves() {
    let mut app = App::signed_in(Role::Lead).await;
    let files = as_revision_2(&revision_1(&mut app).await);
    for state in ["approved", "proposed", "superseded", "withdrawn"] {
        let given = [
            files[0].replace("draft,,", &format!("{state},Cell lead,")),
            files[1].clone(),
            files[2].clone(),
        ];
        assert_eq!(
            fault(&mut app, "recipes", &sheets(&given)).await,
            format!(
                "2 | state | '{state}' is nothing that a sheet makes of a new revision; give draft, and somebody approves it by name on its page"
            )
        );
    }
    for (column, recipes) in [
        (
            "approved_by",
            files[0].replace("draft,,", "draft,Cell lead,"),
        ),
        (
            "expected",
            format!(
                "{}wears well,,,",
                files[0]
                    .strip_suffix(",,,")
                    .expect("nothing from the basis on")
            ),
        ),
        (
            "basis",
            format!(
                "{}four coupons,,",
                files[0].strip_suffix(",,").expect("no limits")
            ),
        ),
    ] {
        let given = [recipes, files[1].clone(), files[2].clone()];
        assert_eq!(
            fault(&mut app, "recipes", &sheets(&given)).await,
            format!(
                "2 | {column} | a sheet approves nothing; leave this empty, and somebody approves it by name on its page"
            )
        );
    }
}

const PAGE: &str = "/recipes/ZN-021/2";

/// Posts what the page of revision 2 offers as a step.
async fn step(app: &mut App, step: &str) -> StatusCode {
    let page = app.get(PAGE).await;
    let version = between(&page.body, "name=\"version\" value=\"", "\"").unwrap_or_default();
    let fields = [
        ("version", version),
        ("expected", "as before"),
        ("basis", "four coupons"),
    ];
    app.post(&format!("{PAGE}/{step}"), &fields).await.status
}

/// The lead brings in a revision of which the sheet says that the machinist wrote it, in capitals: both are
/// its authors, so neither approves it. Machinist and checker are one person here.
#[tokio::test]
async fn neither_whom_a_sheet_names_nor_who_brings_it_in_approves_a_revision() {
    let mut lead = App::signed_in(Role::Lead).await;
    let mut checker = lead.other_browser();
    checker.sign_in(Role::Checker).await;
    let files = as_revision_2(&revision_1(&mut lead).await);
    let files = files.map(|text| text.replace("draft,,Machinist", "draft,,MACHINIST"));
    let preview = send(&mut lead, "recipes", &sheets(&files)).await;
    assert!(!preview.contains("nobody here is called that"));
    import(&mut lead, "recipes", &preview).await;
    assert_eq!(step(&mut lead, "propose").await, StatusCode::SEE_OTHER);
    assert_eq!(step(&mut lead, "approve").await, StatusCode::FORBIDDEN);
    assert_eq!(step(&mut checker, "approve").await, StatusCode::FORBIDDEN);
}

/// The sheet names somebody of elsewhere: that is said before it is brought in, and the name stays with it.
/// The lead who brings it in is an author all the same, so the checker approves it, and the lead may not.
#[tokio::test]
async fn whoever_brings_a_revision_in_does_not_approve_it() {
    let mut lead = App::signed_in(Role::Lead).await;
    let mut checker = lead.other_browser();
    checker.sign_in(Role::Checker).await;
    let files = as_revision_2(&revision_1(&mut lead).await);
    let files = files.map(|text| text.replace("draft,,Machinist", "draft,,Ada Kehl"));
    let preview = send(&mut lead, "recipes", &sheets(&files)).await;
    let told = "written by &#39;Ada Kehl&#39;, and nobody here is called that";
    assert!(preview.contains(told), "{}", preview.body);
    import(&mut lead, "recipes", &preview).await;
    let by = "select written_by from recipe where code = 'ZN-021' and revision = 2";
    assert_eq!(text(&lead, by).await.as_deref(), Some("Ada Kehl"));
    assert_eq!(step(&mut lead, "propose").await, StatusCode::SEE_OTHER);
    assert_eq!(step(&mut lead, "approve").await, StatusCode::FORBIDDEN);
    assert_eq!(step(&mut checker, "approve").await, StatusCode::SEE_OTHER);
}

/// Coupons, inspection and notes on several lines, as a form sends them and as a sheet says them: they come
/// out, go in under another number and stand as they were, and what is entered is found to be the same.
#[tokio::test]
async fn texts_of_several_lines_come_out_and_go_in() {
    let mut app = App::signed_in(Role::Lead).await;
    let typed = "two beside it:\r\n\tone cut, \"one\" pulled\r\n\r\n= 4 in all";
    sqlx::query("update recipe set coupons = ?1, inspection = ?1, notes = ?1, expected = ?1, basis = ?1 where code = 'ZN-021'")
        .bind(typed)
        .execute(&app.state.db.write)
        .await
        .expect("written");
    let mut files = Vec::new();
    for file in FILES {
        let path = format!("/site/sheets/recipes/{file}.csv");
        files.push(app.get(&path).await.body);
    }
    let files: [String; 3] = files.try_into().expect("three");
    let preview = send(&mut app, "recipes", &sheets(&files)).await;
    assert!(preview.contains("Change nothing"), "{}", preview.body);

    let quoted = format!("\"{}\"", typed.replace("\r\n", "\n").replace('"', "\"\""));
    let row = format!("ZN-021,2,SM-ROLLER,draft,,,ST CI,,{quoted},{quoted},{quoted},,,,");
    let [recipes, operations, sprays] = revision_1(&mut app)
        .await
        .map(|text| text.replace("ZN-021,1,", "ZN-021,2,"));
    let header = recipes.lines().next().expect("columns");
    let given = [format!("{header}\n{row}"), operations, sprays];
    let preview = send(&mut app, "recipes", &sheets(&given)).await;
    let done = import(&mut app, "recipes", &preview).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.body);
    for stands in [
        "select coupons from recipe where code = 'ZN-021' and revision = 2",
        "select inspection from recipe where code = 'ZN-021' and revision = 2",
        "select notes from recipe where code = 'ZN-021' and revision = 2",
    ] {
        let told = Some(typed.replace("\r\n", "\n"));
        assert_eq!(text(&app, stands).await, told, "{stands}");
    }
}

/// Every figure of a revision that is entered stays: another mass, another minute, one operation more.
#[tokio::test]
async fn an_entered_revision_is_not_changed() {
    let mut app = App::signed_in(Role::Lead).await;
    let [recipes, operations, sprays] = revision_1(&mut app).await;
    let given = [
        recipes,
        operations.replace("bench,35,1,", "bench,36,1,")
            + "\nZN-021,1,10,measure,measure again,bench,10,1,,,,,,,",
        sprays.replace("ZNAL15,3700,", "ZNAL15,3800,"),
    ];
    let told = faults(&send(&mut app, "recipes", &sheets(&given)).await);
    let remedy = "ZN-021 revision 1 is entered, and no sheet changes it; give the changed figures as a new revision, with all its operations";
    let expected = [
        [
            "3",
            "minutes",
            &format!("'36' is given and '35' stands; {remedy}"),
        ],
        [
            "11",
            "position",
            &format!("'10' is given and nothing stands; {remedy}"),
        ],
        [
            "2",
            "deposited_g",
            &format!("'3800' is given and '3700' stands; {remedy}"),
        ],
    ];
    assert_eq!(told, expected.map(|row| row.map(str::to_owned)));
}

/// A revision has all it needs in the three files, comes after those that are entered, and keeps its part.
#[tokio::test]
async fn a_new_revision_is_whole_and_comes_after_the_last() {
    let mut app = App::signed_in(Role::Lead).await;
    let files = as_revision_2(&revision_1(&mut app).await);
    let [recipes, operations, sprays] = files.clone();
    let other = [
        recipes.replace("SM-ROLLER", "RC-RING"),
        operations.clone(),
        sprays.clone(),
    ];
    assert_eq!(
        fault(&mut app, "recipes", &sheets(&other)).await,
        "2 | part | revision 1 makes SM-ROLLER; a recipe keeps its part"
    );
    let without = [
        recipes.clone(),
        operations.replace(",fit,", ",measure,"),
        sprays.clone(),
    ];
    let told = fault(&mut app, "recipes", &sheets(&without)).await;
    assert!(told.starts_with("2 | all | no operation 'fit'"), "{told}");
    let told = faults(&send(&mut app, "recipes", &sheets(&files)[..1]).await);
    assert_eq!(
        told.iter()
            .filter(|[.., what]| what == "the file is missing; choose it too")
            .count(),
        2
    );

    // Revision 3 is entered first: revision 2 comes too late then.
    let third = files
        .clone()
        .map(|text| text.replace("ZN-021,2,", "ZN-021,3,"));
    let preview = send(&mut app, "recipes", &sheets(&third)).await;
    import(&mut app, "recipes", &preview).await;
    assert_eq!(
        fault(&mut app, "recipes", &sheets(&files)).await,
        "2 | revision | revision 3 is entered already; give 4 or a later one"
    );
}

/// Every revision of the demonstration under a code of its own, as a draft: with plates, fixtures, cycles,
/// motions and one volume it comes in, and comes out as it was given. One operation is sent out for 5 days.
#[tokio::test]
async fn whatever_a_revision_says_comes_in_and_out_again() {
    let mut app = App::signed_in(Role::Lead).await;
    let mut given = Vec::new();
    for file in FILES {
        let sheet = app.get(&format!("/site/sheets/recipes/{file}.csv")).await;
        let rows = cells(&sheet.body).into_iter();
        let renamed = rows.enumerate().map(|(line, mut row)| {
            if line > 0 {
                row[0] = format!("X-{}", row[0]);
            }
            row
        });
        given.push(renamed.collect::<Vec<_>>());
    }
    for row in &mut given[0][1..] {
        for (column, text) in [(3, "draft"), (4, ""), (5, "Cell lead"), (11, ""), (12, "")] {
            text.clone_into(&mut row[column]);
        }
    }
    let away = column(&given[1], "away_days");
    let sent_out = given[1].iter_mut().find(|row| row[3] == "heat-treat");
    let sent_out = sent_out.expect("a heat treatment");
    (sent_out[5], sent_out[6], sent_out[away]) = (String::new(), String::new(), "5".to_owned());
    let (mass, volume) = (
        column(&given[2], "deposited_g"),
        column(&given[2], "volume_cm3"),
    );
    (given[2][1][mass], given[2][1][volume]) = (String::new(), "520.5".to_owned());
    given[2][1][volume + 1] = "12".to_owned();
    for (sheet, name) in [
        (1, "plate"),
        (1, "fixture"),
        (1, "held_through"),
        (1, "cycle"),
        (2, "porosity_permille"),
        (2, "nozzle"),
    ] {
        let said = column(&given[sheet], name);
        let mut rows = given[sheet].iter().skip(1);
        assert!(rows.any(|row| !row[said].is_empty()), "nothing says {name}");
    }
    let texts: Vec<String> = given.iter().map(|rows| quoted(rows)).collect();
    let texts: [String; 3] = texts.try_into().expect("three");
    let preview = send(&mut app, "recipes", &sheets(&texts)).await;
    let done = import(&mut app, "recipes", &preview).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.body);
    for (file, given) in FILES.into_iter().zip(&given) {
        let sheet = app.get(&format!("/site/sheets/recipes/{file}.csv")).await;
        let written = cells(&sheet.body);
        for row in given {
            assert!(written.contains(row), "{file}: {row:?}");
        }
    }
}

fn column(rows: &[Vec<String>], name: &str) -> usize {
    let found = rows[0].iter().position(|column| column == name);
    found.expect("a column of that name")
}

/// Rows as a CSV text, each cell between quotes; none holds one.
fn quoted(rows: &[Vec<String>]) -> String {
    let row = |row: &Vec<String>| format!("\"{}\"\n", row.join("\",\""));
    rows.iter().map(row).collect()
}
