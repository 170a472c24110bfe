//! What the code on a label says, and what to make of what a scanner or a person types.
//!
//! A scanner is a keyboard: what it types may come in the wrong case or through the wrong keyboard
//! layout. So a label's text is letters and figures only, and is read as what it was or refused: in the
//! wrong case, through another layout, with a wrong character or with two neighbours swapped it never
//! passes for another label. Of faults that come at random one in 1271 would.
//!
//! The text is [`PREFIX`], the letter of the kind, the code that people read, and two check characters
//! by ISO/IEC 7064, MOD 1271-36 (`label/check.rs`): container L0396-1 is `MYQCL0396ZD176`. In the code,
//! 'Z' and another letter stand for each character outside of 0-9 and A-Z, and for 'Z' itself, so that
//! the check characters are over 0-9 and A-Z alone; small letters become capitals, so a code is looked
//! up without regard to case.

pub(crate) mod check;
#[cfg(test)]
mod tests;

use std::fmt;

use crate::code::{CODE_MAX, InvalidCode, checked};

/// What every label of ours begins with.
///
/// Its letters are chosen for where they lie: on keyboards of other layouts than the scanner's at least
/// one of them types something else, so that such a read is known as one. See [`LAYOUTS`].
pub const PREFIX: &str = "MYQ";

/// What [`PREFIX`] becomes where the device's keyboard has another layout than the US one as which
/// scanners are set up when new: what is typed, in capitals, and the layout (layouts from memory).
pub const LAYOUTS: [(&str, &str); 6] = [
    ("MZQ", "QWERTZ"),
    (",YA", "AZERTY"),
    ("?YA", "AZERTY"),
    ("MF'", "Dvorak"),
    ("MF\"", "Dvorak"),
    ("MJQ", "Colemak"),
];

/// Begins what stands for a character outside of 0-9 and A-Z.
const ESCAPE: char = 'Z';

/// The characters that are escaped, each with the letter that stands for it after [`ESCAPE`].
const ESCAPED: [(char, char); 5] = [('-', 'D'), ('.', 'P'), ('/', 'S'), ('+', 'A'), ('Z', 'Z')];

/// The longest text of a label: prefix, kind, a code with every character escaped, check characters.
const TEXT_MAX: usize = PREFIX.len() + 1 + 2 * CODE_MAX + check::LENGTH;

/// What a label stands on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// A container of powder.
    Container,
    /// A lot of powder: its shelf, its papers.
    Lot,
    /// A request: the broken part and what is built for it.
    Request,
    /// A part that was released; the code is its request's.
    ReleaseTag,
}

impl Kind {
    /// All kinds. One that joins takes a letter of its own, for good.
    pub const ALL: [Kind; 4] = [Kind::Container, Kind::Lot, Kind::Request, Kind::ReleaseTag];

    /// The letter by which a label's text tells its kind.
    #[must_use]
    pub fn letter(self) -> char {
        match self {
            Kind::Container => 'C',
            Kind::Lot => 'L',
            Kind::Request => 'R',
            Kind::ReleaseTag => 'T',
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Kind::Container => "container",
            Kind::Lot => "lot",
            Kind::Request => "request",
            Kind::ReleaseTag => "release tag of",
        })
    }
}

/// One label: what it stands on, and which.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    kind: Kind,
    code: String,
}

impl Label {
    /// A label for what has this code. Of letters the label keeps the capitals only.
    ///
    /// # Errors
    /// What is wrong with the code.
    pub fn new(kind: Kind, code: &str) -> Result<Label, InvalidCode> {
        let code = checked(code)?.to_ascii_uppercase();
        Ok(Label { kind, code })
    }

    /// What it stands on.
    #[must_use]
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// The code in capitals, as it is printed in large letters.
    #[must_use]
    pub fn code(&self) -> &str {
        &self.code
    }

    /// The text that its square says: capitals and figures only, at most 86 of them.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = format!("{PREFIX}{}", self.kind.letter());
        for character in self.code.chars() {
            match ESCAPED.iter().find(|(plain, _)| *plain == character) {
                Some((_, letter)) => text.extend([ESCAPE, *letter]),
                None => text.push(character),
            }
        }
        let check = check::characters(&text);
        text + &check
    }
}

/// What was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Read {
    /// A label, whole.
    Label(Label),
    /// A code as people read it, typed by hand or from a label of somebody else's: of which kind it is
    /// must be looked up.
    Code(String),
}

/// Reads what a scanner or a person typed.
///
/// A label's text may have the symbology identifier before it that scanners can be set to send (`]`, a
/// letter and a figure; ISO/IEC 15424, from memory).
///
/// # Errors
/// What was read, why it is not taken, and what to do.
pub fn read(typed: &str) -> Result<Read, Unreadable> {
    let text = without_identifier(typed.trim());
    let length = text.chars().count();
    if length == 0 {
        return Err(Unreadable::Nothing);
    }
    if length > TEXT_MAX {
        let given = text.chars().take(TEXT_MAX).collect();
        return Err(Unreadable::TooLong { given, length });
    }
    let given = text.to_owned();
    let capitals = text.to_uppercase();
    if capitals.starts_with(PREFIX) {
        return whole(&capitals, given).map(Read::Label);
    }
    let layout = LAYOUTS
        .iter()
        .find(|(begin, _)| capitals.starts_with(begin));
    if let Some((_, layout)) = layout {
        return Err(Unreadable::Layout { given, layout });
    }
    match checked(text) {
        Ok(code) => Ok(Read::Code(code)),
        Err(_) => Err(Unreadable::NoCode { given }),
    }
}

fn without_identifier(text: &str) -> &str {
    match text.as_bytes() {
        [b']', letter, figure, ..] if letter.is_ascii_alphabetic() && figure.is_ascii_digit() => {
            &text[3..]
        }
        _ => text,
    }
}

/// The label of a text that begins as one of ours does.
fn whole(text: &str, given: String) -> Result<Label, Unreadable> {
    let damaged = Unreadable::Damaged { given };
    let Some(body) = check::checked(text) else {
        return Err(damaged);
    };
    let mut rest = body.chars().skip(PREFIX.len());
    let Some(letter) = rest.next() else {
        return Err(damaged);
    };
    let Some(kind) = Kind::ALL.into_iter().find(|k| k.letter() == letter) else {
        let given = text.to_owned();
        return Err(Unreadable::Kind { given, letter });
    };
    let mut code = String::new();
    while let Some(character) = rest.next() {
        let plain = if character == ESCAPE {
            let letter = rest.next();
            let found = ESCAPED.iter().find(|(_, stands)| Some(*stands) == letter);
            found.map(|(plain, _)| *plain)
        } else {
            Some(character)
        };
        match plain {
            Some(plain) => code.push(plain),
            None => return Err(damaged),
        }
    }
    Label::new(kind, &code).map_err(|_| damaged)
}

/// Why what was read opens nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unreadable {
    /// Nothing, or spaces only.
    #[error("Nothing was read. Scan a label, or type the code that stands on it in large letters.")]
    Nothing,
    /// More than any label of ours says.
    #[error(
        "{length} characters were read, from '{given}' on; a label of ours says at most {TEXT_MAX}. \
         Scan one label at a time, or type the code that stands on it in large letters."
    )]
    TooLong {
        /// Where it begins.
        given: String,
        /// How many characters there were.
        length: usize,
    },
    /// One of our labels, but not as it was printed.
    #[error(
        "'{given}' is a label that was not read whole: its check characters do not fit. Scan again, or \
         type the code that stands on it in large letters."
    )]
    Damaged {
        /// The text as read.
        given: String,
    },
    /// One of our labels, through the wrong keyboard layout.
    #[error(
        "'{given}' is a label, but this device takes the scanner for a {layout} keyboard. Type the code \
         that stands on the label in large letters, and have scanner and device set to one layout."
    )]
    Layout {
        /// The text as read.
        given: String,
        /// What the layout is called.
        layout: &'static str,
    },
    /// A label of a kind that a later version printed.
    #[error(
        "'{given}' is a label of the kind '{letter}', which this version does not know. Type the code \
         that stands on it in large letters."
    )]
    Kind {
        /// The text as read.
        given: String,
        /// The letter of its kind.
        letter: char,
    },
    /// Neither a label of ours nor a code.
    #[error(
        "'{given}' is no label of ours and no code: a code has at most {CODE_MAX} letters, figures, '-', \
         '.', '/' and '+'. Scan a label that was printed here, or type the code that stands on it in \
         large letters."
    )]
    NoCode {
        /// The text as read.
        given: String,
    },
}
