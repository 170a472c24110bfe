//! Shifts with their notes, handovers with how they ended, drafts, and what is carried from shift to shift.

use async_trait::async_trait;
use mendpost_core::journal::{Entry, canonical};
use serde_json::{Value, json};
use sqlx::SqliteConnection;

use super::rows::{Found, Row, Table, told};
use super::{Fault, Part};

pub(super) struct Handovers {
    shifts: Table,
    notes: Table,
    drafts: Table,
    handovers: Table,
    ends: Table,
    lines: Table,
    carried: Table,
    closed: Table,
}

impl Handovers {
    pub fn new() -> Handovers {
        Handovers {
            shifts: Table::new(
                "shift",
                &[
                    "number",
                    "handover",
                    "why",
                    "opened_by",
                    "person_id",
                    "opened_ms",
                    "journal_sequence",
                ],
            ),
            notes: Table::new(
                "shift_note",
                &[
                    "journal_sequence",
                    "shift",
                    "kind",
                    "text",
                    "happened_ms",
                    "written_by",
                    "written_ms",
                ],
            ),
            drafts: Table::new(
                "handover_draft",
                &[
                    "shift",
                    "field",
                    "version",
                    "value",
                    "written_by",
                    "journal_sequence",
                ],
            ),
            handovers: Table::new(
                "handover",
                &[
                    "number",
                    "shift",
                    "told",
                    "risk",
                    "left_for_reader",
                    "told_by",
                    "person_id",
                    "told_ms",
                    "journal_sequence",
                ],
            ),
            ends: Table::new(
                "handover_end",
                &[
                    "number",
                    "taken",
                    "heard",
                    "reason",
                    "ended_by",
                    "person_id",
                    "ended_ms",
                    "journal_sequence",
                ],
            ),
            lines: Table::new(
                "handover_line",
                &[
                    "journal_sequence",
                    "handover",
                    "text",
                    "added_by",
                    "added_ms",
                ],
            ),
            carried: Table::new(
                "carried",
                &[
                    "number",
                    "kind",
                    "text",
                    "due_ms",
                    "written_by",
                    "written_ms",
                    "journal_sequence",
                ],
            ),
            closed: Table::new(
                "carried_closed",
                &[
                    "number",
                    "how",
                    "closed_by",
                    "closed_ms",
                    "journal_sequence",
                ],
            ),
        }
    }

    /// Each field of a saving is a row of its own.
    fn drafted(&mut self, entry: &Entry) -> Result<(), Fault> {
        let content = &entry.content;
        for (field, value) in content
            .get("fields")
            .and_then(Value::as_object)
            .into_iter()
            .flatten()
        {
            let mut row = told(
                content,
                [("version", "/version"), ("written_by", "/written_by")],
            );
            row.insert("shift".to_owned(), number(entry)?);
            row.insert("field".to_owned(), json!(field));
            row.insert("value".to_owned(), value.clone());
            row.insert("journal_sequence".to_owned(), json!(entry.sequence));
            let key = format!("field {field} of journal {}", entry.sequence);
            self.drafts.expect(key, entry.sequence, row);
        }
        Ok(())
    }
}

/// The subject's number.
fn number(entry: &Entry) -> Result<Value, Fault> {
    let number: Result<i64, _> = entry.subject.id.parse();
    number.map(Value::from).map_err(|_| Fault::Senseless {
        sequence: entry.sequence,
        fault: format!(
            "{} '{}', which is no number",
            entry.subject.kind, entry.subject.id
        ),
    })
}

/// What is stored as canonical JSON, as the very text.
fn as_text(value: Option<&Value>, sequence: i64) -> Result<Value, Fault> {
    match value {
        None | Some(Value::Null) => Ok(Value::Null),
        Some(value) => canonical(value)
            .map(Value::String)
            .map_err(|fault| Fault::Senseless {
                sequence,
                fault: fault.to_string(),
            }),
    }
}

fn key(sequence: i64) -> String {
    format!("that of journal {sequence}")
}

#[async_trait]
impl Part for Handovers {
    fn take(&mut self, entry: &Entry) -> Result<(), Fault> {
        let (content, sequence) = (&entry.content, entry.sequence);
        // Under which names the entry tells the columns, and those of the entry itself.
        let (table, subject, time, names): (&mut Table, _, _, &[&'static str]) =
            match entry.kind.as_str() {
                "handover.drafted" => return self.drafted(entry),
                "shift.opened" => (
                    &mut self.shifts,
                    "number",
                    "opened_ms",
                    &["handover", "why", "opened_by"],
                ),
                "shift.noted" => (
                    &mut self.notes,
                    "shift",
                    "written_ms",
                    &["kind", "text", "happened_ms", "written_by"],
                ),
                "handover.told" => (
                    &mut self.handovers,
                    "number",
                    "told_ms",
                    &["shift", "risk", "left_for_reader", "told_by"],
                ),
                "handover.heard" | "handover.refused" => (
                    &mut self.ends,
                    "number",
                    "ended_ms",
                    &["taken", "reason", "ended_by"],
                ),
                "handover.added" => (
                    &mut self.lines,
                    "handover",
                    "added_ms",
                    &["text", "added_by"],
                ),
                "carried.added" => (
                    &mut self.carried,
                    "number",
                    "written_ms",
                    &["kind", "text", "due_ms", "written_by"],
                ),
                "carried.closed" => (
                    &mut self.closed,
                    "number",
                    "closed_ms",
                    &["how", "closed_by"],
                ),
                _ => return Ok(()),
            };
        let pointers: Vec<String> = names.iter().map(|name| format!("/{name}")).collect();
        let names = names
            .iter()
            .copied()
            .zip(pointers.iter().map(String::as_str));
        let mut row: Row = told(content, names);
        for (column, value) in [
            (subject, number(entry)?),
            (time, json!(entry.time)),
            ("journal_sequence", json!(sequence)),
            ("person_id", json!(entry.actor.replace('-', ""))),
            ("told", as_text(content.get("told"), sequence)?),
            ("heard", as_text(content.get("heard"), sequence)?),
        ] {
            row.insert(column.to_owned(), value);
        }
        table.expect(key(sequence), sequence, row);
        Ok(())
    }

    async fn meet(
        &mut self,
        connection: &mut SqliteConnection,
        (first, last): (i64, i64),
    ) -> Result<(), Fault> {
        macro_rules! met {
            ($table:ident, $query:literal) => {
                let rows = sqlx::query_as!(Found, $query, first, last)
                    .fetch_all(&mut *connection)
                    .await?;
                self.$table.meet(rows)?;
            };
        }
        met!(
            shifts,
            r#"select 'that of journal ' || journal_sequence as "key!: String", json_object(
                 'number', number, 'handover', handover, 'why', why, 'opened_by', opened_by,
                 'person_id', lower(hex(person_id)), 'opened_ms', opened_ms, 'journal_sequence', journal_sequence
               ) as "row!: String"
               from shift where journal_sequence between ? and ?"#
        );
        met!(
            notes,
            r#"select 'that of journal ' || journal_sequence as "key!: String", json_object(
                 'journal_sequence', journal_sequence, 'shift', shift, 'kind', kind, 'text', text,
                 'happened_ms', happened_ms, 'written_by', written_by, 'written_ms', written_ms
               ) as "row!: String"
               from shift_note where journal_sequence between ? and ?"#
        );
        met!(
            drafts,
            r#"select 'field ' || field || ' of journal ' || journal_sequence as "key!: String", json_object(
                 'shift', shift, 'field', field, 'version', version, 'value', value, 'written_by', written_by,
                 'journal_sequence', journal_sequence
               ) as "row!: String"
               from handover_draft where journal_sequence between ? and ?"#
        );
        met!(
            handovers,
            r#"select 'that of journal ' || journal_sequence as "key!: String", json_object(
                 'number', number, 'shift', shift, 'told', told, 'risk', risk, 'left_for_reader', left_for_reader,
                 'told_by', told_by, 'person_id', lower(hex(person_id)), 'told_ms', told_ms,
                 'journal_sequence', journal_sequence
               ) as "row!: String"
               from handover where journal_sequence between ? and ?"#
        );
        met!(
            ends,
            r#"select 'that of journal ' || journal_sequence as "key!: String", json_object(
                 'number', number, 'taken', taken, 'heard', heard, 'reason', reason, 'ended_by', ended_by,
                 'person_id', lower(hex(person_id)), 'ended_ms', ended_ms, 'journal_sequence', journal_sequence
               ) as "row!: String"
               from handover_end where journal_sequence between ? and ?"#
        );
        met!(
            lines,
            r#"select 'that of journal ' || journal_sequence as "key!: String", json_object(
                 'journal_sequence', journal_sequence, 'handover', handover, 'text', text, 'added_by', added_by,
                 'added_ms', added_ms
               ) as "row!: String"
               from handover_line where journal_sequence between ? and ?"#
        );
        met!(
            carried,
            r#"select 'that of journal ' || journal_sequence as "key!: String", json_object(
                 'number', number, 'kind', kind, 'text', text, 'due_ms', due_ms, 'written_by', written_by,
                 'written_ms', written_ms, 'journal_sequence', journal_sequence
               ) as "row!: String"
               from carried where journal_sequence between ? and ?"#
        );
        met!(
            closed,
            r#"select 'that of journal ' || journal_sequence as "key!: String", json_object(
                 'number', number, 'how', how, 'closed_by', closed_by, 'closed_ms', closed_ms,
                 'journal_sequence', journal_sequence
               ) as "row!: String"
               from carried_closed where journal_sequence between ? and ?"#
        );
        Ok(())
    }

    fn tables(&self) -> Vec<&Table> {
        vec![
            &self.shifts,
            &self.notes,
            &self.drafts,
            &self.handovers,
            &self.ends,
            &self.lines,
            &self.carried,
            &self.closed,
        ]
    }
}
