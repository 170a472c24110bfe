//! The sheets of a site's files: each fault by file, line and column.

use mendpost_server::seed::{SeedFiles, read};
use mendpost_tests::START;

fn now() -> chrono::DateTime<chrono::Utc> {
    chrono::DateTime::from_timestamp_millis(START).expect("a time")
}

/// The faults after one text of one file is replaced by another.
fn after(file: &str, from: &str, to: &str) -> Vec<String> {
    let mut files = SeedFiles::demonstration();
    let text = files.text(file).expect("the file");
    assert!(text.contains(from), "{file} has no '{from}'");
    files.set(file, text.replacen(from, to, 1));
    match read(&files, now()) {
        Ok(_) => Vec::new(),
        Err(faults) => faults.iter().map(ToString::to_string).collect(),
    }
}

/// File, line, column; what was given; what is allowed.
#[test]
fn a_fault_says_where_it_is() {
    let cases = [
        (
            (
                "items.csv",
                "AL-5,Al 6061 powder,can 5 kg,powder,AL6061",
                "AL-5,Al 6061 powder,can 5 kg,powder,AL7075",
            ),
            "items.csv, line 2, powder: 'AL7075' is not listed; listed: AL6061, CUAL10, NI625, SS316, ZNAL15",
        ),
        (
            ("items.csv", "AL-2.5,Al 6061", "AL-5,Al 6061"),
            "items.csv, line 3, code: 'AL-5' is listed twice",
        ),
        (
            ("items.csv", "5,5.42,180", "5,4.42,180"),
            "items.csv, line 2, gross_kg: less than the net mass; give both",
        ),
        (
            ("items.csv", "5,5.42,180", "5,\"5,420\",180"),
            "items.csv, line 2, gross_kg: '5,420' may mean thousands or decimals; write 5420 for thousands, else fewer or more decimals",
        ),
        (
            ("items.csv", "no,entry,\"Gas works", "no,free,\"Gas works"),
            "items.csv, line 10, un: leave it empty: only an entry has it",
        ),
        (
            ("items.csv", ",16,,,,", ",16,,2,Storekeeper,day-1 10:00"),
            "items.csv, line 10, here: only a consumable is counted here; leave it empty",
        ),
        (
            (
                "items.csv",
                "6,Storekeeper,day-1 16:30",
                "6,Storekeeper,day+1 16:30",
            ),
            "items.csv, line 15, counted_at: 'day+1 16:30' has not come yet; give a time that has passed at any hour of loading, as day-1 09:00",
        ),
        (
            ("item_sets.csv", "COUPON-20 PLATE-60", "COUPON-20"),
            "item_sets.csv, line 2, items: 1 items are no set; choose 2 to 20",
        ),
        (
            ("trips.csv", "BOAT-7,sea", "BOAT-7,rail"),
            "trips.csv, line 2, mode: 'rail' is not one of the choices; choose from the list",
        ),
        (
            ("trips.csv", "BOAT-7,sea", "BOAT-9,sea"),
            "trips.csv, line 2, delivery: 'BOAT-9' is not listed; listed: AIR-3, BOAT-7",
        ),
        (
            ("trips.csv", "day+4 12:00", "day+5 17:00"),
            "trips.csv, line 2, closes: that is after the earliest arrival; give them in their order",
        ),
        (
            ("deliveries.csv", "day+8 10:00,600", "day+8 10:00,"),
            "trips.csv, line 2, delivery: deliveries.csv gives it no latest arrival or no payload; give both there",
        ),
        (
            ("must_go.csv", "GLOVE-12,1", "GLOVE-12,0"),
            "must_go.csv, line 3, units: 0 is out of range; enter 1 to 10000",
        ),
        (
            ("must_go.csv", "BOAT-7,GLOVE-12", "BOAT-7,MASK-20"),
            "must_go.csv, line 3, item: 'MASK-20' is named twice; name it once",
        ),
        (
            ("carriage.csv", "road,\"ADR", "rail,\"ADR"),
            "carriage.csv, line 2, mode: 'rail' is none of: road, sea, air",
        ),
        (
            ("carriage_rules.csv", "road,,2.2,,no", "road,,2.9,,no"),
            "carriage_rules.csv, line 2, class: '2.9' is no class; one of 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 2.1, 2.2, 2.3, 3, 4.1, 4.2, 4.3, 5.1, 5.2, 6.1, 6.2, 7, 8, 9",
        ),
        (
            ("carriage_rules.csv", "road,,3,III", "road,,3,II"),
            "carriage_rules.csv: rule 3 by road repeats another; keep one",
        ),
        (
            ("carriage_apart.csv", "sea,4.1,4.2", "sea,4.1,4.1"),
            "carriage_apart.csv, line 2, other: that is the same class; name another",
        ),
        (
            ("carriage_apart.csv", "sea,4.2,4.3", "sea,4.2,4.1"),
            "carriage_apart.csv: pair 2 by sea repeats another; keep one",
        ),
        (
            ("part_failures.csv", "WP-SLEEVE,2", "WP-SLEEVE,often"),
            "part_failures.csv, line 2, times: 'often' is not a number; use figures with at most one point or comma",
        ),
    ];
    for ((file, from, to), expected) in cases {
        let told = after(file, from, to);
        assert!(
            told.iter().any(|it| it == expected),
            "{expected}\n{told:#?}"
        );
    }
}

/// A spreadsheet that parts fields by semicolons and decimals by commas is read the same.
#[test]
fn a_sheet_with_decimal_commas_is_read_the_same() {
    let demonstration = read(&SeedFiles::demonstration(), now()).expect("no faults");
    let mut files = SeedFiles::demonstration();
    let sheet = files.text("part_failures.csv").expect("the file");
    let other: Vec<String> = sheet
        .lines()
        .map(|line| {
            line.replace(", ", "~")
                .replace(',', ";")
                .replace("0.", "0,")
                .replace('~', ", ")
        })
        .collect();
    files.set("part_failures.csv", other.join("\n"));
    let read = read(&files, now()).expect("no faults");
    assert_eq!(read.resupply, demonstration.resupply);
}

/// None of the sheets is needed.
#[test]
fn a_site_without_the_sheets_has_none_of_it() {
    let mut files = SeedFiles::default();
    let of_resupply = [
        "items.csv",
        "item_sets.csv",
        "trips.csv",
        "must_go.csv",
        "carriage.csv",
        "carriage_rules.csv",
        "carriage_apart.csv",
        "part_failures.csv",
    ];
    for (name, content) in SeedFiles::demonstration().iter() {
        if !of_resupply.contains(&name) {
            files.set(name, content);
        }
    }
    let site = read(&files, now()).expect("no faults");
    assert_eq!(site.resupply, Default::default());
}
