use std::collections::BTreeMap;

use askama::Template;
use mendpost_core::journal::Hash;
use mendpost_core::journal::code::HeadCode;
use sqlx::SqlitePool;

use super::copy::hash_at;
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
    /// The code of its last entry, where that is in our journal.
    code: String,
    why: &'static str,
    size: String,
}

/// Copies shown of each folder.
const ROWS: usize = 30;

impl BackupPage {
    pub fn new(
        page: Layout,
        standing: &Standing,
        heads: &BTreeMap<i64, Hash>,
        may_copy: bool,
    ) -> BackupPage {
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
            places: standing
                .places
                .iter()
                .map(|p| rows(&page, p, heads))
                .collect(),
            page,
        }
    }
}

/// The hashes of the last entries of the copies that are shown, as the journal has them.
pub async fn heads(
    read: &SqlitePool,
    standing: &Standing,
) -> Result<BTreeMap<i64, Hash>, sqlx::Error> {
    let mut heads = BTreeMap::new();
    for copy in standing.places.iter().flat_map(shown) {
        let sequence = copy.name.sequence;
        if let Some(hash) = hash_at(read, sequence).await? {
            heads.insert(sequence, hash);
        }
    }
    Ok(heads)
}

fn copies(place: &Place) -> &[Shelved] {
    let shelf = place.shelf.as_ref();
    shelf.map_or(&[][..], |shelf| shelf.copies.as_slice())
}

/// The copies that have a row, the newest first.
fn shown(place: &Place) -> impl Iterator<Item = &Shelved> {
    copies(place).iter().rev().take(ROWS)
}

fn code(copy: &Shelved, heads: &BTreeMap<i64, Hash>) -> String {
    let sequence = copy.name.sequence;
    let head = heads.get(&sequence);
    let head = head.filter(|head| copy.name.is_at(sequence, **head));
    head.map_or_else(String::new, |head| {
        HeadCode::new(sequence, *head).to_string()
    })
}

fn rows(page: &Layout, place: &Place, heads: &BTreeMap<i64, Hash>) -> PlaceRows {
    let count = copies(place).len();
    PlaceRows {
        name: place.name.clone(),
        caption: caption(place, count),
        foreign: place.shelf.as_ref().map_or(0, |shelf| shelf.foreign),
        rows: shown(place)
            .map(|copy| CopyRow {
                code: code(copy, heads),
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
        more: count.saturating_sub(ROWS),
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
