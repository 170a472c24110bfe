//! Signatures by the entries that hold them, and what two people sign.

use async_trait::async_trait;
use mendpost_core::journal::Entry;
use serde_json::{Value, json};
use sqlx::SqliteConnection;

use super::rows::{Found, Table, of_entry, told};
use super::{Fault, Part};

pub(super) struct Signatures {
    signatures: Table,
    signings: Table,
}

impl Signatures {
    pub fn new() -> Signatures {
        const SIGNATURE: &[&str] = &[
            "signing_id",
            "meaning",
            "statement",
            "subject_kind",
            "subject_id",
            "person_id",
            "printed_name",
            "role",
            "how",
            "signed_ms",
            "journal_sequence",
        ];
        const SIGNING: &[&str] = &[
            "number",
            "meaning",
            "subject_kind",
            "subject_id",
            "content",
            "state",
        ];
        Signatures {
            signatures: Table::new("signature", SIGNATURE),
            signings: Table::new("signing", SIGNING),
        }
    }

    /// What was opened, carried out or withdrawn.
    fn signing(&mut self, number: i64, entry: &Entry) -> Result<(), Fault> {
        let (key, sequence) = (key(number), entry.sequence);
        let state = match entry.kind.as_str() {
            "signing.opened" => {
                let mut content = entry.content.clone();
                if let Some(content) = content.as_object_mut() {
                    content.retain(|name, _| {
                        !["meaning", "signing", "signatures"].contains(&name.as_str())
                    });
                }
                let row = json!({
                    "number": number,
                    "meaning": entry.content.get("meaning"),
                    "subject_kind": entry.subject.kind,
                    "subject_id": entry.subject.id,
                    "content": content,
                    "state": "open",
                });
                if let Value::Object(row) = row {
                    self.signings.expect(key, sequence, row);
                }
                return Ok(());
            }
            "signing.withdrawn" => "withdrawn",
            _ => "done",
        };
        self.signings
            .change(&key, sequence, [("state", json!(state))])
    }
}

fn key(number: i64) -> String {
    format!("signing {number}")
}

#[async_trait]
impl Part for Signatures {
    fn take(&mut self, entry: &Entry) -> Result<(), Fault> {
        let (content, sequence) = (&entry.content, entry.sequence);
        let signing = content.get("signing").and_then(Value::as_i64);
        if let Some(number) = signing {
            self.signing(number, entry)?;
        }
        let given = content.get("signatures").and_then(Value::as_array);
        for (place, given) in given.into_iter().flatten().enumerate() {
            let names = [
                ("meaning", "/meaning"),
                ("statement", "/statement"),
                ("printed_name", "/printed_name"),
                ("role", "/role"),
                ("how", "/how"),
            ];
            let mut row = told(given, names);
            let person = given.get("person").and_then(Value::as_str);
            for (column, value) in [
                ("signing_id", json!(signing)),
                ("subject_kind", json!(entry.subject.kind)),
                ("subject_id", json!(entry.subject.id)),
                ("person_id", json!(person.map(|id| id.replace('-', "")))),
                ("signed_ms", json!(entry.time)),
                ("journal_sequence", json!(sequence)),
            ] {
                row.insert(column.to_owned(), value);
            }
            self.signatures
                .expect(of_entry(sequence, place), sequence, row);
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
            r#"select 'row ' || row_number() over (partition by s.journal_sequence order by s.rowid)
                 || ' of journal ' || s.journal_sequence as "key!: String",
                 json_object(
                   'signing_id', g.number, 'meaning', s.meaning, 'statement', s.statement,
                   'subject_kind', s.subject_kind, 'subject_id', s.subject_id, 'person_id', lower(hex(s.person_id)),
                   'printed_name', s.printed_name, 'role', s.role, 'how', s.how, 'signed_ms', s.signed_ms,
                   'journal_sequence', s.journal_sequence
                 ) as "row!: String"
               from signature s
               left join signing g on g.id = s.signing_id
               where s.journal_sequence between ? and ?
               order by s.journal_sequence, s.rowid"#,
            first,
            last
        )
        .fetch_all(connection)
        .await?;
        self.signatures.meet(rows)
    }

    async fn end(&mut self, connection: &mut SqliteConnection) -> Result<(), Fault> {
        let rows = sqlx::query_as!(
            Found,
            r#"select 'signing ' || number as "key!: String",
                 json_object(
                   'number', number, 'meaning', meaning, 'subject_kind', subject_kind, 'subject_id', subject_id,
                   'content', json(content), 'state', state
                 ) as "row!: String"
               from signing
               order by number"#
        )
        .fetch_all(connection)
        .await?;
        self.signings.meet(rows)
    }

    fn tables(&self) -> Vec<&Table> {
        vec![&self.signatures, &self.signings]
    }
}
