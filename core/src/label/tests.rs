use proptest::prelude::*;

use super::*;

fn label(kind: Kind, code: &str) -> Label {
    Label::new(kind, code).expect("a code")
}

fn whole_label(typed: &str) -> Option<Label> {
    match read(typed) {
        Ok(Read::Label(label)) => Some(label),
        _ => None,
    }
}

/// A label says prefix, kind, code and check characters, and nothing that another keyboard layout
/// would move without its being seen.
#[test]
fn a_text_is_capitals_and_figures() {
    let container = label(Kind::Container, "L0396-1");
    assert_eq!(container.text(), "MYQCL0396ZD176");
    let odd = label(Kind::Lot, "26/zn+a.1");
    assert_eq!(&odd.text()[..17], "MYQL26ZSZZNZAAZP1");
    assert_eq!(odd.code(), "26/ZN+A.1");
}

/// What is typed by hand may be a code of any kind; it is given back as typed.
#[test]
fn a_code_may_be_typed_instead() {
    for code in ["L0396-1", "R12", "l0396", "26/0417"] {
        assert_eq!(read(&format!(" {code} ")), Ok(Read::Code(code.to_owned())));
    }
}

/// Scanners can be set to tell first which symbology they read.
#[test]
fn a_symbology_identifier_is_passed_over() {
    let container = label(Kind::Container, "L0396-1");
    let typed = format!("]Q1{}", container.text());
    assert_eq!(read(&typed), Ok(Read::Label(container)));
    assert_eq!(read("]Q1"), Err(Unreadable::Nothing));
}

/// Each refusal tells what was read and what to do.
#[test]
fn a_refusal_says_what_was_read_and_what_to_do() {
    let told = |typed: &str| read(typed).expect_err(typed).to_string();
    assert!(told("  ").starts_with("Nothing was read. Scan a label"));
    assert!(told("MYQCL0396").contains("'MYQCL0396' is a label that was not read whole"));
    assert!(told("MYQCL0396").contains("Scan again, or type the code"));
    assert!(
        told("mzqcl0396").contains("'mzqcl0396' is a label, but this device takes the scanner")
    );
    assert!(told("(01)0400").contains("'(01)0400' is no label of ours and no code"));
    assert!(told(&"7".repeat(41)).contains("at most 40 letters"));
    let long = told(&"7".repeat(900));
    assert!(
        long.starts_with("900 characters were read") && long.len() < 400,
        "{long}"
    );
}

/// A label of a later version's kind is no damaged one.
#[test]
fn an_unknown_kind_is_told() {
    let body = format!("{PREFIX}FF17");
    let text = format!("{body}{}", check::characters(&body));
    let fault = read(&text).expect_err("no kind of ours");
    assert!(
        fault
            .to_string()
            .contains("of the kind 'F', which this version"),
        "{fault}"
    );
}

/// A text with fitting check characters is still no label if its code is none.
#[test]
fn a_broken_escape_is_refused() {
    for code in ["", "L1Z", "L1ZQ", &"ZD".repeat(41)] {
        let body = format!("{PREFIX}L{code}");
        let text = format!("{body}{}", check::characters(&body));
        assert!(read(&text).is_err(), "{text}");
    }
}

/// What the keys of a US keyboard type under another layout, without and with Shift; letters that are
/// not named stay (layouts from memory).
fn through(layout: &str, text: &str) -> String {
    let from_to = match layout {
        "QWERTZ" => ("YZ", "ZY"),
        "AZERTY" => ("QWAZM1234567890", "AZQW?1234567890"),
        "AZERTY, figures without Shift" => ("QWAZM1234567890", "AZQW,&é\"'(-è_çà"),
        "Dvorak" => ("QWERTYUIOPSDFGHJKLZXCVBN", "\"<>PYFGCRLOEUIDHTN:QJKXB"),
        "Colemak" => ("ERTYUIOPSDFGJKLN", "FPGJLUY:RSTDNEIK"),
        other => panic!("no layout {other}"),
    };
    let (from, to): (Vec<char>, Vec<char>) =
        (from_to.0.chars().collect(), from_to.1.chars().collect());
    assert_eq!(from.len(), to.len(), "{layout}");
    let moved = |c: char| from.iter().position(|f| *f == c).map_or(c, |i| to[i]);
    text.chars().map(moved).collect()
}

const LETTERS: &str = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";

fn a_kind() -> impl Strategy<Value = Kind> {
    prop::sample::select(Kind::ALL.to_vec())
}

proptest! {
    /// Any code comes back from its label, in capitals, whether or not Caps Lock was on.
    #[test]
    fn every_label_is_read_again(kind in a_kind(), code in "[-A-Za-z0-9./+]{1,40}") {
        let printed = label(kind, &code);
        prop_assert_eq!(printed.code(), code.to_uppercase());
        prop_assert!(printed.text().len() <= TEXT_MAX);
        prop_assert_eq!(whole_label(&printed.text()), Some(printed.clone()));
        prop_assert_eq!(whole_label(&printed.text().to_lowercase()), Some(printed));
    }

    /// One wrong character anywhere: never a label, whichever character it is.
    #[test]
    fn any_wrong_character_is_found(kind in a_kind(), code in "[-A-Z0-9./+]{1,12}") {
        let right = label(kind, &code).text();
        for at in 0..right.len() {
            for wrong in LETTERS.chars().filter(|c| right.chars().nth(at) != Some(*c)) {
                let mut typed = right.clone();
                typed.replace_range(at..=at, &wrong.to_string());
                prop_assert_eq!(whole_label(&typed), None, "{} for {}", typed, right);
            }
        }
    }

    /// Two neighbours swapped, check characters included: never a label.
    #[test]
    fn any_swap_of_neighbours_is_found(kind in a_kind(), code in "[-A-Z0-9./+]{1,40}") {
        let right = label(kind, &code).text();
        for at in 1..right.len() {
            let mut typed: Vec<char> = right.chars().collect();
            typed.swap(at - 1, at);
            let typed: String = typed.into_iter().collect();
            prop_assert!(typed == right || whole_label(&typed).is_none(), "{typed} for {right}");
        }
    }

    /// Through another keyboard layout it is known as a label and refused, whatever its code.
    #[test]
    fn another_layout_is_told(kind in a_kind(), code in "[-A-Z0-9./+]{1,40}") {
        let right = label(kind, &code).text();
        for layout in ["QWERTZ", "AZERTY", "AZERTY, figures without Shift", "Dvorak", "Colemak"] {
            let typed = through(layout, &right);
            let fault = read(&typed);
            prop_assert!(matches!(fault, Err(Unreadable::Layout { .. })), "{layout}: {fault:?}");
        }
    }

    /// Whatever comes, reading it ends in an answer; a code is given back as it was typed.
    #[test]
    fn anything_may_be_typed(typed in "\\PC{0,100}") {
        if let Ok(Read::Code(code)) = read(&typed) {
            prop_assert!(typed.contains(&code));
        }
    }
}
