//! A handover as it is being written: kept field by field, so that nothing is lost when a tablet dies, and two who
//! write at one time do not write over each other.

use std::collections::BTreeMap;

use mendpost_core::journal::Subject;
use mendpost_core::shift::GOOD_FOR_MIN;
use serde_json::json;
use sqlx::SqliteConnection;

use super::fields;
use crate::change::Change;
use crate::error::AppError;
use crate::form::section::Fields;

/// All versions of the fields of a shift's handover.
#[derive(Debug, Default)]
pub(super) struct Draft {
    /// The last saving.
    pub version: i64,
    fields: BTreeMap<String, Vec<Version>>,
}

#[derive(Debug)]
struct Version {
    version: i64,
    value: String,
    by: String,
    /// Whether it is a time of day that is over.
    over: bool,
}

/// A field in which somebody else wrote something else meanwhile.
#[derive(Debug, Clone)]
pub(super) struct Clash {
    pub field: String,
    pub by: String,
    pub stands: String,
}

/// What a saving comes to.
#[derive(Debug, Default)]
pub(super) struct Merged {
    /// Fields with what is to be written.
    pub changed: Fields,
    pub clashes: Vec<Clash>,
}

impl Version {
    fn shown(&self) -> &str {
        if self.over { "" } else { &self.value }
    }
}

impl Draft {
    /// What was kept of a shift's handover. Times of day that were written more than an hour ago are left out: the
    /// same figures on a clock are another time by then.
    pub async fn load(
        connection: &mut SqliteConnection,
        shift: i64,
        now: i64,
    ) -> Result<Draft, sqlx::Error> {
        let rows = sqlx::query!(
            r#"select d.field as "field!: String", d.version as "version!: i64", d.value, d.written_by, j.time
               from handover_draft d
               join journal j on j.sequence = d.journal_sequence
               where d.shift = ?
               order by d.field, d.version"#,
            shift
        )
        .fetch_all(connection)
        .await?;
        let mut draft = Draft::default();
        for row in rows {
            draft.version = draft.version.max(row.version);
            let over = fields::is_time(&row.field) && now - row.time > GOOD_FOR_MIN * 60_000;
            draft.fields.entry(row.field).or_default().push(Version {
                version: row.version,
                value: row.value,
                by: row.written_by,
                over,
            });
        }
        Ok(draft)
    }

    /// What stands in a field; none where nobody has written there.
    pub fn value(&self, field: &str) -> Option<&str> {
        self.newest(field).map(Version::shown)
    }

    fn newest(&self, field: &str) -> Option<&Version> {
        self.fields.get(field)?.last()
    }

    /// What stood in a field after a saving; none where nobody had written there.
    fn at(&self, field: &str, version: i64) -> Option<&str> {
        let mut old = self.fields.get(field)?.iter().rev();
        let old = old.find(|it| it.version <= version);
        old.map(Version::shown)
    }

    /// What is to be written of what was typed on a page that showed the draft as it was after the saving `base`, and
    /// what is proposed where nobody had written.
    ///
    /// What was not touched there leaves what others wrote; what others wrote where this page wrote too is a clash.
    pub fn merge(
        &self,
        names: &[String],
        (typed, proposed): (&Fields, &Fields),
        (base, me): (i64, &str),
    ) -> Merged {
        let mut merged = Merged::default();
        for name in names {
            let typed = typed.get(name).map_or("", |typed| typed.trim());
            let proposed = proposed.get(name).map_or("", String::as_str);
            let shown = self.at(name, base).unwrap_or(proposed);
            let stands = self.value(name).unwrap_or(proposed);
            if typed == stands || typed == shown {
                continue;
            }
            match self.newest(name) {
                Some(newest) if stands != shown && newest.by != me => merged.clashes.push(Clash {
                    field: name.clone(),
                    by: newest.by.clone(),
                    stands: stands.to_owned(),
                }),
                _ => {
                    merged.changed.insert(name.clone(), typed.to_owned());
                }
            }
        }
        merged
    }

    /// Writes what was typed anew; the version that stands then.
    pub async fn keep(
        &self,
        change: &mut Change,
        shift: i64,
        changed: &Fields,
        by: &str,
    ) -> Result<i64, AppError> {
        if changed.is_empty() {
            return Ok(self.version);
        }
        let version = self.version + 1;
        let content = json!({ "version": version, "fields": changed, "written_by": by });
        let subject = Subject::new("shift", shift);
        let sequence = change.journal("handover.drafted", subject, content).await?;
        for (field, value) in changed {
            sqlx::query!(
                "insert into handover_draft (shift, field, version, value, written_by, journal_sequence)
                 values (?, ?, ?, ?, ?, ?)",
                shift,
                field,
                version,
                value,
                by,
                sequence,
            )
            .execute(change.connection())
            .await?;
        }
        Ok(version)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Saving 1 by A wrote bank and fuel, saving 2 by B wrote fuel anew.
    fn draft() -> Draft {
        let version = |version, value: &str, by: &str| Version {
            version,
            value: value.to_owned(),
            by: by.to_owned(),
            over: false,
        };
        Draft {
            version: 2,
            fields: BTreeMap::from([
                ("bank".to_owned(), vec![version(1, "120 bar", "A")]),
                (
                    "fuel".to_owned(),
                    vec![version(1, "400 L", "A"), version(2, "410 L", "B")],
                ),
            ]),
        }
    }

    fn fields(of: &[(&str, &str)]) -> Fields {
        let of = of.iter();
        of.map(|(name, value)| ((*name).to_owned(), (*value).to_owned()))
            .collect()
    }

    fn merged(base: i64, typed: &[(&str, &str)]) -> (Vec<(String, String)>, Vec<String>) {
        let names = ["bank", "fuel", "booth"].map(str::to_owned);
        let typed = fields(typed);
        let merged = draft().merge(&names, (&typed, &Fields::new()), (base, "A"));
        let clashes = merged
            .clashes
            .into_iter()
            .map(|it| format!("{} {} {}", it.field, it.by, it.stands));
        (merged.changed.into_iter().collect(), clashes.collect())
    }

    fn pair(name: &str, value: &str) -> (String, String) {
        (name.to_owned(), value.to_owned())
    }

    /// A's page still shows 400 L. Untouched there, B's 410 L stays; a new field is written.
    #[test]
    fn what_was_not_touched_leaves_what_others_wrote() {
        let typed = [("bank", "120 bar"), ("fuel", "400 L"), ("booth", "20.9 %")];
        assert_eq!(merged(1, &typed), (vec![pair("booth", "20.9 %")], vec![]));
    }

    /// A wrote 390 L meanwhile: A is told what B wrote. On a page that shows B's, A's goes over it.
    #[test]
    fn two_values_of_one_field_clash() {
        let typed = [("bank", "118 bar"), ("fuel", "390 L")];
        let (changed, clashes) = merged(1, &typed);
        assert_eq!(changed, [pair("bank", "118 bar")]);
        assert_eq!(clashes, ["fuel B 410 L"]);
        let (changed, clashes) = merged(2, &typed);
        assert_eq!(changed, [pair("bank", "118 bar"), pair("fuel", "390 L")]);
        assert!(clashes.is_empty());
    }

    /// What is rubbed out is written as nothing.
    #[test]
    fn rubbed_out_is_written_too() {
        let (changed, _) = merged(2, &[("fuel", "410 L")]);
        assert_eq!(changed, [pair("bank", "")]);
    }
    /// 'Cut to size' is proposed. Left as it is nothing is written, so that a later proposal stands in its place;
    /// rubbed out, it is written as nothing, and counts no more.
    #[test]
    fn what_is_proposed_counts_until_it_is_rubbed_out() {
        let names = ["next".to_owned()];
        let proposed = fields(&[("next", "cut to size")]);
        let merged = |typed: &str| {
            let typed = fields(&[("next", typed)]);
            draft().merge(&names, (&typed, &proposed), (2, "A")).changed
        };
        assert!(merged("cut to size").is_empty());
        assert_eq!(merged(""), fields(&[("next", "")]));
    }

    /// Written at 17:40, '17:40' says nothing at 18:41 any more.
    #[test]
    fn a_time_of_day_that_is_over_is_left_out() {
        let mut draft = draft();
        let versions = draft.fields.entry("fuel".to_owned()).or_default();
        versions.iter_mut().for_each(|it| it.over = true);
        assert_eq!(draft.value("fuel"), Some(""));
        let typed = fields(&[("fuel", "")]);
        let names = ["fuel".to_owned()];
        let merged = draft.merge(&names, (&typed, &Fields::new()), (2, "A"));
        assert!(merged.changed.is_empty());
    }
}
