//! Lost updates: two tablets open the same form, both save, and the first entry would vanish unseen.
//!
//! Each row that a form edits has a version. The form carries the one that it was opened at; a write
//! from an older one changes nothing and shows the form again with both: what stands now, by whom and
//! since when, and what was typed. The person then saves theirs over it or leaves it. Nothing is merged
//! silently, also when the two touched different fields.
//!
//! To give a form this:
//!
//! 1. The table has `version integer not null default 1 check (version > 0)`; each write of what the
//!    form edits says `version = version + 1`.
//! 2. The form has `version: String`, shown again as typed: `{{ version::carry(form.version) }}` from
//!    `templates/version.html`.
//! 3. In the change, before the write, load the row and compare: [`is_current`]. If it is not, drop the
//!    change and show the form with status 409, [`Stale::of`] and `form.version` set to
//!    [`Stale::version`], so that saving again saves over what stands.
//! 4. The journal entry of each write holds the version that it made as `version`: by that is found
//!    who made what stands now.
//! 5. The template shows `{{ version::both(page, stale) }}` above the form and
//!    `{{ version::acts(path) }}` instead of its own actions while there is something stale.

use mendpost_core::journal::Subject;
use sqlx::SqliteExecutor;

use crate::journal;

/// Whether a form that carries this was opened at the version that stands now.
pub fn is_current(carried: &str, stands: i64) -> bool {
    carried.parse() == Ok(stands)
}

/// What stands now beside what was typed on a form that was opened before it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stale {
    /// The version that stands now.
    pub version: i64,
    /// Who made it, and when.
    pub made: Option<Made>,
    /// Every field of the form.
    pub fields: Vec<Field>,
}

/// Who saved, and when in milliseconds since 1970, UTC.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Made {
    pub by: String,
    pub at: i64,
}

/// One field in both versions, as words for people.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Field {
    pub name: &'static str,
    pub stands: String,
    pub yours: String,
}

impl Field {
    pub fn new(name: &'static str, stands: &impl ToString, yours: &impl ToString) -> Self {
        Field {
            name,
            stands: stands.to_string(),
            yours: yours.to_string(),
        }
    }

    pub fn differs(&self) -> bool {
        self.stands != self.yours
    }
}

impl Stale {
    /// Finds in the journal who made the version that stands now.
    pub async fn of(
        executor: impl SqliteExecutor<'_>,
        subject: &Subject,
        version: i64,
        fields: Vec<Field>,
    ) -> Result<Stale, sqlx::Error> {
        let mut made = journal::of(executor, subject, Some(version), 1).await?;
        let made = made.pop().map(|entry| Made {
            by: entry.by,
            at: entry.time,
        });
        Ok(Stale {
            version,
            made,
            fields,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A form without a version, or with something else in its place, is never current.
    #[test]
    fn only_the_version_that_stands_is_current() {
        assert!(is_current("3", 3));
        for carried in ["2", "4", "", "three", "3.0", "-3"] {
            assert!(!is_current(carried, 3), "{carried}");
        }
    }
}
