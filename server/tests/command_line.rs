//! The binary as people start and stop it.
#![cfg(unix)]

mod binary;

use std::fs;
use std::path::Path;
use std::process::Output;

use binary::{Server, assert_fails, command, mendpost, mode, text};
use tempfile::TempDir;

#[test]
fn a_site_is_made_served_and_stopped_with_nothing_left_open() {
    let folder = TempDir::new().expect("a temporary folder");
    let data = folder.path().join("cell");
    let made = init(&data);
    assert!(made.status.success(), "{made:?}");
    let said = String::from_utf8_lossy(&made.stdout).into_owned();
    assert!(said.contains("http://127.0.0.1:8750/start"), "{said}");
    assert_eq!(start_code(&said, "Ada").split('-').count(), 6, "{said}");
    assert_eq!(mode(&data), 0o700);
    assert_eq!(mode(&data.join("mendpost.db")), 0o600);

    let mut server = Server::start(&["serve", "--data", text(&data), "--listen", "127.0.0.1:0"]);
    assert!(server.ask("/sign-in").contains("North Quay"));
    assert!(data.join("mendpost.db-wal").exists(), "a log while it runs");

    let second = mendpost(&["serve", "--data", text(&data), "--listen", "127.0.0.1:0"]);
    assert_fails(&second, 1, "another mendpost is running on");
    let taken = folder.path().join("other");
    assert!(init(&taken).status.success());
    let second = mendpost(&["serve", "--data", text(&taken), "--listen", &server.address]);
    assert_fails(
        &second,
        1,
        "is in use by another program; choose another with --listen",
    );

    assert!(server.stop("TERM").success());
    assert!(
        !data.join("mendpost.db-wal").exists(),
        "the log is folded back"
    );
    let again = Server::start(&["serve", "--data", text(&data), "--listen", "127.0.0.1:0"]);
    assert!({ again }.stop("INT").success());
}

#[test]
fn the_demonstration_starts_in_a_folder_of_its_own_and_removes_it() {
    let temporary = TempDir::new().expect("a temporary folder");
    let mut command = command(&["demo", "--listen", "127.0.0.1:0"]);
    command.env("TMPDIR", temporary.path());
    let mut server = Server::spawn(command);
    assert!(server.ask("/sign-in").contains("Choose whom to be"));
    assert_eq!(fs::read_dir(temporary.path()).expect("readable").count(), 1);
    assert!(server.stop("TERM").success());
    assert_eq!(fs::read_dir(temporary.path()).expect("readable").count(), 0);
}

/// In the demonstration anybody is anybody: it must never open a real site, nor the other way round.
#[test]
fn real_and_invented_sites_do_not_mix() {
    let folder = TempDir::new().expect("a temporary folder");
    let (real, invented) = (folder.path().join("real"), folder.path().join("invented"));
    assert!(init(&real).status.success());
    assert_fails(
        &mendpost(&["demo", "--data", text(&real)]),
        1,
        "holds a real site, North Quay",
    );

    let arguments = ["demo", "--data", text(&invented), "--listen", "127.0.0.1:0"];
    assert!(Server::start(&arguments).stop("TERM").success());
    assert!(
        Server::start(&arguments).stop("TERM").success(),
        "kept from one start to the next"
    );
    assert_fails(
        &mendpost(&["serve", "--data", text(&invented)]),
        1,
        "holds the demonstration site",
    );
}

#[test]
fn what_is_wrong_is_said_in_one_line() {
    let folder = TempDir::new().expect("a temporary folder");
    let empty = folder.path().join("empty");
    assert_fails(
        &mendpost(&["serve", "--data", text(&empty)]),
        1,
        "mendpost init --data",
    );
    assert!(!empty.exists(), "asking to serve makes nothing");

    assert!(init(&empty).status.success());
    assert_fails(&init(&empty), 1, "holds a site already");

    for (arguments, fault) in [
        (&[][..], "say what to do"),
        (&["dance"], "unrecognized subcommand 'dance'"),
        (&["serve"], "--data <DIR>"),
        (&["demo", "--listen", "here"], "invalid value 'here'"),
        (
            &["init", "--data", "x", "--site", "x", "--lead", ""],
            "enter something",
        ),
        (
            &["person", "--data", "x", "--name", "Bo", "--role", "boss"],
            "'boss' is no role",
        ),
    ] {
        assert_fails(&mendpost(arguments), 2, fault);
    }
    assert!(mendpost(&["--help"]).status.success());
}

/// A site of one's own: the files that the program writes, changed, and read back; a second person;
/// and the line-up in the terminal, beside which a service may run.
#[test]
fn a_site_is_made_from_files_and_planned_in_the_terminal() {
    let folder = TempDir::new().expect("a temporary folder");
    let data = folder.path().join("cell");
    assert!(init(&data).status.success());
    let person = [
        "person",
        "--data",
        text(&data),
        "--name",
        "Bo",
        "--role",
        "crew",
    ];
    let added = mendpost(&person);
    assert!(added.status.success(), "{added:?}");
    let said = String::from_utf8_lossy(&added.stdout).into_owned();
    assert!(
        said.starts_with("Bo is crew.\nStart code for Bo, shown this once: "),
        "{said}"
    );

    let planned = mendpost(&["plan", "--data", text(&data)]);
    let said = String::from_utf8_lossy(&planned.stdout).into_owned();
    assert!(said.starts_with("Line-up of North Quay"), "{planned:?}");
    for words in ["Waits at a gate:", "doing nothing", "It approves nothing"] {
        assert!(said.contains(words), "{words}: {said}");
    }
    let json = mendpost(&["plan", "--data", text(&data), "--json"]);
    assert!(serde_json::from_slice::<serde_json::Value>(&json.stdout).is_ok());
}

/// A part's file is written whole under its own name beside a service, and never over another.
#[test]
fn a_part_file_is_written_and_never_over_another() {
    let folder = TempDir::new().expect("a temporary folder");
    let data = folder.path().join("demonstration");
    let server = Server::start(&["demo", "--data", text(&data), "--listen", "127.0.0.1:0"]);
    let to = folder.path().join("r9.zip");
    let ask = |number: &str, to: &Path| {
        let arguments = [
            "part-file",
            "--data",
            text(&data),
            "--request",
            number,
            "--to",
            text(to),
        ];
        mendpost(&arguments)
    };
    let written = ask("9", &to);
    assert!(written.status.success(), "{written:?}");
    let bytes = fs::read(&to).expect("an archive");
    // The sign of a ZIP archive (APPNOTE 4.3.7).
    assert!(bytes.starts_with(b"PK\x03\x04"));
    assert_fails(&ask("9", &to), 1, "is there already; choose another name");
    assert_eq!(fs::read(&to).expect("an archive"), bytes);
    assert_fails(
        &ask("999", &folder.path().join("no.zip")),
        1,
        "there is no request",
    );
    assert!(
        ask("9", folder.path()).status.success(),
        "under a name of its own"
    );
    let files = fs::read_dir(folder.path()).expect("a folder").flatten();
    let names: Vec<String> = files
        .map(|it| it.file_name().to_string_lossy().into_owned())
        .collect();
    assert!(
        names
            .iter()
            .any(|it| it.starts_with("port-ansel-R9-journal-")),
        "{names:?}"
    );
    assert!(names.iter().all(|it| !it.ends_with(".part")), "{names:?}");
    drop(server);
}

/// A fault in the files is told by file and line, and nothing is made.
#[test]
fn a_fault_in_the_files_makes_nothing() {
    let folder = TempDir::new().expect("a temporary folder");
    let site = site(folder.path());
    let lots = site.join("lots.csv");
    let text_of = fs::read_to_string(&lots).expect("written");
    fs::write(&lots, text_of.replacen("released", "relaesed", 1)).expect("writable");
    let data = folder.path().join("cell");
    let arguments = [
        "init",
        "--data",
        text(&data),
        "--site",
        text(&site),
        "--lead",
        "Ada",
    ];
    let refused = mendpost(&arguments);
    let told = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(!refused.status.success());
    assert!(
        told.contains("lots.csv") && told.contains("relaesed"),
        "{told}"
    );
    assert!(!data.exists());
}

/// The files that the program writes, with another name.
fn site(folder: &Path) -> std::path::PathBuf {
    let site = folder.join("site");
    if !site.exists() {
        assert!(mendpost(&["files", text(&site)]).status.success());
        let settings = site.join("site.toml");
        let written = fs::read_to_string(&settings).expect("written");
        fs::write(&settings, written.replace("Port Ansel", "North Quay")).expect("writable");
    }
    site
}

/// The code that a command gave out.
fn start_code<'a>(said: &'a str, name: &str) -> &'a str {
    let before = format!("Start code for {name}, shown this once: ");
    let (_, rest) = said.split_once(&before).expect(said);
    rest.lines().next().expect("a line")
}

/// The way back in for a lead who has lost passphrase and codes: each call gives a new code. Without
/// another lead nobody takes the role away.
#[test]
fn a_lost_lead_gets_a_new_start_code() {
    let folder = TempDir::new().expect("a temporary folder");
    let data = folder.path().join("cell");
    assert!(init(&data).status.success());
    let person = |name, role| {
        mendpost(&[
            "person",
            "--data",
            text(&data),
            "--name",
            name,
            "--role",
            role,
        ])
    };
    let said = [person("ada", "lead"), person("Ada", "lead")]
        .map(|output| String::from_utf8_lossy(&output.stdout).into_owned());
    assert_ne!(start_code(&said[0], "ada"), start_code(&said[1], "Ada"));
    // The lead of the files that the site was made from.
    assert!(person("Cell lead", "crew").status.success());
    assert_fails(
        &person("Ada", "viewer"),
        1,
        "Ada is the only lead; make somebody else lead first",
    );
    assert!(person("Bo", "lead").status.success());
    assert!(person("Ada", "viewer").status.success());
}

fn init(data: &Path) -> Output {
    let site = site(data.parent().expect("in a folder"));
    let arguments = [
        "init",
        "--data",
        text(data),
        "--site",
        text(&site),
        "--lead",
        "Ada",
    ];
    mendpost(&arguments)
}

/// A calculation answers in JSON; what is wrong with its input is one line and exit code 2.
#[test]
fn a_quantity_is_worked_out_without_a_site() {
    let input = r#"{"gas":"nitrogen","bar":200,"c":20}"#;
    let answer = mendpost(&["calc", "gas-density", input]);
    assert!(answer.status.success(), "{answer:?}");
    let answer = String::from_utf8_lossy(&answer.stdout).into_owned();
    assert!(answer.starts_with("{\"kg_m3\":218.5"), "{answer}");
    let cold = r#"{"gas":"nitrogen","bar":200,"c":-300}"#;
    assert_fails(
        &mendpost(&["calc", "gas-density", cold]),
        2,
        "temperature is -300 C",
    );
    assert_fails(
        &mendpost(&["calc", "weight", "{}"]),
        2,
        "invalid value 'weight'",
    );
}

/// A packing problem is answered in JSON; what is wrong with it is one line and exit
/// code 2. 10 kg: the 7 kg and the 3 kg are worth 9 + 4, more than two of 5 kg.
#[test]
fn a_load_is_packed_without_a_site() {
    let folder = TempDir::new().expect("a temporary folder");
    let file = folder.path().join("packing.json");
    let packing = |limit: i64| {
        format!(
            r#"{{"limits":[{{"id":"kg","limit":{limit}}}],"items":[
                {{"id":"five","max":2,"worth":[6],"uses":{{"kg":5}}}},
                {{"id":"seven","max":1,"worth":[9],"uses":{{"kg":7}}}},
                {{"id":"three","max":1,"worth":[4],"uses":{{"kg":3}}}}]}}"#
        )
    };
    fs::write(&file, packing(10)).expect("written");
    let answer = mendpost(&["pack", text(&file), "--seconds", "60"]);
    assert!(answer.status.success(), "{answer:?}");
    assert_eq!(
        String::from_utf8_lossy(&answer.stdout),
        "{\"worth\":13,\"bound\":13,\"proven\":true,\"take\":{\"seven\":1,\"three\":1}}\n"
    );
    fs::write(&file, packing(-1)).expect("written");
    assert_fails(
        &mendpost(&["pack", text(&file)]),
        2,
        "limits[0].limit: -1 is not within 0 to",
    );
    assert_fails(
        &mendpost(&["pack", text(&file), "--seconds=-1"]),
        2,
        "--seconds is -1; give 0 or more",
    );
    assert_fails(&mendpost(&["pack", "no-such-file"]), 2, "no-such-file: ");
}
