//! How far what is told may be off: durations, deliveries, builds; and what an order may cost more to survive
//! more.

use mendpost_core::situation::Chances;
use sqlx::{SqliteConnection, SqliteExecutor};

use crate::figures::of_site::OfSite;
use crate::figures::{Figure, Values};

pub(super) struct Told;

pub(super) const COUNT: usize = 7;

/// In the order in which they are typed and kept.
const FIGURES: [Figure; COUNT] = [
    percent(
        "duration_percent",
        "duration_permille",
        "Durations differ by",
        "20 %: two of three take between the told time divided by 1.2 and multiplied by 1.2",
        (0, 2000),
    ),
    Figure {
        name: "late_h",
        kept: "late_h",
        label: "Deliveries are late by at most",
        unit: "h",
        hint: "where nobody said the latest; one in two comes when told",
        places: 0,
        range: (0, 720),
        needed: true,
    },
    percent(
        "own_percent",
        "own_permille",
        "Builds that pass: the crew’s own",
        "parts that the crew may release by itself",
        PASS,
    ),
    percent(
        "asked_percent",
        "asked_permille",
        "Builds that pass: with a yes",
        "parts that somebody else must say yes to",
        PASS,
    ),
    percent(
        "trial_percent",
        "trial_permille",
        "Builds that pass: trial pieces",
        "parts that may be built as a trial piece only",
        PASS,
    ),
    Figure {
        name: "chance_builds",
        kept: "chance_builds",
        label: "As how many builds these count",
        unit: "builds",
        hint: "beside the builds of each recipe that are on record",
        places: 0,
        range: (1, 1000),
        needed: true,
    },
    percent(
        "margin_percent",
        "margin_permille",
        "Margin above the least loss",
        "within it the order that the crew works to stays, else the one that survives more is taken",
        (0, 200),
    ),
];

const PASS: (i64, i64) = (10, 1000);

const fn percent(
    name: &'static str,
    kept: &'static str,
    label: &'static str,
    hint: &'static str,
    range: (i64, i64),
) -> Figure {
    Figure {
        name,
        kept,
        label,
        unit: "%",
        hint,
        places: 1,
        range,
        needed: true,
    }
}

impl OfSite<COUNT> for Told {
    const FIGURES: &'static [Figure; COUNT] = &FIGURES;
    const PATH: &'static str = "/site/chances";
    const TITLE: &'static str = "Chances";
    const SUBJECT: &'static str = "chances";
    const REASON: &'static str = "They count from now on; plan again after it.";

    fn said(_: &Values<COUNT>, version: i64) -> (String, String) {
        let reason = match version {
            1 => "Not said yet: common practice, no source.",
            _ => "How sure an order is, as the line-up tells it, rests on this.",
        };
        let answer = "Say what this site has seen of durations, deliveries and builds.";
        (answer.to_owned(), reason.to_owned())
    }

    fn told(journal: i64) -> String {
        format!("the chances. Journal {journal}. Plan again to count with them.")
    }

    async fn load(connection: &mut SqliteConnection) -> Result<(Values<COUNT>, i64), sqlx::Error> {
        let row = sqlx::query!(
            "select duration_permille, late_h, own_permille, asked_permille, trial_permille, chance_builds,
               margin_permille, version
             from planning"
        )
        .fetch_one(connection)
        .await?;
        let values = [
            row.duration_permille,
            row.late_h,
            row.own_permille,
            row.asked_permille,
            row.trial_permille,
            row.chance_builds,
            row.margin_permille,
        ];
        Ok((values.map(Some), row.version))
    }

    async fn update(
        connection: &mut SqliteConnection,
        values: &Values<COUNT>,
    ) -> Result<(), sqlx::Error> {
        let [duration, late_h, own, asked, trial, builds, margin] = *values;
        sqlx::query!(
            "update planning set duration_permille = ?, late_h = ?, own_permille = ?, asked_permille = ?,
               trial_permille = ?, chance_builds = ?, margin_permille = ?, version = version + 1",
            duration,
            late_h,
            own,
            asked,
            trial,
            builds,
            margin,
        )
        .execute(connection)
        .await?;
        Ok(())
    }
}

/// What the computation counts with.
pub(crate) async fn chances(executor: impl SqliteExecutor<'_>) -> Result<Chances, sqlx::Error> {
    sqlx::query!(
        "select duration_permille, late_h, own_permille, asked_permille, trial_permille, chance_builds,
           margin_permille
         from planning"
    )
    .map(|row| Chances {
        duration_permille: row.duration_permille,
        late_min: row.late_h * 60,
        own_permille: row.own_permille,
        asked_permille: row.asked_permille,
        trial_permille: row.trial_permille,
        builds: row.chance_builds,
        margin_permille: row.margin_permille,
    })
    .fetch_one(executor)
    .await
}
