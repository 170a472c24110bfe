//! Where time went back or far on from one entry to the next, as the journal's own trigger notes it.

use async_trait::async_trait;
use mendpost_core::journal::Entry;
use serde_json::json;
use sqlx::SqliteConnection;

use super::rows::{Found, Row, Table};
use super::{Fault, Part};

pub(super) struct Steps {
    steps: Table,
    /// Time of the entry before.
    before: Option<i64>,
}

/// From how much later on the trigger notes it: half a day.
const NOTED_MS: i64 = 12 * 60 * 60 * 1000;

impl Steps {
    pub fn new() -> Steps {
        Steps {
            steps: Table::new("journal_step", &["sequence", "before"]),
            before: None,
        }
    }
}

#[async_trait]
impl Part for Steps {
    fn take(&mut self, entry: &Entry) -> Result<(), Fault> {
        let before = self.before.replace(entry.time);
        let noted = before
            .filter(|before| entry.time < *before || entry.time.saturating_sub(*before) > NOTED_MS);
        if let Some(before) = noted {
            let row = Row::from_iter([
                ("sequence".to_owned(), json!(entry.sequence)),
                ("before".to_owned(), json!(before)),
            ]);
            let key = format!("entry {}", entry.sequence);
            self.steps.expect(key, entry.sequence, row);
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
            r#"select 'entry ' || sequence as "key!: String",
                 json_object('sequence', sequence, 'before', before) as "row!: String"
               from journal_step
               where sequence between ? and ?
               order by sequence"#,
            first,
            last
        )
        .fetch_all(connection)
        .await?;
        self.steps.meet(rows)
    }

    fn tables(&self) -> Vec<&Table> {
        vec![&self.steps]
    }
}
