//! How far weighing and book may differ before somebody looks, and before a lot is held.

use mendpost_core::powder::Allowance;
use mendpost_core::quantity::Milligrams;
use sqlx::{SqliteConnection, SqliteExecutor};

use crate::figures::of_site::OfSite;
use crate::figures::{Figure, Values};

pub(super) struct Weighing;

pub(super) const COUNT: usize = 4;

/// In the order in which they are typed and kept.
const FIGURES: [Figure; COUNT] = [
    figure(
        "division_g",
        "division_mg",
        "The scale’s division",
        "g",
        "the smallest step that it shows; each weighing may say another",
        3,
        (1, 1_000_000),
    ),
    figure(
        "divisions",
        "divisions",
        "Divisions that two weighings may differ by",
        "",
        "added to both lines",
        0,
        (0, 100),
    ),
    figure(
        "watch_percent",
        "watch_permille",
        "Watch line",
        "%",
        "of what was drawn; beyond it somebody looks",
        1,
        (0, 1000),
    ),
    figure(
        "stop_percent",
        "stop_permille",
        "Stop line",
        "%",
        "of what was drawn; beyond it the lot is held until two have counted again",
        1,
        (0, 1000),
    ),
];

const fn figure(
    name: &'static str,
    kept: &'static str,
    label: &'static str,
    unit: &'static str,
    hint: &'static str,
    places: usize,
    range: (i64, i64),
) -> Figure {
    Figure {
        name,
        kept,
        label,
        unit,
        hint,
        places,
        range,
        needed: true,
    }
}

impl OfSite<COUNT> for Weighing {
    const FIGURES: &'static [Figure; COUNT] = &FIGURES;
    const PATH: &'static str = "/site/weighing";
    const TITLE: &'static str = "Weighing";
    const SUBJECT: &'static str = "weighing";
    const REASON: &'static str =
        "Two weighings with a division of 10 g are uncertain by about 8 g (k = 2).";

    fn said(_: &Values<COUNT>, version: i64) -> (String, String) {
        let reason = match version {
            1 => "Not said yet: common practice, no source.",
            _ => "Builds, counts and the feeder are judged by this.",
        };
        let answer = "Say how far weighing and book may differ.";
        (answer.to_owned(), reason.to_owned())
    }

    fn told(journal: i64) -> String {
        format!(
            "how far weighing and book may differ, journal {journal}. What was judged before stays as it was."
        )
    }

    fn contradictions(values: &Values<COUNT>) -> Vec<(&'static str, &'static str)> {
        match *values {
            [_, _, Some(watch), Some(stop)] if stop < watch => vec![(
                "stop_percent",
                "the stop line lies at the watch line or beyond it",
            )],
            _ => Vec::new(),
        }
    }

    async fn load(connection: &mut SqliteConnection) -> Result<(Values<COUNT>, i64), sqlx::Error> {
        let row = sqlx::query!(
            "select division_mg, divisions, watch_permille, stop_permille, version from weighing"
        )
        .fetch_one(connection)
        .await?;
        let values = [
            row.division_mg,
            row.divisions,
            row.watch_permille,
            row.stop_permille,
        ];
        Ok((values.map(Some), row.version))
    }

    async fn update(
        connection: &mut SqliteConnection,
        values: &Values<COUNT>,
    ) -> Result<(), sqlx::Error> {
        let [division, divisions, watch, stop] = *values;
        sqlx::query!(
            "update weighing set division_mg = ?, divisions = ?, watch_permille = ?, stop_permille = ?,
               version = version + 1",
            division,
            divisions,
            watch,
            stop,
        )
        .execute(connection)
        .await?;
        Ok(())
    }
}

/// What weighings are judged by.
pub(crate) async fn allowance(executor: impl SqliteExecutor<'_>) -> Result<Allowance, sqlx::Error> {
    sqlx::query!("select division_mg, divisions, watch_permille, stop_permille from weighing")
        .map(|row| Allowance {
            division: Milligrams(row.division_mg),
            divisions: row.divisions,
            watch_permille: row.watch_permille,
            stop_permille: row.stop_permille,
        })
        .fetch_one(executor)
        .await
}
