//! What those asked have answered: yeses, noes and answers awaited, of each request in their order.

use std::collections::BTreeMap;

use async_trait::async_trait;
use mendpost_core::journal::Entry;
use serde_json::{Value, json};
use sqlx::SqliteConnection;

use super::rows::{Found, Table, told};
use super::{Fault, Part};

pub(super) struct Answers {
    answers: Table,
    /// How many there are of each request.
    of_request: BTreeMap<String, u64>,
}

impl Answers {
    pub fn new() -> Answers {
        const COLUMNS: &[&str] = &[
            "request_id",
            "who",
            "name",
            "words",
            "until_ms",
            "given_ms",
            "about",
            "said",
            "came",
            "limits",
            "only_recipe",
            "only_revision",
            "expected_ms",
            "typed_by",
            "paper_hash",
            "next_look",
        ];
        Answers {
            answers: Table::new("answer", COLUMNS),
            of_request: BTreeMap::new(),
        }
    }
}

#[async_trait]
impl Part for Answers {
    fn take(&mut self, entry: &Entry) -> Result<(), Fault> {
        if entry.kind != "answer.recorded" {
            return Ok(());
        }
        let content = &entry.content;
        // One from the site's files is its own subject.
        let request = content.get("request").and_then(Value::as_str);
        let request = request.unwrap_or(&entry.subject.id).to_owned();
        let names = [
            ("who", "/who"),
            ("name", "/name"),
            ("words", "/words"),
            ("until_ms", "/until_ms"),
            ("given_ms", "/given_ms"),
            ("about", "/about"),
            ("said", "/said"),
            ("came", "/came"),
            ("limits", "/limits"),
            ("only_recipe", "/only/0"),
            ("only_revision", "/only/1"),
            ("expected_ms", "/expected_ms"),
            ("typed_by", "/typed_by"),
            ("paper_hash", "/paper"),
            ("next_look", "/next_look"),
        ];
        let mut row = told(content, names);
        row.insert("request_id".to_owned(), json!(request));
        if content.get("only").is_some_and(Value::is_null) {
            row.insert("only_recipe".to_owned(), Value::Null);
            row.insert("only_revision".to_owned(), Value::Null);
        }
        let turn = self.of_request.entry(request.clone()).or_default();
        *turn += 1;
        let key = format!("answer {turn} about {request}");
        self.answers.expect(key, entry.sequence, row);
        Ok(())
    }

    async fn end(&mut self, connection: &mut SqliteConnection) -> Result<(), Fault> {
        let rows = sqlx::query_as!(
            Found,
            r#"select 'answer ' || row_number() over (partition by a.request_id order by a.rowid)
                 || ' about R' || r.number as "key!: String",
                 json_object(
                   'request_id', 'R' || r.number, 'who', a.who, 'name', a.name, 'words', a.words,
                   'until_ms', a.until_ms, 'given_ms', a.given_ms, 'about', a.about, 'said', a.said, 'came', a.came,
                   'limits', a.limits, 'only_recipe', a.only_recipe, 'only_revision', a.only_revision,
                   'expected_ms', a.expected_ms, 'typed_by', a.typed_by,
                   'paper_hash', case when a.paper_hash is not null then lower(hex(a.paper_hash)) end,
                   'next_look', a.next_look
                 ) as "row!: String"
               from answer a
               join request r on r.id = a.request_id
               order by a.rowid"#
        )
        .fetch_all(connection)
        .await?;
        self.answers.meet(rows)
    }

    fn tables(&self) -> Vec<&Table> {
        vec![&self.answers]
    }
}
