//! One label laid out: the code across the top in large letters, the square below it at the left, and
//! what it stands on beside that. All lengths in millimetres.

use mendpost_core::label::Label;

use super::square::Square;
use crate::drawing::width;
use crate::error::AppError;

/// Our own size: two labels lie side by side and five above each other on A4 and on Letter alike.
pub const WIDTH: f64 = 90.0;
pub const HEIGHT: f64 = 50.0;

const MARGIN: f64 = 3.0;
/// How high the code stands: its line, or two where it is long.
const HEAD: f64 = 17.0;
/// The side of the square with its quiet zone.
const SQUARE: f64 = 27.0;
const GAP: f64 = 2.0;
/// Below this a code goes on two lines.
const CODE_LEAST: f64 = 9.0;
/// Letters 3.5 mm high can be read at 600 mm (MIL-STD-1472, from memory); capitals of this font are 0.7 of
/// its size.
const TEXT: f64 = 5.0;
/// Where a text is long, it is set smaller before it is cut.
const SIZES: [f64; 3] = [TEXT, 4.2, 3.6];
const LINES: usize = 2;
/// From one base line to the next.
const LINE: f64 = 5.4;

/// A label as a template draws it: `labels/label.html` has the macro.
#[derive(Debug, Clone)]
pub struct Face {
    pub square: Square,
    pub texts: Vec<Text>,
    /// Where this label stands alone.
    pub alone: String,
}

/// A line of a label, from its base line's left end.
#[derive(Debug, Clone, PartialEq)]
pub struct Text {
    pub x: f64,
    pub y: f64,
    pub size: f64,
    pub bold: bool,
    pub text: String,
}

/// What stands beside the square, one under the other.
#[derive(Debug, Clone)]
pub struct Beside {
    text: String,
    bold: bool,
    /// Where it is long it is set smaller and on two lines; else its end is cut off.
    wraps: bool,
}

impl Beside {
    /// What it is called.
    pub fn name(text: &str) -> Beside {
        Beside::new(text, true, true)
    }

    /// More of what it is.
    pub fn more(text: &str) -> Beside {
        Beside::new(text, false, true)
    }

    /// A fact on one line.
    pub fn line(text: &str, bold: bool) -> Beside {
        Beside::new(text, bold, false)
    }

    fn new(text: &str, bold: bool, wraps: bool) -> Beside {
        Beside {
            text: text.to_owned(),
            bold,
            wraps,
        }
    }

    /// Its size and its lines.
    fn set(&self, room: f64) -> (f64, Vec<String>) {
        if self.wraps {
            set(&self.text, self.bold, room)
        } else {
            (TEXT, vec![cut(&self.text, TEXT, self.bold, room)])
        }
    }
}

impl Face {
    pub fn new(label: &Label, beside: &[Beside], alone: String) -> Result<Face, AppError> {
        let mut texts = head(label.code());
        let x = MARGIN + SQUARE + GAP;
        let room = WIDTH - MARGIN - x;
        let mut y = MARGIN + HEAD + TEXT;
        for part in beside {
            let (size, lines) = part.set(room);
            for text in lines {
                texts.push(Text {
                    x,
                    y,
                    size,
                    bold: part.bold,
                    text,
                });
                y += LINE;
            }
        }
        Ok(Face {
            square: Square::of(label)?,
            texts,
            alone,
        })
    }

    /// Where the square's upper left corner lies, and how large it is.
    pub fn square_at(&self) -> (f64, f64, f64) {
        (MARGIN, HEIGHT - MARGIN - SQUARE, SQUARE)
    }
}

/// The code as large as it goes, on one line or on two.
fn head(code: &str) -> Vec<Text> {
    let room = WIDTH - 2.0 * MARGIN;
    let fitting = |text: &str, most: f64| (room / width(text, 1.0, true)).min(most);
    let line = |text: &str, y: f64, size: f64| Text {
        x: MARGIN,
        y,
        size,
        bold: true,
        text: text.to_owned(),
    };
    let size = fitting(code, HEAD);
    if size >= CODE_LEAST {
        return vec![line(code, MARGIN + HEAD - 3.5, size)];
    }
    let (first, second) = code.split_at(code.len().div_ceil(2));
    let size = fitting(first, HEAD / 2.0).min(fitting(second, HEAD / 2.0));
    let base = MARGIN + HEAD / 2.0;
    vec![
        line(first, base - 1.5, size),
        line(second, base + HEAD / 2.0 - 2.0, size),
    ]
}

/// The largest size at which a text has room, with its lines; at the smallest the rest is cut off.
fn set(text: &str, bold: bool, room: f64) -> (f64, Vec<String>) {
    let fits = |line: &String, size: f64| width(line, size, bold) <= room;
    let set = SIZES.map(|size| (size, wrapped(text, size, bold, room)));
    let whole = set
        .iter()
        .find(|(size, lines)| lines.len() <= LINES && lines.iter().all(|line| fits(line, *size)));
    if let Some((size, lines)) = whole {
        return (*size, lines.clone());
    }
    let [.., (size, mut lines)] = set;
    let rest = lines.split_off(lines.len().min(LINES - 1)).join(" ");
    lines.push(rest);
    let lines = lines.iter().map(|line| cut(line, size, bold, room));
    (size, lines.collect())
}

/// A text in lines that are no wider than the room, as far as its words allow.
fn wrapped(text: &str, size: f64, bold: bool, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if width(&format!("{line} {word}"), size, bold) <= room => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// As many characters of a text as have room, with '…' for the rest.
fn cut(text: &str, size: f64, bold: bool, room: f64) -> String {
    if width(text, size, bold) <= room {
        return text.to_owned();
    }
    let mut short = text.to_owned();
    while !short.is_empty() && width(&format!("{short}…"), size, bold) > room {
        short.pop();
    }
    format!("{}…", short.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;
    use mendpost_core::label::Kind;

    fn face(code: &str, beside: &[Beside]) -> Face {
        let label = Label::new(Kind::Container, code).expect("a code");
        Face::new(&label, beside, String::new()).expect("a label")
    }

    fn inside(face: &Face) -> bool {
        face.texts.iter().all(|text| {
            let end = text.x + width(&text.text, text.size, text.bold);
            end <= WIDTH - MARGIN + 0.01 && text.y <= HEIGHT - MARGIN + 0.01
        })
    }

    /// Seven characters of 0.65 em and less fill the width; the letters are about 12 mm high.
    #[test]
    fn the_code_stands_in_very_large_letters() {
        let face = face("L0396-1", &[Beside::name("Al 6061")]);
        assert_eq!(face.texts[0].text, "L0396-1");
        assert!(face.texts[0].size > 16.0, "{:?}", face.texts[0]);
        assert!(inside(&face));
    }

    /// Nothing runs over the edge, however long codes and names are.
    #[test]
    fn everything_stays_on_the_label() {
        let long = "stainless steel of the low-carbon grade, gas-atomised, 15 to 45 micrometres, for the pump";
        let beside = [
            Beside::name(long),
            Beside::more(&"W".repeat(80)),
            Beside::line(long, true),
        ];
        let face = face(&"W".repeat(40), &beside);
        assert!(inside(&face), "{:#?}", face.texts);
        assert_eq!(face.texts[0].text.len() + face.texts[1].text.len(), 40);
        let cut_off = face.texts.iter().filter(|text| text.text.ends_with('…'));
        assert_eq!(cut_off.count(), 3);
    }

    /// A name that has room on two lines is not cut.
    #[test]
    fn a_name_is_wrapped_before_it_is_set_smaller() {
        let face = face("R12", &[Beside::name("Generating set 3 of the harbour")]);
        let name: Vec<&str> = face.texts[1..].iter().map(|t| t.text.as_str()).collect();
        assert_eq!(name, ["Generating set 3 of", "the harbour"]);
        assert!(face.texts[1..].iter().all(|t| (t.size - TEXT).abs() < 1e-9));
    }
}
