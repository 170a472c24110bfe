//! Faulty seed files: each fault is told with its file, line and column, and none makes a panic.

use super::at;
use mendpost_server::seed::{SeedFiles, read};
use mendpost_tests::START;
use proptest::prelude::*;

fn told(files: &SeedFiles) -> Vec<String> {
    match read(files, at(START)) {
        Ok(_) => Vec::new(),
        Err(faults) => faults.iter().map(ToString::to_string).collect(),
    }
}

/// The faults after one text of one file is replaced by another.
pub(super) fn after(file: &str, from: &str, to: &str) -> Vec<String> {
    let mut files = SeedFiles::demonstration();
    let text = files.text(file).expect("the file");
    assert!(text.contains(from), "{file} has no '{from}'");
    files.set(file, text.replacen(from, to, 1));
    told(&files)
}

/// The demonstration site itself has none.
#[test]
fn the_demonstration_is_free_of_faults() {
    assert_eq!(told(&SeedFiles::demonstration()), [""; 0]);
}

/// File, line, column; what was given; what is allowed.
#[test]
#[expect(clippy::too_many_lines, reason = "one case below the other")]
fn a_fault_says_where_it_is_what_was_given_and_what_is_allowed() {
    let cases = [
        (
            ("lots.csv", "CUAL10,hold", "CUAL10,held"),
            "lots.csv, line 15, state: 'held' is none of: arrived, quarantine, released, hold, rejected, empty",
        ),
        (
            ("lots.csv", "L0390,AL6061", "L0390,AL7075"),
            "lots.csv, line 2, powder: 'AL7075' is not listed; listed: AL6061, CUAL10, NI625, SS316, ZNAL15",
        ),
        (
            ("lots.csv", "L0391,SS316", "L0390,SS316"),
            "lots.csv, line 3, code: 'L0390' is listed twice",
        ),
        (
            (
                "parts.csv",
                "SM-ROLLER,feed",
                "..,bush,1,2,3,4,guard,,,,\nSM-ROLLER,feed",
            ),
            "parts.csv, line 2, code: '..' cannot be found by an address; leave out '/', and do not call it '.', '..' or 'new'",
        ),
        (
            ("metals.csv", "code,name\n", "code,name\nnew,tin\n"),
            "metals.csv, line 2, code: 'new' cannot be found by an address; leave out '/', and do not call it '.', '..' or 'new'",
        ),
        (
            (
                "site.toml",
                "pressure_bar = 71.5",
                "pressure_bar = 71.12345",
            ),
            "site.toml, line 48, pressure_bar: '71.12345' is finer than can be kept; use at most 3 figures after the point",
        ),
        (
            ("site.toml", "throat_mm = 2.0", "throat_mm = 20"),
            "site.toml, line 24, throat_mm: 20 is out of range; enter 0.5 to 10",
        ),
        (
            ("site.toml", "loss_word", "word_for_loss"),
            "site.toml, line 7: unknown key 'word_for_loss'; known are name, zone, altitude_m, loss_word, plan_days, need_permille, receiving_min",
        ),
        (
            ("site.toml", "Pacific/Guadalcanal", "Pacific/Veyra"),
            "site.toml, line 5, zone: 'Pacific/Veyra' is no time zone; give a name as Pacific/Auckland",
        ),
        (
            ("stations.csv", "power_kw", "power_w"),
            "stations.csv, line 1: unknown column 'power_w'; known are code, name, slots, power_kw, batch",
        ),
        (
            ("capabilities.csv", "0 4 60 220", "0 60 4 220"),
            "capabilities.csv, line 2, loss_per_hour: the loss rate falls from 60 to 4 when 2 are down; it may stay or rise",
        ),
        (
            ("capabilities.csv", "0 4 60 220", "0 4 60"),
            "capabilities.csv, line 2, loss_per_hour: 3 loss rates for 3 assets; give 4, for none down, one down, and so on",
        ),
        (
            ("operations.csv", "ZN-021,1,2,mask", "ZN-021,1,3,mask"),
            "operations.csv, line 3, position: 3 stands where 2 is due; number the operations of a revision 1, 2, 3 in order",
        ),
        (
            (
                "operations.csv",
                "1,3,spray,spray,,,2,,RUN-OFF-60",
                "1,3,spray,spray,,,2,,SPINDLE",
            ),
            "operations.csv, line 13, plate: 'SPINDLE' is not listed; listed: DISC-150, RUN-OFF-120, RUN-OFF-60",
        ),
        (
            (
                "operations.csv",
                "BR-032,1,3,spray,spray,,,2,,,SPINDLE,4",
                "BR-032,1,3,spray,spray,,,2,,,,4",
            ),
            "operations.csv, line 33, fixture: nothing is given; say what is held",
        ),
        (
            (
                "operations.csv",
                "BR-032,1,3,spray,spray,,,2,,,SPINDLE,4",
                "BR-032,1,3,spray,spray,,,2,,,SPINDLE,2",
            ),
            "recipes.csv, line 5: operation 3 holds a fixture until operation 2; give one from 3 to 10",
        ),
        (
            ("kit.csv", "fixture,1", "fixture,-1"),
            "kit.csv, line 5, count: -1 is out of range; enter 0 to 9999",
        ),
        (
            ("operations.csv", "mill,300,1,60", "mill,,1,60"),
            "operations.csv, line 5, minutes: nothing is given, and it is needed",
        ),
        (
            ("operations.csv", "mill,300,1,60", "mill,0,1,60"),
            "operations.csv, line 5, minutes: 0 is out of range; enter 1 to 20160",
        ),
        (
            (
                "operations.csv",
                "ZN-021,1,8,fit,fit",
                "ZN-021,1,8,measure,fit",
            ),
            "recipes.csv, line 2: no operation 'fit'; give one with its minutes, they are part of the time to the machine's return",
        ),
        (
            (
                "recipes.csv",
                "ZN-021,1,SM-ROLLER,approved,Cell lead",
                "ZN-021,1,SM-ROLLER,approved,",
            ),
            "recipes.csv, line 2, approved_by: nothing is given; say who approved it",
        ),
        (
            ("requests.csv", "day-10 10:00", "day+1 10:00"),
            "requests.csv, line 2, reported: 'day+1 10:00' has not come yet; give a time that has passed at any hour of loading, as day-1 09:00",
        ),
        (
            ("ways.csv", "1,ZN-021", "1,ZN-022"),
            "ways.csv, line 2, recipe: 'ZN-022' makes RC-RING; the request is for SM-ROLLER",
        ),
        (
            ("duty_hours.csv", "every-day,18:00", "every-day,17:00"),
            "duty_hours.csv: duty hours overlap on Wednesday: 18:00 ends after 17:00 starts; give one stretch for each hour of a day",
        ),
        (
            (
                "containers.csv",
                "L0390-1,L0390,5000,2400",
                "L0390-1,L0390,5000,5400",
            ),
            "containers.csv, line 2, used_g: more than was received",
        ),
    ];
    for ((file, from, to), expected) in cases {
        let told = after(file, from, to);
        assert!(told.iter().any(|t| t == expected), "{expected}\n{told:#?}");
    }
}

/// A weighed build names a stage and a lot of its powder, and has an efficiency that can be.
#[test]
fn a_faulty_weighed_build_is_told() {
    let cases = [
        (
            ("weighed_builds.csv", "ZN-021,1,3,", "ZN-021,1,2,"),
            "weighed_builds.csv, line 2, position: sprays.csv has no ZN-021 revision 1 position 2",
        ),
        (
            ("weighed_builds.csv", "L0381,,day-60", "L0393,,day-60"),
            "weighed_builds.csv, line 14, lot: 'L0393' is CUAL10, and this stage sprays ZNAL15",
        ),
        (
            ("weighed_builds.csv", "L0381,,day-60", "L9999,,day-60"),
            "weighed_builds.csv, line 14, lot: 'L9999' is not in lots.csv",
        ),
        (
            ("weighed_builds.csv", ",3700,", ",37000,"),
            "weighed_builds.csv, line 2, deposited_g: more than was fed, or less than 2 % of it; weigh again, or leave the row out",
        ),
        (
            ("weighed_builds.csv", "2.14,day-80", "2.14,day+1"),
            "weighed_builds.csv, line 2, built: 'day+1 11:20' has not come yet; give a time that has passed at any hour of loading, as day-1 09:00",
        ),
    ];
    for ((file, from, to), expected) in cases {
        let told = after(file, from, to);
        assert!(told.iter().any(|t| t == expected), "{expected}\n{told:#?}");
    }
}

/// All faults are told at once, by file and line.
#[test]
fn all_faults_are_told_together() {
    let mut files = SeedFiles::demonstration();
    files.set("powders.csv", "code,name\nAL6061,\nCU AL10,bronze\n");
    files.set("notes.csv", "a,b\n");
    let told = told(&files);
    for expected in [
        "notes.csv: no such file is known",
        "powders.csv, line 2, name: nothing is given, and it is needed",
        "powders.csv, line 3, code: 'CU AL10' has the character ' '",
        "lots.csv, line 3, powder: 'SS316' is not listed; listed: AL6061",
    ] {
        assert!(
            told.iter().any(|t| t.starts_with(expected)),
            "{expected}\n{told:#?}"
        );
    }
}

/// Tools come with the site's files: every row at fault is told, all of them at once, each by its line and
/// column.
#[test]
fn each_faulty_tool_is_told() {
    let mut files = SeedFiles::demonstration();
    files.set(
        "tools.csv",
        "code,name,measures,least,most,resolution,certificate,calibrated,due\n\
         M-01,micrometer,width,0,25,0.001,K 1,day-80 09:00,day+285 18:00\n\
         M-02,micrometer,length,25,0,0.001,K 1,day-80 09:00,day+285 18:00\n\
         M-03,micrometer,length,0,25,0,K 1,day-80 09:00,day+285 18:00\n\
         M-04,micrometer,length,0,25,0.001,,day-80 09:00,day+285 18:00\n\
         M-05,micrometer,length,0,25,0.001,K 1,day+1 09:00,day+285 18:00\n\
         M-06,micrometer,length,0,25,0.001,K 1,day-80 09:00,day-90 18:00\n\
         M-06,,length,0,wide,0.001,K 1,day-80 09:00,soon\n",
    );
    let told = told(&files);
    for expected in [
        "tools.csv, line 2, measures: 'width' is none of: ",
        "tools.csv, line 3, most: give more than the least",
        "tools.csv, line 4, resolution: 0 is out of range",
        "tools.csv, line 5, certificate: nothing is given",
        "tools.csv, line 6, calibrated: 'day+1 09:00' has not come yet",
        "tools.csv, line 7, due: that is before it was calibrated",
        "tools.csv, line 8, code: 'M-06' is listed twice",
        "tools.csv, line 8, name: nothing is given",
        "tools.csv, line 8, most: 'wide'",
        "tools.csv, line 8, due: 'soon'",
    ] {
        assert!(
            told.iter().any(|fault| fault.starts_with(expected)),
            "{expected}\n{told:#?}"
        );
    }
    assert!(told.iter().all(|fault| fault.starts_with("tools.csv, ")));
}

/// What a powder asks of certificates takes a reason, and a reason takes a limit.
#[test]
fn limits_of_a_powder_take_a_reason() {
    let steel = "500,28,12,20,35,50,";
    for ((from, to), expected) in [
        (
            ("Cr (16..18); Mo (2..3)", "Cr (18..16); Mo (2..3)"),
            "powders.csv, line 4, chemistry: 'Cr (18..16)' cannot be read",
        ),
        (
            (steel, "500,28,wide,20,35,50,"),
            "powders.csv, line 4, d10_min_um: 'wide'",
        ),
        (
            ("896,32,,,,,,,", "896,32,,,,,,,the maker's word"),
            "powders.csv, line 2, limits_reason: no limit is given",
        ),
        (
            ("896,32,,,,,,,", "896,32,12,,,,,,"),
            "powders.csv, line 2, limits_reason: say why the limits are so",
        ),
    ] {
        let told = after("powders.csv", from, to);
        assert!(
            told.iter().any(|fault| fault.starts_with(expected)),
            "{expected}\n{told:#?}"
        );
    }
}

/// A file of another encoding, one that is missing, and one that is no TOML are told.
#[test]
fn what_is_no_seed_file_is_told() {
    let mut files = SeedFiles::demonstration();
    files.set("people.csv", b"name,role\nJos\xe9,lead\n".to_vec());
    assert_eq!(
        told(&files),
        ["people.csv, line 2: not UTF-8 text; save the file as CSV with the character set UTF-8"]
    );
    let told = after("site.toml", "[cell]", "[cell");
    assert!(
        told.iter()
            .any(|t| t.starts_with("site.toml, line 12: unclosed table")),
        "{told:#?}"
    );
}

/// A row that lost or gained a field is told by its line, and the row is left out.
#[test]
fn a_row_of_another_length_is_told() {
    let told = after(
        "stations.csv",
        "bench,Bench,2,0.4,",
        "bench,Bench,2,0.4,no,extra",
    );
    assert_eq!(
        told[told.len() - 1],
        "stations.csv, line 3: 6 fields under 5 columns; a text with a comma in it goes between double quotes"
    );
}

/// What somebody may do to a file by accident.
#[derive(Debug, Clone)]
enum Accident {
    CutLine(usize),
    CutHere(usize),
    SwapFields(usize, usize, usize),
    Put(usize, usize, &'static str),
    Twice(usize),
}

fn accident() -> impl Strategy<Value = Accident> {
    let text = prop::sample::select(vec![
        "",
        "-1",
        "0",
        "9223372036854775807",
        "99999999999999999999999999",
        "1e308",
        "NaN",
        "\"",
        "[[",
        "day+999999999999 09:00",
        "day-1 99:99",
        "0000-00-00 00:00",
        "é",
        "\u{0}",
        "#",
        "a b c",
        "every-day",
    ]);
    prop_oneof![
        any::<usize>().prop_map(Accident::CutLine),
        any::<usize>().prop_map(Accident::CutHere),
        any::<(usize, usize, usize)>().prop_map(|(l, a, b)| Accident::SwapFields(l, a, b)),
        (any::<usize>(), any::<usize>(), text).prop_map(|(l, f, t)| Accident::Put(l, f, t)),
        any::<usize>().prop_map(Accident::Twice),
    ]
}

fn happen(text: &str, accident: &Accident) -> Vec<u8> {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    if lines.is_empty() {
        return Vec::new();
    }
    let count = lines.len();
    let split = |line: &str| -> Vec<String> { line.split(',').map(str::to_owned).collect() };
    match accident {
        Accident::CutHere(at) => return text.as_bytes()[..at % (text.len() + 1)].to_vec(),
        Accident::CutLine(line) => drop(lines.remove(line % count)),
        Accident::Twice(line) => lines.push(lines[line % count].clone()),
        Accident::SwapFields(line, a, b) => {
            let mut fields = split(&lines[line % count]);
            let fields_count = fields.len();
            fields.swap(a % fields_count, b % fields_count);
            lines[line % count] = fields.join(",");
        }
        Accident::Put(line, field, put) => {
            let mut fields = split(&lines[line % count]);
            let fields_count = fields.len();
            fields[field % fields_count] = (*put).to_owned();
            lines[line % count] = fields.join(",");
        }
    }
    lines.join("\n").into_bytes()
}

const FILES: [&str; 31] = [
    "assets.csv",
    "capabilities.csv",
    "changeovers.csv",
    "closures.csv",
    "containers.csv",
    "deliveries.csv",
    "delivery_lines.csv",
    "duty_hours.csv",
    "kit.csv",
    "lots.csv",
    "operations.csv",
    "parts.csv",
    "people.csv",
    "powders.csv",
    "recipes.csv",
    "requests.csv",
    "site.toml",
    "sprays.csv",
    "stations.csv",
    "ways.csv",
    "yeses.csv",
    "interim_parts.csv",
    "keep_backs.csv",
    "items.csv",
    "item_sets.csv",
    "trips.csv",
    "must_go.csv",
    "carriage.csv",
    "carriage_rules.csv",
    "carriage_apart.csv",
    "part_failures.csv",
];

/// The forklift's roller may run 120 h from 4 310 h on, six a day: an end is by hours or by a date, and a
/// date lies behind the fitting.
#[test]
fn the_end_of_an_interim_part_is_told_in_one_way() {
    let hours = ",,120,6,4310";
    for (end, fault) in [
        (
            ",,,,",
            "interim_parts.csv, line 2: give 'off_by', or 'most_h' and 'a_day_h'",
        ),
        (
            ",day+5 08:00,120,,",
            "interim_parts.csv, line 2, most_h: leave it empty, or 'off_by'",
        ),
        (
            ",day-19 08:00,,,",
            "interim_parts.csv, line 2, off_by: it was fitted only then; give a time after that",
        ),
        (
            ",,120,25,4310",
            "interim_parts.csv, line 2, a_day_h: 25 is out of range; enter 0.1 to 24",
        ),
    ] {
        assert_eq!(after("interim_parts.csv", hours, end), [fault], "{end}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// Whatever is cut, swapped or typed over: the files are read or their faults are told.
    #[test]
    fn no_accident_makes_it_panic(
        accidents in prop::collection::vec((prop::sample::select(FILES.to_vec()), accident()), 1..4),
    ) {
        let mut files = SeedFiles::demonstration();
        for (file, accident) in &accidents {
            let text = files.text(file).unwrap_or_default();
            files.set(file, happen(&text, accident));
        }
        if let Err(faults) = read(&files, at(START)) {
            prop_assert!(!faults.is_empty());
            prop_assert!(faults.iter().all(|f| !f.what.is_empty()));
        }
    }
}

/// What is held is a powder or a bank, for machines that are there.
#[test]
fn a_keep_back_names_one_thing_and_its_machines() {
    for (from, to, fault) in [
        (
            "CUAL10,,3500",
            "CUAL10,N1,3500",
            "keep_backs.csv, line 2: give 'powder' or 'bank', one of the two",
        ),
        (
            "CUAL10,,3500",
            ",,3500",
            "keep_backs.csv, line 2: give 'powder' or 'bank', one of the two",
        ),
        (
            "WP1 WP2 WP3",
            "",
            "keep_backs.csv, line 2, assets: name the machines for which it is held",
        ),
        (
            ",3500,",
            ",0,",
            "keep_backs.csv, line 2, grams: 0 is out of range; enter 1 to 1000000",
        ),
    ] {
        assert_eq!(after("keep_backs.csv", from, to), [fault], "{to}");
    }
}
