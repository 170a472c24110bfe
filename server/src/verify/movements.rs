//! The powder book: each movement is the one that its entry tells, in its order, and can be.

use async_trait::async_trait;
use mendpost_core::journal::Entry;
use mendpost_core::powder::book::{Book, Movement, Place};
use serde_json::{Value, json};
use sqlx::SqliteConnection;

use super::rows::{Found, Row, Table, of_entry};
use super::{Fault, Part};
use crate::book::place_words;

pub(super) struct Movements {
    book: Book,
    movements: Table,
    containers: Table,
}

impl Movements {
    pub fn new() -> Movements {
        const COLUMNS: &[&str] = &[
            "lot_id",
            "into_lot_id",
            "from_id",
            "to_id",
            "milligrams",
            "reason",
            "note",
            "corrects_id",
            "at_ms",
            "journal_sequence",
        ];
        Movements {
            book: Book::default(),
            movements: Table::new("movement", COLUMNS),
            containers: Table::new("container", &["lot_id", "code", "holds"]),
        }
    }

    /// Each container by the last entry that moved anything of it.
    fn tell_containers(&mut self, sequence: i64, movement: &Movement) {
        let ends = [
            (&movement.from, &movement.lot),
            (&movement.to, &movement.into),
        ];
        for (place, lot) in ends {
            let Place::Container(code) = place else {
                continue;
            };
            let holds = self.book.of(place, lot).0 > 0;
            let row = Row::from_iter([
                ("lot_id".to_owned(), json!(lot)),
                ("code".to_owned(), json!(code)),
                ("holds".to_owned(), json!(i64::from(holds))),
            ]);
            self.containers.expect(code.to_string(), sequence, row);
        }
    }
}

#[async_trait]
impl Part for Movements {
    fn take(&mut self, entry: &Entry) -> Result<(), Fault> {
        tell_empty(&mut self.containers, entry);
        let Some(moved) = entry.content.get("moved").and_then(Value::as_array) else {
            return Ok(());
        };
        let sequence = entry.sequence;
        let senseless = |fault: String| Fault::Senseless { sequence, fault };
        for (place, told) in moved.iter().enumerate() {
            let movement: Movement = serde_json::from_value(told.clone())
                .map_err(|fault| senseless(fault.to_string()))?;
            self.book
                .enter(&movement)
                .map_err(|fault| senseless(fault.to_string()))?;
            self.tell_containers(sequence, &movement);
            let corrects = entry.content.get("of").and_then(Value::as_i64);
            let corrects = corrects
                .filter(|_| movement.reason.as_str() == "correction")
                // They were taken back from the last one on.
                .map(|of| of_entry(of, moved.len() - 1 - place));
            let mut row = json!({
                "lot_id": movement.lot,
                "into_lot_id": movement.into,
                "from_id": place_words(&movement.from),
                "to_id": place_words(&movement.to),
                "milligrams": movement.mass,
                "reason": movement.reason,
                "corrects_id": corrects,
                "journal_sequence": sequence,
            });
            if let Some(at_ms) = told.get("at_ms") {
                row["at_ms"] = at_ms.clone();
                row["note"] = told.get("note").cloned().unwrap_or_else(|| json!(""));
            }
            if let Value::Object(row) = row {
                self.movements
                    .expect(of_entry(sequence, place), sequence, row);
            }
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
            r#"with moved as (
                 select m.rowid as place, m.*,
                   row_number() over (partition by m.journal_sequence order by m.rowid) as turn
                 from movement m where m.journal_sequence between ? and ?
               )
               select 'row ' || m.turn || ' of journal ' || m.journal_sequence as "key!: String",
                 json_object(
                   'lot_id', l.code, 'into_lot_id', i.code,
                   'from_id', f.kind || coalesce(' ' || fc.code, ' ' || fb.number, ''),
                   'to_id', t.kind || coalesce(' ' || tc.code, ' ' || tb.number, ''),
                   'milligrams', m.milligrams, 'reason', m.reason, 'note', m.note, 'at_ms', m.at_ms,
                   'journal_sequence', m.journal_sequence,
                   'corrects_id', (
                     select 'row ' || (1 + (
                         select count(*) from movement p
                         where p.journal_sequence = c.journal_sequence and p.rowid < c.rowid
                           and p.reason <> 'correction'
                       )) || ' of journal ' || c.journal_sequence
                     from movement c where c.id = m.corrects_id
                   )
                 ) as "row!: String"
               from moved m
               join lot l on l.id = m.lot_id
               join lot i on i.id = m.into_lot_id
               join place f on f.id = m.from_id
               left join container fc on fc.id = f.container_id
               left join build fb on fb.id = f.build_id
               join place t on t.id = m.to_id
               left join container tc on tc.id = t.container_id
               left join build tb on tb.id = t.build_id
               order by m.place"#,
            first,
            last
        )
        .fetch_all(connection)
        .await?;
        self.movements.meet(rows)
    }

    async fn end(&mut self, connection: &mut SqliteConnection) -> Result<(), Fault> {
        let rows = sqlx::query_as!(
            Found,
            r#"select c.code as "key!: String",
                 json_object('lot_id', l.code, 'code', c.code, 'holds', c.holds) as "row!: String"
               from container c join lot l on l.id = c.lot_id
               order by c.code"#
        )
        .fetch_all(connection)
        .await?;
        self.containers.meet(rows)
    }

    fn tables(&self) -> Vec<&Table> {
        vec![&self.movements, &self.containers]
    }
}

/// The containers that come with a lot, before anything moves.
fn tell_empty(containers: &mut Table, entry: &Entry) {
    if !super::lots::comes_by(&entry.kind) {
        return;
    }
    let came = entry.content.get("containers").and_then(Value::as_array);
    for container in came.into_iter().flatten() {
        let Some(code) = container.get("code").and_then(Value::as_str) else {
            continue;
        };
        let row = Row::from_iter([
            ("lot_id".to_owned(), json!(entry.subject.id)),
            ("code".to_owned(), json!(code)),
            ("holds".to_owned(), json!(0)),
        ]);
        containers.expect(code.to_owned(), entry.sequence, row);
    }
}
