use mendpost_core::people::Role;
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use super::Person;
use crate::db::decoded;

/// Everybody, in the order in which they came.
pub async fn everybody(executor: impl SqliteExecutor<'_>) -> Result<Vec<Person>, sqlx::Error> {
    sqlx::query!(
        r#"select id as "id: Uuid", number, name, role, active as "active: bool", version
           from person
           order by number"#
    )
    .try_map(|row| {
        person(
            row.id,
            row.number,
            row.name,
            &row.role,
            row.active,
            row.version,
        )
    })
    .fetch_all(executor)
    .await
}

/// The person of this id, if still active.
pub(super) async fn active_person(
    executor: impl SqliteExecutor<'_>,
    id: Uuid,
) -> Result<Option<Person>, sqlx::Error> {
    sqlx::query!(
        r#"select id as "id: Uuid", number, name, role, active as "active: bool", version
           from person
           where id = ? and active = 1"#,
        id
    )
    .try_map(|row| {
        person(
            row.id,
            row.number,
            row.name,
            &row.role,
            row.active,
            row.version,
        )
    })
    .fetch_optional(executor)
    .await
}

/// The active person of this name, and the hash of the passphrase if there is one.
pub async fn person_to_sign_in(
    executor: impl SqliteExecutor<'_>,
    name: &str,
) -> Result<Option<(Person, Option<String>)>, sqlx::Error> {
    sqlx::query!(
        r#"select id as "id: Uuid", number, name, role, active as "active: bool", version, passphrase_hash
           from person
           where name = ? and active = 1"#,
        name
    )
    .try_map(|row| {
        let person = person(row.id, row.number, row.name, &row.role, row.active, row.version)?;
        Ok((person, row.passphrase_hash))
    })
    .fetch_optional(executor)
    .await
}

/// The person of this name, active or not.
pub(super) async fn person_named(
    connection: &mut SqliteConnection,
    name: &str,
) -> Result<Option<Person>, sqlx::Error> {
    sqlx::query!(
        r#"select id as "id: Uuid", number, name, role, active as "active: bool", version
           from person
           where name = ?"#,
        name
    )
    .try_map(|row| {
        person(
            row.id,
            row.number,
            row.name,
            &row.role,
            row.active,
            row.version,
        )
    })
    .fetch_optional(connection)
    .await
}

/// The person of this number, active or not.
pub(super) async fn person_numbered(
    executor: impl SqliteExecutor<'_>,
    number: i64,
) -> Result<Option<Person>, sqlx::Error> {
    sqlx::query!(
        r#"select id as "id: Uuid", number, name, role, active as "active: bool", version
           from person
           where number = ?"#,
        number
    )
    .try_map(|row| {
        person(
            row.id,
            row.number,
            row.name,
            &row.role,
            row.active,
            row.version,
        )
    })
    .fetch_optional(executor)
    .await
}

/// The numbers of active people who have neither passphrase nor code, and so no way in.
pub async fn shut_out(
    executor: impl SqliteExecutor<'_>,
    now: i64,
) -> Result<Vec<i64>, sqlx::Error> {
    sqlx::query_scalar!(
        "select number from person
         where active = 1 and passphrase_hash is null
           and not exists (
             select 1 from one_time_code
             where person_id = person.id and used_at is null
               and (expires_at is null or expires_at > ?))
         order by number",
        now
    )
    .fetch_all(executor)
    .await
}

/// The hash of a person's passphrase, if there is one.
pub(super) async fn passphrase_hash(
    executor: impl SqliteExecutor<'_>,
    id: Uuid,
) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar!("select passphrase_hash from person where id = ?", id)
        .fetch_one(executor)
        .await
}

/// Whether an active lead is left without this person.
pub(super) async fn has_other_lead(
    connection: &mut SqliteConnection,
    id: Uuid,
) -> Result<bool, sqlx::Error> {
    let count = sqlx::query_scalar!(
        "select count(*) from person where role = 'lead' and active = 1 and id <> ?",
        id
    )
    .fetch_one(connection)
    .await?;
    Ok(count > 0)
}

pub(super) async fn next_number(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(r#"select coalesce(max(number), 0) + 1 as "number!: i64" from person"#)
        .fetch_one(connection)
        .await
}

pub(super) async fn insert(
    connection: &mut SqliteConnection,
    person: &Person,
    passphrase_hash: Option<&str>,
) -> Result<(), sqlx::Error> {
    let role = person.role.as_str();
    sqlx::query!(
        "insert into person (id, number, name, role, passphrase_hash, active)
         values (?, ?, ?, ?, ?, ?)",
        person.id,
        person.number,
        person.name,
        role,
        passphrase_hash,
        person.active,
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub(super) async fn update(
    connection: &mut SqliteConnection,
    id: Uuid,
    name: &str,
    role: Role,
) -> Result<(), sqlx::Error> {
    let role = role.as_str();
    sqlx::query!(
        "insert into former_name (person_id, name)
         select id, name from person where id = ?1 and name <> ?2 collate binary
         on conflict do nothing",
        id,
        name,
    )
    .execute(&mut *connection)
    .await?;
    sqlx::query!(
        "update person set name = ?, role = ?, version = version + 1 where id = ?",
        name,
        role,
        id,
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub(super) async fn set_active(
    connection: &mut SqliteConnection,
    id: Uuid,
    active: bool,
) -> Result<(), sqlx::Error> {
    sqlx::query!("update person set active = ? where id = ?", active, id)
        .execute(connection)
        .await?;
    Ok(())
}

pub(super) async fn set_passphrase(
    connection: &mut SqliteConnection,
    id: Uuid,
    passphrase_hash: &str,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update person set passphrase_hash = ? where id = ?",
        passphrase_hash,
        id,
    )
    .execute(connection)
    .await?;
    Ok(())
}

fn person(
    id: Uuid,
    number: i64,
    name: String,
    role: &str,
    active: bool,
    version: i64,
) -> Result<Person, sqlx::Error> {
    let role: Role = decoded(role.parse())?;
    Ok(Person {
        id,
        number,
        name,
        role,
        active,
        version,
    })
}
