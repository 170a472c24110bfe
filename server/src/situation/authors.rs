//! Who wrote a revision: persons, whatever they are called meanwhile.

use std::collections::{BTreeMap, BTreeSet};

use mendpost_core::catalogue::is_same_person;
use sqlx::SqliteConnection;
use uuid::Uuid;

/// Every name of every person, now and before.
pub struct Names(Vec<(Uuid, String)>);

impl Names {
    pub async fn load(connection: &mut SqliteConnection) -> Result<Names, sqlx::Error> {
        let rows = sqlx::query!(
            r#"select person_id as "person!: Uuid", name as "name!" from person_called"#
        )
        .fetch_all(connection)
        .await?;
        let names = rows.into_iter().map(|row| (row.person, row.name));
        Ok(Names(names.collect()))
    }

    /// Everybody who is called that, or was.
    pub fn called(&self, name: &str) -> BTreeSet<Uuid> {
        let same = self.0.iter().filter(|(_, own)| is_same_person(own, name));
        same.map(|(person, _)| *person).collect()
    }

    /// What these are called, and were.
    pub fn of(&self, persons: &BTreeSet<Uuid>) -> BTreeSet<String> {
        let own = self.0.iter().filter(|(person, _)| persons.contains(person));
        own.map(|(_, name)| name.clone()).collect()
    }
}

/// Of each revision everybody of the site who wrote a line of it.
///
/// Whoever a file names as its author is known by that name alone: everybody called that counts, unless an
/// author on record was called that, who then is the one it names.
pub async fn authors(
    connection: &mut SqliteConnection,
    names: &Names,
) -> Result<BTreeMap<Uuid, BTreeSet<Uuid>>, sqlx::Error> {
    let noted = sqlx::query!(
        r#"select recipe_id as "recipe: Uuid", person_id as "person: Uuid" from recipe_author"#
    )
    .fetch_all(&mut *connection)
    .await?;
    let mut authors: BTreeMap<Uuid, BTreeSet<Uuid>> = BTreeMap::new();
    for row in noted {
        authors.entry(row.recipe).or_default().insert(row.person);
    }
    let named = sqlx::query!(r#"select id as "recipe: Uuid", written_by from recipe"#)
        .fetch_all(connection)
        .await?;
    let mut called: BTreeMap<String, BTreeSet<Uuid>> = BTreeMap::new();
    for row in named {
        let named = called
            .entry(row.written_by)
            .or_insert_with_key(|name| names.called(name));
        let of = authors.entry(row.recipe).or_default();
        if of.is_disjoint(named) {
            of.extend(&*named);
        }
    }
    Ok(authors)
}
