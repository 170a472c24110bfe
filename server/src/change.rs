//! The one way to change anything: a transaction that cannot be committed without a journal entry.

use std::fmt;

use axum::response::{IntoResponse, Redirect, Response};
use chrono::{DateTime, Utc};
use mendpost_core::journal::{self, Chain, Entry, Hash, Stored, Subject};
use serde::Serialize;
use serde_json::Value;
use sqlx::{Sqlite, SqliteConnection, SqliteExecutor, SqlitePool, Transaction};
use uuid::Uuid;

use crate::AppState;
use crate::error::AppError;
use crate::health::Health;
use crate::once::{self, Answered, Once};
use crate::page::Notice;
use crate::people::Who;
use crate::situation;

/// One change in the making: checks, writes and journal entries in one immediate transaction.
///
/// Dropped without an end it never happened. What a person changes by a form ends with
/// [`Change::finish`], which also keeps the answer, should the form be sent again; what the program
/// changes of its own ends with [`Change::commit`]. While it lives it holds the only writing
/// connection: do nothing slow, and do not touch the session.
pub struct Change {
    transaction: Transaction<'static, Sqlite>,
    actor: Actor,
    once: Option<Once>,
    now: i64,
    entries: u32,
    last: i64,
    health: Health,
}

impl Change {
    /// Takes the writing connection and begins.
    ///
    /// # Errors
    /// When a person's form carries no number, or was sent before.
    pub async fn begin(state: &AppState, author: impl Into<Author>) -> Result<Change, AppError> {
        state.health.check()?;
        let Author { actor, once } = author.into();
        let mut transaction = state.db.write.begin_with("begin immediate").await?;
        let once = match (actor, once) {
            (Actor::Person(person), Some(once)) => {
                let once = once.ok_or_else(|| AppError::Refused(NO_NUMBER.to_owned()))?;
                once::refuse_repeated(&mut transaction, person, &once).await?;
                Some(once)
            }
            _ => None,
        };
        Ok(Change {
            transaction,
            actor,
            once,
            now: state.clock.now(),
            entries: 0,
            last: 0,
            health: state.health.clone(),
        })
    }

    /// The connection on which to check and write.
    pub fn connection(&mut self) -> &mut SqliteConnection {
        &mut self.transaction
    }

    /// The time of the change, the same in each row and entry that it writes.
    pub fn now(&self) -> i64 {
        self.now
    }

    /// The same as a moment.
    ///
    /// # Errors
    /// [`AppError::Internal`] for a clock beyond all calendars.
    pub fn moment(&self) -> Result<DateTime<Utc>, AppError> {
        situation::moment(self.now).map_err(AppError::internal)
    }

    /// Writes what happened to the journal, sealed to the entry before it, and returns its sequence.
    pub async fn journal(
        &mut self,
        kind: &str,
        subject: Subject,
        content: impl Serialize,
    ) -> Result<i64, AppError> {
        let content = serde_json::to_value(content).map_err(AppError::internal)?;
        self.journal_all([(kind, subject, content)]).await?;
        Ok(self.last)
    }

    /// Writes several entries, each by its kind, subject and content.
    pub async fn journal_all(
        &mut self,
        entries: impl IntoIterator<Item = (&str, Subject, Value)>,
    ) -> Result<(), AppError> {
        let (mut last, mut previous) = head(&mut self.transaction).await?;
        for (kind, subject, content) in entries {
            last += 1;
            let entry = Entry {
                sequence: last,
                time: self.now,
                actor: self.actor.to_string(),
                kind: kind.to_owned(),
                subject,
                content,
            };
            let (stored, hash) = Stored::seal(previous, entry).map_err(AppError::internal)?;
            append(&mut self.transaction, &stored).await?;
            previous = hash;
            self.entries += 1;
            self.last = last;
        }
        Ok(())
    }

    /// Makes a person's change last, and leads to the page that shows it, with what there is to say.
    ///
    /// # Errors
    /// As [`Change::commit`].
    pub async fn finish(
        mut self,
        who: &Who,
        location: &str,
        notice: Notice,
    ) -> Result<Response, AppError> {
        self.keep_answer(location, &notice).await?;
        self.end().await?;
        // The change stands; that it could not be said is no reason to call it failed.
        if let Err(error) = who.notice(notice).await {
            tracing::warn!(cause = %error, "a change was made and could not be announced");
        }
        Ok(Redirect::to(location).into_response())
    }

    /// Makes a person's change last where its answer can be shown only once, as a code to write down.
    /// The same form sent again leads to `location`, which says so by `notice`.
    pub async fn finish_shown_once(
        mut self,
        location: &str,
        notice: Notice,
    ) -> Result<(), AppError> {
        self.keep_answer(location, &notice).await?;
        self.end().await
    }

    /// Makes the program's own change last.
    ///
    /// # Errors
    /// When nothing was written to the journal: a change that leaves no trace is a fault in the program.
    pub async fn commit(self) -> Result<(), AppError> {
        if self.once.is_some() {
            return Err(AppError::internal(
                "a form's change was not finished with its answer",
            ));
        }
        self.end().await
    }

    fn refuse_without_trace(&self) -> Result<(), AppError> {
        match self.entries {
            0 => Err(AppError::internal(
                "a change without a journal entry was not committed",
            )),
            _ => Ok(()),
        }
    }

    async fn keep_answer(&mut self, location: &str, notice: &Notice) -> Result<(), AppError> {
        self.refuse_without_trace()?;
        let (Actor::Person(person), Some(once)) = (self.actor, &self.once) else {
            return Ok(());
        };
        let answered = Answered {
            location: location.to_owned(),
            notice: notice.clone(),
        };
        once::keep(
            &mut self.transaction,
            person,
            once,
            &answered,
            self.last,
            self.now,
        )
        .await
    }

    async fn end(self) -> Result<(), AppError> {
        self.refuse_without_trace()?;
        self.transaction.commit().await?;
        self.health.wrote();
        Ok(())
    }
}

/// Who makes a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Actor {
    /// A person, by id.
    Person(Uuid),
    /// The program itself.
    Mendpost,
}

impl fmt::Display for Actor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Actor::Person(id) => id.fmt(f),
            Actor::Mendpost => f.write_str("mendpost"),
        }
    }
}

/// Who makes a change, and by which form.
#[derive(Debug, Clone)]
pub struct Author {
    actor: Actor,
    /// None: not by a form of somebody signed in. `Some(None)`: by a form that carries no number.
    once: Option<Option<Once>>,
}

impl From<Actor> for Author {
    fn from(actor: Actor) -> Self {
        Author { actor, once: None }
    }
}

impl From<&Who> for Author {
    fn from(who: &Who) -> Self {
        Author {
            actor: Actor::Person(who.id),
            once: Some(who.once.clone()),
        }
    }
}

const NO_NUMBER: &str = "this form carries no number of its own, so nothing was done; open its page again, \
                         and repeat the step";

/// Sequence of the last change; 0 before the first.
pub async fn last_sequence(executor: impl SqliteExecutor<'_>) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(r#"select coalesce(max(sequence), 0) as "sequence!: i64" from journal"#)
        .fetch_one(executor)
        .await
}

/// Checks the whole stored journal and returns its chain, or the first place at which it is broken.
pub async fn verify_journal(
    read: &SqlitePool,
) -> Result<Result<Chain, journal::BrokenAt>, sqlx::Error> {
    // One moment of it, whatever is written meanwhile.
    let mut reading = read.begin().await?;
    let mut chain = Chain::default();
    loop {
        let entries = stored_after(&mut reading, chain.sequence()).await?;
        if entries.is_empty() {
            return Ok(Ok(chain));
        }
        for stored in &entries {
            if let Err(broken) = chain.follow(stored) {
                return Ok(Err(broken));
            }
        }
    }
}

/// How many entries are read at once.
const AT_ONCE: i64 = 1000;

/// The next entries after one, as they are stored; after 0 those that cannot be come too.
pub async fn stored_after(
    connection: &mut SqliteConnection,
    sequence: i64,
) -> Result<Vec<Stored>, sqlx::Error> {
    let after = if sequence == 0 { i64::MIN } else { sequence };
    // As bytes: what is no text is to be told, not to fail.
    sqlx::query_as!(
        Stored,
        r#"select sequence, time, cast(actor as blob) as "actor!: Vec<u8>", cast(kind as blob) as "kind!: Vec<u8>",
             cast(subject_kind as blob) as "subject_kind!: Vec<u8>", cast(subject_id as blob) as "subject_id!: Vec<u8>",
             cast(content as blob) as "content!: Vec<u8>", previous_hash as previous, hash
           from journal
           where sequence > ?
           order by sequence
           limit ?"#,
        after,
        AT_ONCE,
    )
    .fetch_all(connection)
    .await
}

/// Sequence number and hash of the last entry.
pub async fn head(connection: &mut SqliteConnection) -> Result<(i64, Hash), sqlx::Error> {
    let last = sqlx::query!("select sequence, hash from journal order by sequence desc limit 1")
        .try_map(|row| Ok((row.sequence, hash(row.hash)?)))
        .fetch_optional(connection)
        .await?;
    Ok(last.unwrap_or((0, Hash::START)))
}

async fn append(connection: &mut SqliteConnection, stored: &Stored) -> Result<(), AppError> {
    sqlx::query!(
        "insert into journal
           (sequence, time, actor, kind, subject_kind, subject_id, content, previous_hash, hash)
         values (?, ?, cast(? as text), cast(? as text), cast(? as text), cast(? as text), cast(? as text), ?, ?)",
        stored.sequence,
        stored.time,
        stored.actor,
        stored.kind,
        stored.subject_kind,
        stored.subject_id,
        stored.content,
        stored.previous,
        stored.hash,
    )
    .execute(connection)
    .await?;
    Ok(())
}

fn hash(stored: Vec<u8>) -> Result<Hash, sqlx::Error> {
    stored.try_into().map(Hash).map_err(|bytes: Vec<u8>| {
        sqlx::Error::Decode(format!("a hash of {} bytes", bytes.len()).into())
    })
}
