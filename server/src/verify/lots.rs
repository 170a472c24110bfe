//! Lots as they came, and their states since.

use async_trait::async_trait;
use mendpost_core::journal::Entry;
use mendpost_core::powder::LotState;
use serde_json::json;
use sqlx::SqliteConnection;

use super::rows::{Found, Table, told};
use super::{Fault, Part};

pub(super) struct Lots(Table);

/// Whether a lot comes by entries of this kind.
pub(super) fn comes_by(kind: &str) -> bool {
    matches!(kind, "lot.received" | "lot.blended")
}

impl Lots {
    pub fn new() -> Lots {
        const COLUMNS: &[&str] = &[
            "code",
            "powder_id",
            "state",
            "state_note",
            "maker_lot",
            "received_ms",
            "use_by_ms",
            "receipt_id",
            "made_on",
            "date_kind",
            "storage",
            "humidity_min",
            "humidity_max",
        ];
        Lots(Table::new("lot", COLUMNS))
    }

    fn comes(&mut self, entry: &Entry) {
        let mut row = told(
            &entry.content,
            [
                ("powder_id", "/powder"),
                ("state", "/state"),
                ("state_note", "/note"),
                ("maker_lot", "/maker_lot"),
                ("received_ms", "/received"),
                ("use_by_ms", "/use_by"),
                ("receipt_id", "/receipt"),
                ("made_on", "/made_on"),
                ("date_kind", "/date_kind"),
                ("storage", "/storage"),
                ("humidity_min", "/humidity/min"),
                ("humidity_max", "/humidity/max"),
            ],
        );
        let code = &entry.subject.id;
        row.insert("code".to_owned(), json!(code));
        self.0.expect(code.clone(), entry.sequence, row);
    }
}

#[async_trait]
impl Part for Lots {
    fn take(&mut self, entry: &Entry) -> Result<(), Fault> {
        let of = |word: &str| entry.content.get(word).cloned();
        let (state, note) = match entry.kind.as_str() {
            kind if comes_by(kind) => {
                self.comes(entry);
                return Ok(());
            }
            "lot.held" => (Some(json!(LotState::Hold)), of("reason")),
            "lot.rejected" => (Some(json!(LotState::Rejected)), of("reason")),
            "lot.released" => (Some(json!(LotState::Released)), Some(json!(""))),
            "lot.sent-back" => (of("state"), of("note")),
            _ => return Ok(()),
        };
        let code = &entry.subject.id;
        if let (Some(state), Some(note)) = (state, note) {
            let columns = [("state", state), ("state_note", note)];
            return self.0.change(code, entry.sequence, columns);
        }
        // An earlier version's, which does not tell whether anything of it was left.
        self.0.change(code, entry.sequence, [])?;
        if let Some(row) = self.0.told(code) {
            row.remove("state");
            row.remove("state_note");
        }
        Ok(())
    }

    async fn end(&mut self, connection: &mut SqliteConnection) -> Result<(), Fault> {
        let rows = sqlx::query_as!(
            Found,
            r#"select l.code as "key!: String",
                 json_object(
                   'code', l.code, 'powder_id', p.code, 'state', l.state, 'state_note', l.state_note,
                   'maker_lot', l.maker_lot, 'received_ms', l.received_ms, 'use_by_ms', l.use_by_ms,
                   'receipt_id', r.number, 'made_on', l.made_on, 'date_kind', l.date_kind, 'storage', l.storage,
                   'humidity_min', l.humidity_min, 'humidity_max', l.humidity_max
                 ) as "row!: String"
               from lot l
               join powder p on p.id = l.powder_id
               left join receipt r on r.id = l.receipt_id
               order by l.code"#
        )
        .fetch_all(connection)
        .await?;
        self.0.meet(rows)
    }

    fn tables(&self) -> Vec<&Table> {
        vec![&self.0]
    }
}
