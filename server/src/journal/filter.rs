//! Which entries of the journal are asked for, by the address of its page.

use chrono_tz::Tz;
use serde::Deserialize;

use crate::form::{FieldErrors, local_time};

/// What the address says, as it was typed.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Asked {
    /// Show entries before this one.
    before: String,
    /// From when, at the site's time.
    pub from: String,
    /// Until when, that minute included.
    pub to: String,
    /// By whom, as entries name them.
    pub person: String,
    /// What happened to things of this kind, as 'lot'.
    pub subject: String,
    /// What happened to this one, as 'L0408'.
    pub id: String,
    /// Check the whole chain.
    pub check: String,
}

/// Who and what can be asked for.
pub(super) struct Known {
    /// Actor and name of each.
    pub people: Vec<(String, String)>,
    /// Kinds of subjects.
    pub kinds: Vec<String>,
}

/// What is asked for; an empty text asks for any.
pub(super) struct Filter {
    pub before: i64,
    pub from_ms: i64,
    pub to_ms: i64,
    pub actor: String,
    pub subject: String,
    pub id: String,
}

/// The last millisecond of a minute.
const REST_OF_MINUTE_MS: i64 = 59_999;

impl Asked {
    /// Reads what was typed; what cannot be asked for is told beside its field, and asks for any.
    pub fn filter(&self, known: &Known, zone: Tz, errors: &mut FieldErrors) -> Filter {
        let mut time = |field: &str, typed: &str| match typed.trim() {
            "" => None,
            typed => errors.check(field, local_time(typed, zone)),
        };
        let (from, to) = (time("from", &self.from), time("to", &self.to));
        let to = to.map(|to| to.saturating_add(REST_OF_MINUTE_MS));
        if from.zip(to).is_some_and(|(from, to)| to < from) {
            errors.add(
                "to",
                "that is before the time from which on you ask; give a later one",
            );
        }
        let of = |field: &str, typed: &str, is_known: bool, errors: &mut FieldErrors| {
            if typed.is_empty() || is_known {
                return typed.to_owned();
            }
            errors.add(field, "that stands in no entry; choose from the list");
            String::new()
        };
        let (person, subject) = (self.person.trim(), self.subject.trim());
        let is_known = known.people.iter().any(|(actor, _)| actor == person);
        let actor = of("person", person, is_known, errors);
        let is_known = known.kinds.iter().any(|kind| kind == subject);
        let subject = of("subject", subject, is_known, errors);
        Filter {
            before: self.before.parse().unwrap_or(i64::MAX),
            from_ms: from.unwrap_or(i64::MIN),
            to_ms: to.unwrap_or(i64::MAX),
            actor,
            subject,
            id: self.id.trim().to_owned(),
        }
    }

    /// The address of entries before one, of what is asked for.
    pub fn before(&self, sequence: i64) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        query.append_pair("before", &sequence.to_string());
        for (name, value) in [
            ("from", &self.from),
            ("to", &self.to),
            ("person", &self.person),
            ("subject", &self.subject),
            ("id", &self.id),
        ] {
            if !value.trim().is_empty() {
                query.append_pair(name, value.trim());
            }
        }
        format!("/journal?{}", query.finish())
    }
}

impl Filter {
    /// Whether any entry is left out.
    pub fn is_part(&self) -> bool {
        let texts = [&self.actor, &self.subject, &self.id];
        texts.iter().any(|text| !text.is_empty())
            || self.from_ms > i64::MIN
            || self.to_ms < i64::MAX
    }
}
