//! Line-ups as they were stored, by the sums of their texts, and which ones the crew accepted.

use async_trait::async_trait;
use mendpost_core::journal::Entry;
use serde_json::{Value, json};
use sqlx::SqliteConnection;

use super::rows::{Found, Row, Table, of_entry, told};
use super::{Fault, Part};
use crate::lineup::queries::Sums;

pub(super) struct LineUps {
    line_ups: Table,
    accepted: Table,
}

/// The columns that an entry tells by their sums, with the names that it has for these.
const SUMS: [(&str, &str); 3] = [
    ("problem", "/problem_sha256"),
    ("plan", "/plan_sha256"),
    ("line_up", "/line_up_sha256"),
];

impl LineUps {
    pub fn new() -> LineUps {
        const LINE_UP: &[&str] = &[
            "number",
            "now_ms",
            "computed_ms",
            "search_ms",
            "iterations",
            "problem",
            "plan",
            "line_up",
            "journal_sequence",
            "own_by",
        ];
        const ACCEPTED: &[&str] = &["sequence", "lineup_id", "accepted_ms", "accepted_by"];
        LineUps {
            line_ups: Table::new("lineup", LINE_UP),
            accepted: Table::new("lineup_accepted", ACCEPTED),
        }
    }

    fn stored(&mut self, entry: &Entry) {
        let names = [
            ("number", "/number"),
            ("now_ms", "/now_ms"),
            ("search_ms", "/search_ms"),
            ("iterations", "/iterations"),
            ("journal_sequence", "/knew"),
        ];
        let mut row = told(&entry.content, names.into_iter().chain(SUMS));
        row.insert("computed_ms".to_owned(), json!(entry.time));
        match (entry.kind.as_str(), entry.content.get("by")) {
            ("lineup.own", Some(by)) => row.insert("own_by".to_owned(), by.clone()),
            ("lineup.own", None) => None,
            _ => row.insert("own_by".to_owned(), Value::Null),
        };
        self.line_ups
            .expect(key(&entry.subject.id), entry.sequence, row);
    }

    fn accept(&mut self, entry: &Entry) -> Result<(), Fault> {
        let (sequence, key) = (entry.sequence, key(&entry.subject.id));
        let Some(line_up) = self.line_ups.told(&key) else {
            return Err(Fault::Senseless {
                sequence,
                fault: format!("{key} is accepted, of which no entry before tells"),
            });
        };
        // What was accepted is what was stored; of one stored by an earlier version this alone tells the sums.
        for (column, value) in told(&entry.content, SUMS) {
            let stored = line_up.entry(&column).or_insert_with(|| value.clone());
            if *stored != value {
                return Err(Fault::Senseless {
                    sequence,
                    fault: format!(
                        "the {column} of {key} that was accepted has the sum {value}, and the one stored {stored}"
                    ),
                });
            }
        }
        let row = json!({
            "sequence": sequence,
            "lineup_id": key,
            "accepted_ms": entry.time,
            "accepted_by": entry.content.pointer("/signatures/0/printed_name"),
        });
        if let Value::Object(row) = row {
            self.accepted.expect(of_entry(sequence, 0), sequence, row);
        }
        Ok(())
    }
}

fn key(number: &str) -> String {
    format!("order {number}")
}

#[async_trait]
impl Part for LineUps {
    fn take(&mut self, entry: &Entry) -> Result<(), Fault> {
        match entry.kind.as_str() {
            "lineup.computed" | "lineup.own" => self.stored(entry),
            "lineup.accepted" => self.accept(entry)?,
            _ => {}
        }
        Ok(())
    }

    async fn meet(
        &mut self,
        connection: &mut SqliteConnection,
        (first, last): (i64, i64),
    ) -> Result<(), Fault> {
        let rows = sqlx::query_as!(
            Found,
            r#"select 'row 1 of journal ' || a.sequence as "key!: String",
                 json_object(
                   'sequence', a.sequence, 'lineup_id', 'order ' || l.number, 'accepted_ms', a.accepted_ms,
                   'accepted_by', a.accepted_by
                 ) as "row!: String"
               from lineup_accepted a
               join lineup l on l.id = a.lineup_id
               where a.sequence between ? and ?
               order by a.sequence"#,
            first,
            last
        )
        .fetch_all(connection)
        .await?;
        self.accepted.meet(rows)
    }

    /// One line-up at a time: each is long.
    async fn end(&mut self, connection: &mut SqliteConnection) -> Result<(), Fault> {
        let numbers = sqlx::query_scalar!("select number from lineup order by number")
            .fetch_all(&mut *connection)
            .await?;
        for number in numbers {
            let row = line_up(connection, number).await?;
            self.line_ups.meet_row(key(&number.to_string()), &row)?;
        }
        self.line_ups.all_met()
    }

    fn tables(&self) -> Vec<&Table> {
        vec![&self.line_ups, &self.accepted]
    }
}

async fn line_up(connection: &mut SqliteConnection, number: i64) -> Result<Row, Fault> {
    let stored = sqlx::query!(
        "select now_ms, computed_ms, search_ms, iterations, problem, plan, line_up, journal_sequence, own_by
         from lineup where number = ?",
        number
    )
    .fetch_one(connection)
    .await?;
    let sums = json!(Sums::of(&stored.problem, &stored.plan, &stored.line_up));
    let row = [
        ("number", json!(number)),
        ("now_ms", json!(stored.now_ms)),
        ("computed_ms", json!(stored.computed_ms)),
        ("search_ms", json!(stored.search_ms)),
        ("iterations", json!(stored.iterations)),
        ("journal_sequence", json!(stored.journal_sequence)),
        ("own_by", json!(stored.own_by)),
    ];
    let row = row.map(|(column, value)| (column.to_owned(), value));
    Ok(row.into_iter().chain(told(&sums, SUMS)).collect())
}
