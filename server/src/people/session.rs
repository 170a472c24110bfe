//! Sessions in the database: who is signed in, the anti-forgery token, and what is left to say.

mod memory;

use std::collections::HashMap;
use std::fmt;

use async_trait::async_trait;
use serde_json::Value;
use sha2::{Digest, Sha256};
use sqlx::{SqliteConnection, SqliteExecutor};
use tower_sessions::cookie::SameSite;
use tower_sessions::cookie::time::OffsetDateTime;
use tower_sessions::session::{Id, Record};
use tower_sessions::session_store::{Error, Result as StoreResult};
use tower_sessions::{Session, SessionManagerLayer, SessionStore};
use uuid::Uuid;

use super::{Person, token};
use crate::AppState;
use crate::clock::Clock;
use crate::config::Config;
use crate::db::Db;
use crate::error::AppError;
use crate::health::{Health, Trouble};
use crate::page::Notice;
use memory::{Memory, Remembered};

/// The layer that gives each request its session. With https the cookie's name makes browsers refuse
/// one that another host or an unencrypted page has set.
pub fn layer(state: &AppState) -> SessionManagerLayer<Sessions> {
    let Config { behind_https, .. } = *state.config;
    SessionManagerLayer::new(Sessions {
        db: state.db.clone(),
        clock: state.clock.clone(),
        health: state.health.clone(),
        memory: Memory::default(),
    })
    .with_name(if behind_https {
        "__Host-session"
    } else {
        "session"
    })
    .with_secure(behind_https)
    .with_http_only(true)
    .with_same_site(SameSite::Lax)
}

/// Signs a person in. Session id and token are new, so that what was known before is worth nothing.
/// `agent` is what the browser calls itself.
pub async fn open(session: &Session, person: &Person, agent: &str) -> Result<(), AppError> {
    session.cycle_id().await?;
    session.insert(PERSON, person.id).await?;
    session.insert(AGENT, agent).await?;
    Ok(session.insert(TOKEN, token::new()).await?)
}

pub async fn person(session: &Session) -> Result<Option<Uuid>, AppError> {
    Ok(session.get(PERSON).await?)
}

pub async fn token(session: &Session) -> Result<Option<String>, AppError> {
    Ok(session.get(TOKEN).await?)
}

pub async fn keep_token(session: &Session, token: &str) -> Result<(), AppError> {
    Ok(session.insert(TOKEN, token).await?)
}

pub async fn add_notice(session: &Session, notice: Notice) -> Result<(), AppError> {
    let mut notices: Vec<Notice> = session.get(NOTICES).await?.unwrap_or_default();
    notices.push(notice);
    Ok(session.insert(NOTICES, notices).await?)
}

/// Writes the session only when there was something to take.
pub async fn take_notices(session: &Session) -> Result<Vec<Notice>, AppError> {
    match session.get(NOTICES).await? {
        None => Ok(Vec::new()),
        Some(notices) => {
            session.remove_value(NOTICES).await?;
            Ok(notices)
        }
    }
}

/// What a session is called in a form, and how it is found: the hash that the database holds.
pub fn key(session: &Session) -> Option<Vec<u8>> {
    session.id().map(|id| hash(&id))
}

/// A person's session, as shown to them and to the lead.
pub struct Open {
    pub key: Vec<u8>,
    pub user_agent: String,
    pub since: i64,
    /// To within the few minutes between renewals.
    pub last_used: i64,
}

/// The sessions that a person has open, the last used first.
pub async fn open_sessions(
    executor: impl SqliteExecutor<'_>,
    person: Uuid,
    now: i64,
) -> Result<Vec<Open>, sqlx::Error> {
    sqlx::query_as!(
        Open,
        "select token_hash as key, user_agent, created_at as since, seen_at as last_used
         from session
         where person_id = ? and expires_at > ?
         order by seen_at desc, created_at desc",
        person,
        now,
    )
    .fetch_all(executor)
    .await
}

/// Ends all sessions of a person, and says how many there were.
pub async fn end_all(connection: &mut SqliteConnection, person: Uuid) -> Result<u64, sqlx::Error> {
    let ended = sqlx::query!("delete from session where person_id = ?", person)
        .execute(connection)
        .await?;
    Ok(ended.rows_affected())
}

/// Ends all sessions of a person but one.
pub async fn end_others(
    connection: &mut SqliteConnection,
    person: Uuid,
    kept: &[u8],
) -> Result<u64, sqlx::Error> {
    let ended = sqlx::query!(
        "delete from session where person_id = ? and token_hash <> ?",
        person,
        kept,
    )
    .execute(connection)
    .await?;
    Ok(ended.rows_affected())
}

/// Ends one session of a person; of nobody else.
pub async fn end_one(
    connection: &mut SqliteConnection,
    person: Uuid,
    key: &[u8],
) -> Result<u64, sqlx::Error> {
    let ended = sqlx::query!(
        "delete from session where person_id = ? and token_hash = ?",
        person,
        key,
    )
    .execute(connection)
    .await?;
    Ok(ended.rows_affected())
}

const PERSON: &str = "person";
const AGENT: &str = "agent";
const TOKEN: &str = "token";
const NOTICES: &str = "notices";

const MINUTE: i64 = 60_000;

/// A session ends when nothing was asked for a whole watch.
const IDLE_LIMIT: i64 = 12 * 60 * MINUTE;

/// However much it is used, a session ends after a day: two watches.
const TOTAL_LIMIT: i64 = 24 * 60 * MINUTE;

/// Somebody who has not signed in has this long to fill in the form.
const VISITOR_LIMIT: i64 = 60 * MINUTE;

/// Reading pages renews a session at most this often, so that reading seldom writes.
const RENEW_AFTER: i64 = 5 * MINUTE;

/// The sessions of one site. Times follow the service's clock; what the session layer proposes as a
/// session's end is not used.
#[derive(Clone)]
pub struct Sessions {
    db: Db,
    clock: Clock,
    health: Health,
    /// For as long as the database cannot be written.
    memory: Memory,
}

impl fmt::Debug for Sessions {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Sessions")
    }
}

#[async_trait]
impl SessionStore for Sessions {
    async fn create(&self, record: &mut Record) -> StoreResult<()> {
        let now = self.clock.now();
        let row = Row::of(record)?;
        let expires = now
            + if row.person.is_some() {
                IDLE_LIMIT
            } else {
                VISITOR_LIMIT
            };
        if !self.health.is_well() {
            self.memory
                .keep(row.token_hash, record.data.clone(), expires, now);
            return Ok(());
        }
        match self.insert(&row, now, expires).await {
            Err(error) if self.is_trouble(&error) => {
                self.memory
                    .keep(row.token_hash, record.data.clone(), expires, now);
                Ok(())
            }
            outcome => outcome.map_err(backend),
        }
    }

    /// A session that has ended meanwhile stays ended.
    async fn save(&self, record: &Record) -> StoreResult<()> {
        let row = Row::of(record)?;
        let in_memory = self.memory.get(&row.token_hash).is_some();
        if self.health.is_well() && !in_memory {
            let saved = sqlx::query!(
                "update session set person_id = ?, data = ? where token_hash = ?",
                row.person,
                row.data,
                row.token_hash,
            )
            .execute(&self.db.write)
            .await;
            match saved {
                Err(error) if self.is_trouble(&error) => (),
                outcome => return outcome.map(|_| ()).map_err(backend),
            }
        }
        let expires = record.expiry_date.unix_timestamp() * 1000;
        self.memory.keep(
            row.token_hash,
            record.data.clone(),
            expires,
            self.clock.now(),
        );
        Ok(())
    }

    async fn load(&self, id: &Id) -> StoreResult<Option<Record>> {
        let now = self.clock.now();
        let token_hash = hash(id);
        if let Some(remembered) = self.memory.get(&token_hash) {
            return remembered_record(*id, remembered, now);
        }
        let found = sqlx::query!(
            "select person_id, data, created_at, seen_at, expires_at
             from session
             where token_hash = ? and expires_at > ?",
            token_hash,
            now,
        )
        .fetch_optional(&self.db.read)
        .await
        .map_err(backend)?;
        let Some(row) = found else { return Ok(None) };
        let is_stale = now - row.seen_at >= RENEW_AFTER;
        if row.person_id.is_some() && is_stale && self.health.is_well() {
            let expires = (now + IDLE_LIMIT).min(row.created_at + TOTAL_LIMIT);
            self.renew(&token_hash, now, expires).await;
        }
        let data: HashMap<String, Value> =
            serde_json::from_str(&row.data).map_err(|error| Error::Decode(error.to_string()))?;
        Ok(Some(Record {
            id: *id,
            data,
            expiry_date: expiry_date(row.expires_at)?,
        }))
    }

    async fn delete(&self, id: &Id) -> StoreResult<()> {
        let token_hash = hash(id);
        if self.health.is_well() {
            let deleted = sqlx::query!("delete from session where token_hash = ?", token_hash)
                .execute(&self.db.write)
                .await;
            match deleted {
                Err(error) if self.is_trouble(&error) => (),
                outcome if self.memory.get(&token_hash).is_none() => {
                    return outcome.map(|_| ()).map_err(backend);
                }
                outcome => {
                    outcome.map_err(backend)?;
                }
            }
        }
        self.memory.end(token_hash);
        Ok(())
    }
}

impl Sessions {
    async fn insert(&self, row: &Row, now: i64, expires: i64) -> Result<(), sqlx::Error> {
        sqlx::query!("delete from session where expires_at <= ?", now)
            .execute(&self.db.write)
            .await?;
        // An id has 128 random bits: one that exists already is an error, not a case.
        sqlx::query!(
            "insert into session
               (token_hash, person_id, user_agent, data, created_at, seen_at, expires_at)
             values (?, ?, ?, ?, ?, ?, ?)",
            row.token_hash,
            row.person,
            row.user_agent,
            row.data,
            now,
            now,
            expires,
        )
        .execute(&self.db.write)
        .await?;
        Ok(())
    }

    /// Whether the database cannot be written now; remembers that for the pages.
    fn is_trouble(&self, error: &sqlx::Error) -> bool {
        let trouble = Trouble::of(error);
        if let Some(trouble) = trouble {
            self.health.failed(trouble);
        }
        trouble.is_some()
    }

    /// A database that cannot be written must still show its pages.
    async fn renew(&self, token_hash: &[u8], now: i64, expires: i64) {
        let renewed = sqlx::query!(
            "update session set seen_at = ?, expires_at = ? where token_hash = ?",
            now,
            expires,
            token_hash,
        )
        .execute(&self.db.write)
        .await;
        if let Err(error) = renewed {
            tracing::warn!(cause = %error, "a session was not renewed");
        }
    }
}

/// A session as stored.
struct Row {
    token_hash: Vec<u8>,
    person: Option<Uuid>,
    user_agent: String,
    data: String,
}

impl Row {
    fn of(record: &Record) -> StoreResult<Row> {
        let encode = |error: serde_json::Error| Error::Encode(error.to_string());
        let person = record.data.get(PERSON).cloned();
        let agent = record.data.get(AGENT).and_then(Value::as_str);
        Ok(Row {
            user_agent: agent.unwrap_or_default().to_owned(),
            token_hash: hash(&record.id),
            person: person
                .map(serde_json::from_value)
                .transpose()
                .map_err(encode)?,
            data: serde_json::to_string(&record.data).map_err(encode)?,
        })
    }
}

fn remembered_record(id: Id, remembered: Remembered, now: i64) -> StoreResult<Option<Record>> {
    match remembered {
        Remembered::Open { data, expires_at } if expires_at > now => Ok(Some(Record {
            id,
            data,
            expiry_date: expiry_date(expires_at)?,
        })),
        _ => Ok(None),
    }
}

fn expiry_date(unix_ms: i64) -> StoreResult<OffsetDateTime> {
    OffsetDateTime::from_unix_timestamp(unix_ms / 1000)
        .map_err(|error| Error::Decode(error.to_string()))
}

fn hash(id: &Id) -> Vec<u8> {
    Sha256::digest(id.0.to_le_bytes()).to_vec()
}

#[expect(
    clippy::needless_pass_by_value,
    reason = "the shape that map_err asks for"
)]
fn backend(error: sqlx::Error) -> Error {
    Error::Backend(error.to_string())
}
