use askama::Template;
use mendpost_core::journal::code::HeadCode;

use super::keep::RULE;
use super::shelf::Shelved;
use super::standing::{Place, Standing};
use crate::page::{Layout, Notice, whole};

/// The copies, folder by folder, newest first.
#[derive(Template)]
#[template(path = "backup/show.html")]
pub struct BackupPage {
    page: Layout,
    answer: &'static str,
    /// How the copies stand.
    line: String,
    notices: Vec<Notice>,
    may_copy: bool,
    rule: &'static str,
    places: Vec<PlaceRows>,
}

struct PlaceRows {
    name: String,
    /// How many, and what is to be known of the folder.
    caption: String,
    /// Copies that are not of this journal.
    foreign: usize,
    rows: Vec<CopyRow>,
    more: usize,
}

struct CopyRow {
    file: String,
    made: String,
    age: String,
    sequence: String,
    /// The code of its last entry.
    code: String,
    why: &'static str,
    size: String,
}

/// Copies shown of each folder.
const ROWS: usize = 30;

impl BackupPage {
    pub fn new(page: Layout, standing: &Standing, may_copy: bool) -> BackupPage {
        let notices = standing.notices(&page);
        BackupPage {
            answer: match (notices.is_empty(), standing.holds_all()) {
                (false, _) => "Put the copies right.",
                (true, true) => "Go on: every change is in a copy.",
                (true, false) => "Go on: the next copy comes by itself.",
            },
            line: standing.line(&page),
            notices,
            may_copy,
            rule: RULE,
            places: standing.places.iter().map(|p| rows(&page, p)).collect(),
            page,
        }
    }
}

fn code(copy: &Shelved) -> String {
    let code = copy
        .head
        .map(|head| HeadCode::new(copy.name.sequence, head));
    code.map_or_else(String::new, |code| code.to_string())
}

fn rows(page: &Layout, place: &Place) -> PlaceRows {
    let copies = place
        .shelf
        .as_ref()
        .map_or(&[][..], |shelf| shelf.copies.as_slice());
    PlaceRows {
        name: place.name.clone(),
        caption: caption(place, copies.len()),
        foreign: place.shelf.as_ref().map_or(0, |shelf| shelf.foreign),
        rows: copies
            .iter()
            .rev()
            .take(ROWS)
            .map(|copy| CopyRow {
                code: code(copy),
                file: copy.name.to_string(),
                made: page.moment(&copy.name.at),
                age: page.age(&copy.name.at),
                sequence: whole(copy.name.sequence),
                why: match copy.name.why {
                    super::name::Why::Asked => "asked for",
                    super::name::Why::Timed => "by the clock",
                    super::name::Why::Update => "before an update",
                },
                size: size(copy.bytes),
            })
            .collect(),
        more: copies.len().saturating_sub(ROWS),
    }
}

fn caption(place: &Place, count: usize) -> String {
    let count = match count {
        1 => "1 copy".to_owned(),
        many => format!("{many} copies"),
    };
    let disk = if place.same_disk {
        ", on the same disk as the data"
    } else {
        ""
    };
    count + disk
}

/// Rounded up, in kilobytes of 1000 bytes.
fn size(bytes: u64) -> String {
    let kilobytes = i64::try_from(bytes.div_ceil(1000)).unwrap_or(i64::MAX);
    format!("{} kB", whole(kilobytes))
}
