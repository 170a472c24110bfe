//! A cell that a spreadsheet program would work out as a formula is written with an apostrophe before it,
//! and read without.
//!
//! OWASP Application Security Verification Standard 5.0, 1.2.10: a field that begins with `=`, `+`, `-`,
//! `@` or tab is guarded with a single quote. Carriage return, line feed and the full-width forms of the
//! signs are added after OWASP's page 'CSV Injection' (from memory).

/// The cell as it is written.
pub(crate) fn put_on(text: &str) -> String {
    match is_formula(text) {
        true => format!("'{text}"),
        false => text.to_owned(),
    }
}

/// The cell as it was before it was written.
pub(crate) fn take_off(text: &str) -> &str {
    match text.strip_prefix('\'') {
        Some(bare) if is_formula(bare) => bare,
        _ => text,
    }
}

/// Apostrophes before the sign count too: what begins so was guarded already, or must not be taken for it.
fn is_formula(text: &str) -> bool {
    text.trim_start_matches('\'').starts_with(SIGNS)
}

const SIGNS: [char; 11] = [
    '=', '+', '-', '@', '\t', '\r', '\n', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}',
];

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Examples of such formulas, and names that merely look alike.
    #[test]
    fn formulas_are_guarded_and_names_are_left_alone() {
        for (plain, written) in [
            ("=1+2\";=1+2", "'=1+2\";=1+2"),
            (
                "@SUM(1+1)*cmd|' /C calc'!A0",
                "'@SUM(1+1)*cmd|' /C calc'!A0",
            ),
            ("-5", "'-5"),
            ("+-/A", "'+-/A"),
            ("'=A1", "''=A1"),
            ("feed pump 1", "feed pump 1"),
            ("'t Hooft", "'t Hooft"),
            ("a=b", "a=b"),
            ("", ""),
        ] {
            assert_eq!(put_on(plain), written);
            assert_eq!(take_off(written), plain);
        }
    }

    proptest! {
        /// Whatever a cell holds comes back, and no written cell begins with a sign.
        #[test]
        fn what_is_put_on_comes_off(text in "['=+@\\-\t a-c]{0,8}|\\PC{0,20}") {
            let written = put_on(&text);
            prop_assert_eq!(take_off(&written), text.as_str());
            prop_assert!(!written.starts_with(SIGNS));
        }
    }
}
