//! Deliveries with their lines, and what came of them.

use mendpost_core::powder::receipt::Came;
use mendpost_core::word_enum;
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use super::draft::Numbers;
use crate::db::decoded;

word_enum! {
    /// What a line of a delivery brings.
    Kind {
        /// Powder, in grams.
        Powder = "powder",
        /// Full bottles.
        Gas = "gas",
        /// Fuel for the set, in millilitres.
        Fuel = "fuel",
        /// Anything else: it came, or not.
        Other = "other",
    }
}

/// A delivery as it stands.
#[derive(Debug, Clone)]
pub struct Delivery {
    pub id: Uuid,
    pub code: String,
    pub name: String,
    pub expected_ms: i64,
    pub latest_ms: Option<i64>,
    pub state: String,
    /// How many receipts there are of it.
    pub receipts: i64,
}

/// All deliveries, the next first, those that came after them.
pub async fn deliveries(executor: impl SqliteExecutor<'_>) -> Result<Vec<Delivery>, sqlx::Error> {
    sqlx::query_as!(
        Delivery,
        r#"select id as "id!: Uuid", code, name, expected_ms, latest_ms, state,
             (select count(*) from receipt r where r.delivery_id = d.id) as "receipts!: i64"
           from delivery d
           order by state = 'expected' desc,
             case when state = 'expected' then expected_ms else -expected_ms end"#
    )
    .fetch_all(executor)
    .await
}

pub async fn delivery(
    executor: impl SqliteExecutor<'_>,
    code: &str,
) -> Result<Option<Delivery>, sqlx::Error> {
    sqlx::query_as!(
        Delivery,
        r#"select id as "id!: Uuid", code, name, expected_ms, latest_ms, state,
             (select count(*) from receipt r where r.delivery_id = d.id) as "receipts!: i64"
           from delivery d where code = ?"#,
        code
    )
    .fetch_optional(executor)
    .await
}

/// Something that a delivery is to bring, and what came of it so far.
#[derive(Debug, Clone)]
pub struct Line {
    pub id: Uuid,
    pub kind: Kind,
    /// The code of the powder; empty for anything else.
    pub powder: String,
    /// As people call it.
    pub name: String,
    /// The load list, and the line of it, that this answers.
    pub of_list: Option<(i64, i64)>,
    pub came: Came,
}

impl Line {
    /// 'load list 7, line 2'; empty where it was announced otherwise.
    pub fn list_in_words(&self) -> String {
        let words = |(list, line)| format!("load list {list}, line {line}");
        self.of_list.map_or_else(String::new, words)
    }

    /// What is still missing of it.
    pub fn open(&self) -> i64 {
        self.came.missing()
    }
}

/// The lines of a delivery in their order.
pub async fn lines(
    executor: impl SqliteExecutor<'_>,
    delivery: Uuid,
) -> Result<Vec<Line>, sqlx::Error> {
    sqlx::query!(
        r#"select d.id as "id!: Uuid", d.kind as "kind!: String", d.amount as "amount!: i64", d.what as "what!: String",
             p.code as "powder?: String", p.name as "powder_name?: String", b.code as "bank?: String",
             b.gas as "gas?: String", d.list_number, d.list_line,
             coalesce(sum(r.taken), 0) as "taken!: i64", coalesce(sum(r.damaged), 0) as "damaged!: i64",
             coalesce(sum(r.refused), 0) as "refused!: i64"
           from delivery_line d
           left join powder p on p.id = d.powder_id
           left join bank b on b.id = d.bank_id
           left join receipt_line r on r.delivery_line_id = d.id
           where d.delivery_id = ?
           group by d.id
           order by d.position"#,
        delivery
    )
    .try_map(|row| {
        let kind = decoded(row.kind.parse())?;
        let name = match kind {
            Kind::Powder => row.powder_name.unwrap_or_default(),
            Kind::Gas => format!(
                "{} for bank {}",
                row.gas.unwrap_or_default(),
                row.bank.unwrap_or_default()
            ),
            Kind::Fuel => "fuel".to_owned(),
            Kind::Other => row.what,
        };
        Ok(Line {
            id: row.id,
            kind,
            powder: row.powder.unwrap_or_default(),
            name,
            of_list: row.list_number.zip(row.list_line),
            came: Came {
                expected: if kind == Kind::Other { 1 } else { row.amount },
                taken: row.taken,
                damaged: row.damaged,
                refused: row.refused,
            },
        })
    })
    .fetch_all(executor)
    .await
}

/// A receipt as the pages list it.
#[derive(Debug, Clone)]
pub struct Receipt {
    pub id: Uuid,
    pub number: i64,
    pub delivery: Option<String>,
    pub delivery_name: Option<String>,
    pub received_ms: i64,
    pub received_by: String,
    pub note: String,
    pub journal: i64,
}

/// Receipts, the newest first: of one delivery, of one number, or the last few.
pub async fn receipts(
    executor: impl SqliteExecutor<'_>,
    delivery: Option<&str>,
    number: Option<i64>,
) -> Result<Vec<Receipt>, sqlx::Error> {
    sqlx::query_as!(
        Receipt,
        r#"select r.id as "id!: Uuid", r.number as "number!: i64", d.code as "delivery?: String",
             d.name as "delivery_name?: String", r.received_ms as "received_ms!: i64",
             r.received_by as "received_by!: String", r.note as "note!: String",
             r.journal_sequence as "journal!: i64"
           from receipt r left join delivery d on d.id = r.delivery_id
           where (?1 is null or d.code = ?1) and (?2 is null or r.number = ?2)
           order by r.number desc limit 50"#,
        delivery,
        number
    )
    .fetch_all(executor)
    .await
}

/// A line as one receipt has it.
pub struct OfReceipt {
    pub line: Uuid,
    pub taken: i64,
    pub damaged: i64,
    pub refused: i64,
    pub note: String,
}

pub async fn receipt_lines(
    executor: impl SqliteExecutor<'_>,
    receipt: Uuid,
) -> Result<Vec<OfReceipt>, sqlx::Error> {
    sqlx::query_as!(
        OfReceipt,
        r#"select delivery_line_id as "line!: Uuid", taken, damaged, refused, note from receipt_line where receipt_id = ?"#,
        receipt
    )
    .fetch_all(executor)
    .await
}

/// A lot that came with a receipt.
pub struct LotOf {
    pub code: String,
    pub powder: String,
    pub state: String,
    pub containers: i64,
    pub milligrams: i64,
}

pub async fn receipt_lots(
    executor: impl SqliteExecutor<'_>,
    receipt: Uuid,
) -> Result<Vec<LotOf>, sqlx::Error> {
    sqlx::query_as!(
        LotOf,
        r#"select l.code as "code!: String", p.name as "powder!: String", l.state as "state!: String",
             count(distinct c.id) as "containers!: i64", coalesce(sum(m.milligrams), 0) as "milligrams!: i64"
           from lot l
           join powder p on p.id = l.powder_id
           left join container c on c.lot_id = l.id
           left join movement m on m.to_id = c.id and m.reason = 'receipt'
           where l.receipt_id = ?
           group by l.id order by l.code"#,
        receipt
    )
    .fetch_all(executor)
    .await
}

pub async fn next_number(executor: impl SqliteExecutor<'_>) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(r#"select coalesce(max(number), 0) + 1 as "number!: i64" from receipt"#)
        .fetch_one(executor)
        .await
}

/// Code and name of every powder.
pub async fn powders(
    executor: impl SqliteExecutor<'_>,
) -> Result<Vec<(String, String)>, sqlx::Error> {
    let rows = sqlx::query!("select code, name from powder order by rowid")
        .fetch_all(executor)
        .await?;
    Ok(rows.into_iter().map(|row| (row.code, row.name)).collect())
}

/// The lot numbers that are given away, the newest of them by when it was entered.
pub async fn numbers(executor: impl SqliteExecutor<'_>) -> Result<Numbers, sqlx::Error> {
    let taken: Vec<String> = sqlx::query_scalar!("select code from lot order by received_ms, code")
        .fetch_all(executor)
        .await?;
    let ends_in_figures = |code: &&String| code.ends_with(|letter: char| letter.is_ascii_digit());
    let newest = taken.iter().rev().find(ends_in_figures);
    Ok(Numbers {
        newest: newest.and_then(|code| code.parse().ok()),
        taken,
    })
}

/// Which of these container labels are on record already.
pub async fn labels_taken(
    connection: &mut SqliteConnection,
    labels: &[String],
) -> Result<Vec<String>, sqlx::Error> {
    let mut taken = Vec::new();
    for label in labels {
        let found = sqlx::query_scalar!("select code from container where code = ?", label)
            .fetch_optional(&mut *connection)
            .await?;
        taken.extend(found);
    }
    Ok(taken)
}
