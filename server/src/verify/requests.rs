//! Requests and where they stand, by every decision.

use async_trait::async_trait;
use mendpost_core::journal::Entry;
use serde_json::{Value, json};
use sqlx::SqliteConnection;

use super::rows::{Found, Row, Table, of_entry};
use super::{Fault, Part};
use crate::requests::state_after;

pub(super) struct Requests {
    requests: Table,
    decisions: Table,
}

/// As the table's own check has them.
const DECISIONS: [&str; 8] = [
    "sorted",
    "refused",
    "withdrawn",
    "reopened",
    "sent-back",
    "served",
    "reworked",
    "scrapped",
];

impl Requests {
    pub fn new() -> Requests {
        const DECISION: &[&str] = &[
            "journal_sequence",
            "request_id",
            "decision",
            "reason",
            "decided_by",
            "decided_ms",
        ];
        Requests {
            requests: Table::new("request", &["number", "state"]),
            decisions: Table::new("request_decision", DECISION),
        }
    }
}

#[async_trait]
impl Part for Requests {
    fn take(&mut self, entry: &Entry) -> Result<(), Fault> {
        let Some(word) = entry.kind.strip_prefix("request.") else {
            return Ok(());
        };
        let (code, sequence) = (&entry.subject.id, entry.sequence);
        if word == "filed" {
            let number = code.trim_start_matches('R').parse::<i64>().ok();
            let row = Row::from_iter([
                ("number".to_owned(), json!(number)),
                ("state".to_owned(), json!("open")),
            ]);
            self.requests.expect(code.clone(), sequence, row);
        }
        if !DECISIONS.contains(&word) {
            return Ok(());
        }
        self.requests
            .change(code, sequence, [("state", json!(state_after(word)))])?;
        let row = json!({
            "journal_sequence": sequence,
            "request_id": code,
            "decision": word,
            "reason": entry.content.get("reason"),
            "decided_by": entry.content.get("by"),
            "decided_ms": entry.time,
        });
        if let Value::Object(row) = row {
            self.decisions.expect(of_entry(sequence, 0), sequence, row);
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
            r#"select 'row 1 of journal ' || d.journal_sequence as "key!: String",
                 json_object(
                   'journal_sequence', d.journal_sequence, 'request_id', 'R' || r.number, 'decision', d.decision,
                   'reason', d.reason, 'decided_by', d.decided_by, 'decided_ms', d.decided_ms
                 ) as "row!: String"
               from request_decision d
               join request r on r.id = d.request_id
               where d.journal_sequence between ? and ?
               order by d.journal_sequence"#,
            first,
            last
        )
        .fetch_all(connection)
        .await?;
        self.decisions.meet(rows)
    }

    async fn end(&mut self, connection: &mut SqliteConnection) -> Result<(), Fault> {
        let rows = sqlx::query_as!(
            Found,
            r#"select 'R' || number as "key!: String", json_object('number', number, 'state', state) as "row!: String"
               from request
               order by number"#
        )
        .fetch_all(connection)
        .await?;
        self.requests.meet(rows)
    }

    fn tables(&self) -> Vec<&Table> {
        vec![&self.requests, &self.decisions]
    }
}
