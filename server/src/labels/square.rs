//! The square on a label: a label's text as a QR code (ISO/IEC 18004), drawn from its modules.

use mendpost_core::label::Label;
use qrcode::{Color, EcLevel, QrCode};

use crate::error::AppError;

/// How much may be lost of a square before it cannot be read: about a quarter. Powder, gloves and
/// scratches take their share of every label.
const CORRECTION: EcLevel = EcLevel::Q;

/// The light modules that a reader needs on every side, by the standard (from memory).
const QUIET: usize = 4;

/// A square as a template draws it: `labels/square.html` has the macro.
#[derive(Debug, Clone)]
pub struct Square {
    /// Modules along one side, the quiet zone counted.
    pub side: usize,
    /// The dark modules as the path of an SVG, one module being one unit.
    pub path: String,
    /// What it stands for, in words, as 'Label of container L0396-1'.
    pub says: String,
}

impl Square {
    /// The square of a label.
    ///
    /// # Errors
    /// None in practice: a label's text is shorter than what a square holds.
    pub fn of(label: &Label) -> Result<Square, AppError> {
        let code = QrCode::with_error_correction_level(label.text(), CORRECTION);
        let code = code.map_err(|fault| AppError::internal(fault.to_string()))?;
        let width = code.width();
        Ok(Square {
            side: width + 2 * QUIET,
            path: path(&code.into_colors(), width),
            says: format!("Label of {} {}", label.kind(), label.code()),
        })
    }
}

/// Each run of dark modules in a row as one rectangle, so that no seams show between them.
fn path(modules: &[Color], width: usize) -> String {
    let mut path = String::new();
    for (y, row) in modules.chunks(width).enumerate() {
        let mut x = 0;
        for run in row.chunk_by(|a, b| a == b) {
            if run.contains(&Color::Dark) {
                let length = run.len();
                path += &format!("M{} {}h{length}v1h-{length}z", x + QUIET, y + QUIET);
            }
            x += run.len();
        }
    }
    path
}

#[cfg(test)]
mod tests {
    use super::*;
    use mendpost_core::label::Kind;

    /// Three dark modules, two light ones and a dark one in a first row: two rectangles, four modules in.
    #[test]
    fn runs_of_dark_modules_are_rectangles() {
        let (dark, light) = (Color::Dark, Color::Light);
        let rows = [[dark, dark, light], [light, light, dark]].concat();
        assert_eq!(path(&rows, 3), "M4 4h2v1h-2zM6 5h1v1h-1z");
    }

    /// The text of a container's label has room in the smallest square there is, of 21 modules, and
    /// four are light on each side.
    #[test]
    fn a_container_takes_the_smallest_square() {
        let label = Label::new(Kind::Container, "L0396-1").expect("a code");
        let square = Square::of(&label).expect("a square");
        assert_eq!(square.side, 29);
        assert_eq!(square.says, "Label of container L0396-1");
    }

    /// Even the longest code makes a square.
    #[test]
    fn the_longest_code_has_room() {
        let label = Label::new(Kind::Lot, &"-".repeat(40)).expect("a code");
        assert!(Square::of(&label).is_ok_and(|square| square.side < 60));
    }
}
