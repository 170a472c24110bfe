//! What was journaled in a shift, gathered by what it is about.

use sqlx::SqliteConnection;

use crate::journal::{about, words};
use crate::page::Layout;

/// Entries of one matter.
pub(super) struct Group {
    pub name: &'static str,
    pub rows: Vec<Row>,
    /// How many more there are, earlier in the shift.
    pub more: usize,
}

pub(super) struct Row {
    pub at: String,
    pub who: String,
    pub what: String,
    pub sequence: i64,
}

/// Rows of one matter that are shown.
const ROWS: usize = 8;

/// The matters, in the order in which a shift is told.
const MATTERS: [&str; 9] = [
    "Work",
    "Powder drawn and returned",
    "Counts",
    "Holds and releases",
    "Readings",
    "Line-ups",
    "Requests in and out",
    "Deliveries and load lists",
    "Everything else",
];

/// Which matter an entry is about, by its kind.
fn matter(kind: &str) -> usize {
    let head = kind.split('.').next().unwrap_or(kind);
    match (head, kind) {
        ("count", _) | (_, "container.counted") => 2,
        (_, "request.held" | "request.judged" | "request.part-released") | ("lot", _) => 3,
        (_, "request.work-done" | "request.coupon" | "request.coupon-tested")
        | ("build" | "furnace", _) => 0,
        (_, "powder.drawn" | "powder.poured-back" | "powder.taken-back" | "container.waived")
        | ("feeder", _) => 1,
        ("reading" | "gauge" | "nozzle", _) => 4,
        ("lineup" | "keep-back", _) => 5,
        ("request" | "answer" | "interim" | "asset", _) => 6,
        ("delivery" | "receipt" | "load-list" | "trip" | "bank", _) => 7,
        _ => 8,
    }
}

/// The entries after one and up to another, by matter, the newest first; what the handover itself writes is left
/// out.
pub(super) async fn gathered(
    connection: &mut SqliteConnection,
    (after, up_to): (i64, i64),
    page: &Layout,
) -> Result<Vec<Group>, sqlx::Error> {
    let entries = sqlx::query!(
        r#"select j.sequence as "sequence!: i64", j.time as "time!: i64", j.kind, j.subject_kind, j.subject_id,
             coalesce(person.name, 'Mendpost itself') as "by!: String"
           from journal j
           left join person on lower(hex(person.id)) = replace(j.actor, '-', '')
           where j.sequence > ? and j.sequence <= ? and j.subject_kind not in ('shift', 'handover', 'carried')
           order by j.sequence desc
           limit ?"#,
        after,
        up_to,
        MOST
    )
    .fetch_all(connection)
    .await?;
    let mut groups = MATTERS.map(|name| Group {
        name,
        rows: Vec::new(),
        more: 0,
    });
    for entry in entries {
        let group = &mut groups[matter(&entry.kind)];
        if group.rows.len() == ROWS {
            group.more += 1;
            continue;
        }
        group.rows.push(Row {
            at: page.clock(&entry.time),
            who: entry.by,
            what: said(&entry.kind, &entry.subject_kind, &entry.subject_id),
            sequence: entry.sequence,
        });
    }
    Ok(groups
        .into_iter()
        .filter(|it| !it.rows.is_empty())
        .collect())
}

/// Entries that are looked at: far more than a busy shift writes.
const MOST: i64 = 5_000;

/// 'lot released L0408': the subject's sort is not said twice.
fn said(kind: &str, subject_kind: &str, subject_id: &str) -> String {
    let what = words(kind);
    let about = about(subject_kind, subject_id);
    let sort = words(subject_kind);
    match about.strip_prefix(&sort) {
        Some(id) if what.starts_with(&sort) => format!("{what} {}", id.trim()),
        _ => format!("{what}, {about}"),
    }
    .trim()
    .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_kind_has_its_matter() {
        for (kind, name) in [
            ("build.finished", "Work"),
            ("request.work-done", "Work"),
            ("powder.drawn", "Powder drawn and returned"),
            ("count.posted", "Counts"),
            ("lot.held", "Holds and releases"),
            ("request.held", "Holds and releases"),
            ("gauge.read", "Readings"),
            ("lineup.accepted", "Line-ups"),
            ("request.filed", "Requests in and out"),
            ("receipt.entered", "Deliveries and load lists"),
            ("site.changed", "Everything else"),
        ] {
            assert_eq!(MATTERS[matter(kind)], name, "{kind}");
        }
    }

    #[test]
    fn what_happened_is_said_once() {
        assert_eq!(said("lot.released", "lot", "L0408"), "lot released L0408");
        assert_eq!(said("gauge.read", "cell", "1"), "gauge read, cell 1");
    }
}
