//! Items as rows.

use chrono::DateTime;
use mendpost_core::code::{BankCode, ItemCode, PartCode, PowderCode};
use mendpost_core::resupply::{Consumed, Content, Counted, Dangerous, Item, Sheet};
use sqlx::SqliteConnection;
use std::collections::{BTreeMap, BTreeSet};
use std::str::FromStr;
use uuid::Uuid;

use super::form::{Kind, Known, SheetState};
use crate::db::decoded;
use crate::situation::moment;

/// An item as it stands.
pub struct Listed {
    pub id: Uuid,
    pub version: i64,
    pub item: Item,
    /// Why it is no longer sent for; none: it is.
    pub retired: Option<String>,
    pub said_by: String,
    pub said_ms: i64,
}

/// Items that are sent for, by stock number.
pub async fn items(connection: &mut SqliteConnection) -> Result<Vec<(Uuid, Item)>, sqlx::Error> {
    let listed = all(connection).await?;
    let used: BTreeSet<ItemCode> = listed
        .iter()
        .filter(|it| it.retired.is_none())
        .map(|it| it.item.code.clone())
        .collect();
    let mut items: Vec<(Uuid, Item)> = listed
        .into_iter()
        .filter(|it| it.retired.is_none())
        .map(|it| (it.id, it.item))
        .collect();
    for (_, item) in &mut items {
        item.substitutes.retain(|code| used.contains(code));
    }
    Ok(items)
}

/// What an item may name, as it is listed.
pub async fn known(connection: &mut SqliteConnection) -> Result<Known, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select 'powder' as "kind!: String", code as "code!: String" from powder
           union all select 'bank', code from bank
           union all select 'part', code from part where retired_reason is null
           union all select 'item', i.code from item i
             where (select s.retired_reason from item_said s where s.item_id = i.id order by s.version desc limit 1)
               is null"#
    )
    .fetch_all(connection)
    .await?;
    let mut known = Known::default();
    for row in rows {
        match row.kind.as_str() {
            "powder" => drop(known.powders.insert(decoded(row.code.parse())?)),
            "bank" => drop(known.banks.insert(decoded(row.code.parse())?)),
            "part" => drop(known.parts.insert(decoded(row.code.parse())?)),
            _ => drop(known.items.insert(decoded(row.code.parse())?)),
        }
    }
    Ok(known)
}

/// One item, whether it is sent for or not.
pub async fn one(
    connection: &mut SqliteConnection,
    code: &str,
) -> Result<Option<Listed>, sqlx::Error> {
    let mut listed = all(connection).await?;
    listed.retain(|it| it.item.code.as_str() == code);
    Ok(listed.pop())
}

fn code<T: FromStr<Err: std::error::Error + Send + Sync + 'static>>(
    stored: Option<String>,
) -> Result<T, sqlx::Error> {
    decoded(stored.unwrap_or_default().parse())
}

/// All items as they stand, by stock number.
pub async fn all(connection: &mut SqliteConnection) -> Result<Vec<Listed>, sqlx::Error> {
    let mut substitutes = substitutes(connection).await?;
    let rows = sqlx::query!(
        r#"select i.id as "id!: Uuid", i.code, s.version as "version!: i64", s.name, s.unit, s.content,
             p.code as "powder?: String", b.code as "bank?: String", t.code as "part?: String", s.amount,
             s.per_build_milli, s.per_hour_milli, s.per_day_milli, s.net_g, s.gross_g, s.x_mm, s.y_mm, s.z_mm,
             s.stackable as "stackable!: bool", s.sheet_state, s.sheet, s.un, s.proper_name, s.class, s.subsidiary,
             s.packing_group, s.counted, s.depot, s.retired_reason, s.said_by, s.said_ms,
             c.units as "units?: i64", c.counted_by as "counted_by?: String", c.counted_ms as "counted_ms?: i64",
             (select count(*) from build b where b.begun_ms >= c.counted_ms) as "builds_since!: i64",
             coalesce((select sum(n.minutes) from build b join build_plan n on n.build_id = b.id
               where b.begun_ms >= c.counted_ms), 0) as "spray_min_since!: i64"
           from item i
           join item_said s on s.item_id = i.id
             and s.version = (select max(version) from item_said where item_id = i.id)
           left join powder p on p.id = s.powder_id
           left join bank b on b.id = s.bank_id
           left join part t on t.id = s.part_id
           left join item_count c on c.journal_sequence
             = (select max(journal_sequence) from item_count where item_id = i.id)
           order by i.code"#
    )
    .fetch_all(connection)
    .await?;
    let mut all = Vec::new();
    for row in rows {
        let amount = row.amount.unwrap_or(0);
        let content = match decoded(row.content.parse())? {
            Kind::Powder => Content::Powder {
                powder: code::<PowderCode>(row.powder)?,
                grams: amount,
            },
            Kind::Gas => Content::Gas {
                bank: code::<BankCode>(row.bank)?,
                pressure_mbar: amount,
            },
            Kind::Fuel => Content::Fuel { ml: amount },
            Kind::Part => Content::Part(code::<PartCode>(row.part)?),
            Kind::Other => Content::Other,
            Kind::Consumable => Content::Consumable(Consumed {
                per_build_milli: row.per_build_milli,
                per_hour_milli: row.per_hour_milli,
                per_day_milli: row.per_day_milli,
                builds_since: row.builds_since,
                spray_min_since: row.spray_min_since,
                counted: match (row.units, row.counted_by, row.counted_ms) {
                    (Some(units), Some(by), Some(ms)) => Some(Counted {
                        units,
                        at: decoded(moment(ms))?,
                        by,
                    }),
                    _ => None,
                },
            }),
        };
        let sheet = match decoded(row.sheet_state.parse())? {
            SheetState::NotRead => Sheet::NotRead,
            SheetState::Free => Sheet::Free { sheet: row.sheet },
            SheetState::Entry => Sheet::Entry(Dangerous {
                un: row.un.unwrap_or(0),
                name: row.proper_name,
                class: row.class,
                subsidiary: row
                    .subsidiary
                    .split_whitespace()
                    .map(str::to_owned)
                    .collect(),
                group: row
                    .packing_group
                    .map(|it| decoded(it.parse()))
                    .transpose()?,
                counted: row.counted.unwrap_or(0),
                sheet: row.sheet,
            }),
        };
        all.push(Listed {
            id: row.id,
            version: row.version,
            item: Item {
                substitutes: substitutes.remove(&row.id).unwrap_or_default(),
                code: decoded(row.code.parse())?,
                name: row.name,
                unit: row.unit,
                content,
                net_g: row.net_g,
                gross_g: row.gross_g,
                size_mm: [row.x_mm, row.y_mm, row.z_mm],
                stackable: row.stackable,
                sheet,
                depot: row.depot,
            },
            retired: row.retired_reason,
            said_by: row.said_by,
            said_ms: row.said_ms,
        });
    }
    Ok(all)
}

async fn substitutes(
    connection: &mut SqliteConnection,
) -> Result<BTreeMap<Uuid, Vec<ItemCode>>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select u.item_id as "item!: Uuid", i.code
           from item_substitute u
           join item i on i.id = u.substitute_id
           where u.version = (select max(version) from item_said where item_id = u.item_id)
           order by u.item_id, u.position"#
    )
    .fetch_all(connection)
    .await?;
    let mut all: BTreeMap<Uuid, Vec<ItemCode>> = BTreeMap::new();
    for row in rows {
        all.entry(row.item)
            .or_default()
            .push(decoded(row.code.parse())?);
    }
    Ok(all)
}

/// Lists an item of which nothing is said yet.
pub async fn list(connection: &mut SqliteConnection, code: &ItemCode) -> Result<Uuid, sqlx::Error> {
    let (id, code) = (Uuid::now_v7(), code.as_str());
    sqlx::query!("insert into item (id, code) values (?, ?)", id, code)
        .execute(connection)
        .await?;
    Ok(id)
}

/// What is said of an item from now on, by whom and when.
pub struct NewSaying<'a> {
    pub id: Uuid,
    pub version: i64,
    pub item: &'a Item,
    pub retired: Option<&'a str>,
    pub by: &'a str,
    pub ms: i64,
}

/// The columns that depend on what one unit is, and on its sheet.
#[derive(Default)]
struct Columns<'a> {
    powder: Option<&'a str>,
    bank: Option<&'a str>,
    part: Option<&'a str>,
    amount: Option<i64>,
    used: [i64; 3],
    sheet: &'a str,
    entry: Option<&'a Dangerous>,
}

fn columns(item: &Item) -> Columns<'_> {
    let mut it = Columns::default();
    match &item.content {
        Content::Powder { powder, grams } => {
            (it.powder, it.amount) = (Some(powder.as_str()), Some(*grams));
        }
        Content::Gas {
            bank,
            pressure_mbar,
        } => (it.bank, it.amount) = (Some(bank.as_str()), Some(*pressure_mbar)),
        Content::Fuel { ml } => it.amount = Some(*ml),
        Content::Consumable(used) => {
            it.used = [
                used.per_build_milli,
                used.per_hour_milli,
                used.per_day_milli,
            ];
        }
        Content::Part(part) => it.part = Some(part.as_str()),
        Content::Other => {}
    }
    match &item.sheet {
        Sheet::NotRead => {}
        Sheet::Free { sheet } => it.sheet = sheet,
        Sheet::Entry(entry) => (it.sheet, it.entry) = (&entry.sheet, Some(entry)),
    }
    it
}

/// Adds what is said; its substitutes are listed.
pub async fn say(
    connection: &mut SqliteConnection,
    new: &NewSaying<'_>,
) -> Result<(), sqlx::Error> {
    let item = new.item;
    let it = columns(item);
    let kind = Kind::of(&item.content).as_str();
    let state = SheetState::of(&item.sheet).as_str();
    let [build, hour, day] = it.used;
    let [x, y, z] = item.size_mm;
    let un = it.entry.map(|entry| entry.un);
    let name = it.entry.map_or("", |entry| &entry.name);
    let class = it.entry.map_or("", |entry| &entry.class);
    let subsidiary = it
        .entry
        .map_or_else(String::new, |entry| entry.subsidiary.join(" "));
    let group = it.entry.and_then(|entry| entry.group).map(|it| it.as_str());
    let counted = it.entry.map(|entry| entry.counted);
    sqlx::query!(
        "insert into item_said (item_id, version, name, unit, content, powder_id, bank_id, part_id, amount,
           per_build_milli, per_hour_milli, per_day_milli, net_g, gross_g, x_mm, y_mm, z_mm, stackable, sheet_state,
           sheet, un, proper_name, class, subsidiary, packing_group, counted, depot, retired_reason, said_by, said_ms)
         values (?, ?, ?, ?, ?, (select id from powder where code = ?), (select id from bank where code = ?),
           (select id from part where code = ?), ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        new.id,
        new.version,
        item.name,
        item.unit,
        kind,
        it.powder,
        it.bank,
        it.part,
        it.amount,
        build,
        hour,
        day,
        item.net_g,
        item.gross_g,
        x,
        y,
        z,
        item.stackable,
        state,
        it.sheet,
        un,
        name,
        class,
        subsidiary,
        group,
        counted,
        item.depot,
        new.retired,
        new.by,
        new.ms,
    )
    .execute(&mut *connection)
    .await?;
    for (position, substitute) in (1_i64..).zip(&item.substitutes) {
        let substitute = substitute.as_str();
        sqlx::query!(
            "insert into item_substitute (item_id, version, position, substitute_id)
             values (?, ?, ?, (select id from item where code = ?))",
            new.id,
            new.version,
            position,
            substitute,
        )
        .execute(&mut *connection)
        .await?;
    }
    Ok(())
}

/// Adds a count.
pub async fn count(
    connection: &mut SqliteConnection,
    item: Uuid,
    counted: &Counted,
    journal: i64,
) -> Result<(), sqlx::Error> {
    let ms = counted.at.timestamp_millis();
    sqlx::query!(
        "insert into item_count (journal_sequence, item_id, units, counted_by, counted_ms) values (?, ?, ?, ?, ?)",
        journal,
        item,
        counted.units,
        counted.by,
        ms,
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// All counts of an item, the newest first.
pub async fn counts(
    connection: &mut SqliteConnection,
    item: Uuid,
) -> Result<Vec<Counted>, sqlx::Error> {
    sqlx::query!(
        "select units, counted_by, counted_ms from item_count where item_id = ?
         order by journal_sequence desc limit 50",
        item
    )
    .try_map(|row| {
        Ok(Counted {
            units: row.units,
            at: DateTime::from_timestamp_millis(row.counted_ms).unwrap_or_default(),
            by: row.counted_by,
        })
    })
    .fetch_all(connection)
    .await
}

/// What counts on an item: sets, and lists of trips that are still to come.
pub async fn counts_on(
    connection: &mut SqliteConnection,
    item: Uuid,
) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select 'set ' || m.number as "what!: String" from item_set_item m
           where m.item_id = ?1 and m.version = (select max(version) from item_set where number = m.number)
           union all
           select 'trip ' || d.code from trip_must_go m join delivery d on d.id = m.delivery_id
           where m.item_id = ?1 and d.state = 'expected'
             and m.version = (select max(version) from trip_said where delivery_id = m.delivery_id)"#,
        item
    )
    .fetch_all(connection)
    .await
}
