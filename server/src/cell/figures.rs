//! What the cell is: nozzle as machined, limits, booth. What wears is read as a gauge instead.

use sqlx::SqliteConnection;

use crate::figures::of_site::OfSite;
use crate::figures::{Figure, Values};

pub(super) struct Built;

/// In the order in which they are typed and kept.
pub const FIGURES: [Figure; COUNT] = [
    mm(
        "throat_mm",
        "throat_um",
        "Throat as machined",
        NEEDED,
        (500, 10_000),
        "a bore read later counts in its place",
    ),
    mm(
        "worn_mm",
        "worn_um",
        "Bore at which the nozzle is changed",
        MAY_LACK,
        (500, 10_000),
        "empty: nobody has said",
    ),
    mm(
        "nozzle_exit_mm",
        "nozzle_exit_um",
        "Nozzle exit",
        MAY_LACK,
        (505, 50_000),
        "with the length it gives the deposition window",
    ),
    mm(
        "nozzle_divergent_mm",
        "nozzle_divergent_um",
        "Length from throat to exit",
        MAY_LACK,
        (5_000, 500_000),
        "",
    ),
    Figure {
        name: "max_bar",
        kept: "max_mbar",
        label: "Highest pressure",
        unit: "bar",
        hint: "absolute, at the nozzle",
        places: 3,
        range: (1000, 100_000),
        needed: true,
    },
    Figure {
        name: "max_c",
        kept: "max_c",
        label: "Highest gas temperature",
        unit: "°C",
        hint: "",
        places: 0,
        range: (20, 1200),
        needed: true,
    },
    Figure {
        name: "heater_kw",
        kept: "heater_w",
        label: "Heater, as built",
        unit: "kW",
        hint: "the most that it takes; a power read later counts in its place",
        places: 3,
        range: (100, 1_000_000),
        needed: false,
    },
    whole_mm("booth_x_mm", "Booth, length"),
    whole_mm("booth_y_mm", "Booth, width"),
    whole_mm("booth_z_mm", "Booth, height"),
    Figure {
        name: "max_part_kg",
        kept: "max_part_g",
        label: "Heaviest part",
        unit: "kg",
        hint: "that the manipulator turns",
        places: 3,
        range: (1, 100_000_000),
        needed: true,
    },
    Figure {
        name: "heel_g",
        kept: "heel_g",
        label: "Heel of the feeder",
        unit: "g",
        hint: "that it must hold to feed at all; empty: none",
        places: 0,
        range: (0, 20_000),
        needed: false,
    },
    Figure {
        name: "collector_limit_pa",
        kept: "collector_limit_pa",
        label: "Collector limit",
        unit: "Pa",
        hint: "pressure drop at which its filter elements are changed",
        places: 0,
        range: (10, 20_000),
        needed: false,
    },
];

pub const COUNT: usize = 13;
const NEEDED: bool = true;
const MAY_LACK: bool = false;

const fn mm(
    name: &'static str,
    kept: &'static str,
    label: &'static str,
    needed: bool,
    range: (i64, i64),
    hint: &'static str,
) -> Figure {
    Figure {
        name,
        kept,
        label,
        unit: "mm",
        hint,
        places: 3,
        range,
        needed,
    }
}

const fn whole_mm(name: &'static str, label: &'static str) -> Figure {
    Figure {
        name,
        kept: name,
        label,
        unit: "mm",
        hint: "of the largest part that fits",
        places: 0,
        range: (1, 100_000),
        needed: true,
    }
}

/// Figures that contradict each other: name of the one to mend, and what is wrong with it.
pub fn contradictions(values: &Values<COUNT>) -> Vec<(&'static str, &'static str)> {
    let [throat, worn, exit, length, ..] = *values;
    let mut found = Vec::new();
    if exit.is_some() && length.is_none() {
        found.push((
            "nozzle_divergent_mm",
            "needed beside the exit; give both or neither",
        ));
    }
    if length.is_some() && exit.is_none() {
        found.push((
            "nozzle_exit_mm",
            "needed beside the length; give both or neither",
        ));
    }
    if exit
        .zip(throat)
        .is_some_and(|(exit, throat)| exit <= throat)
    {
        found.push((
            "nozzle_exit_mm",
            "not wider than the throat; a nozzle widens towards its exit",
        ));
    }
    if worn
        .zip(throat)
        .is_some_and(|(worn, throat)| worn <= throat)
    {
        found.push((
            "worn_mm",
            "not wider than the throat as machined; a bore only grows",
        ));
    }
    found
}

impl OfSite<COUNT> for Built {
    const FIGURES: &'static [Figure; COUNT] = &FIGURES;
    const PATH: &'static str = "/site/cell";
    const TITLE: &'static str = "Cell figures";
    const SUBJECT: &'static str = "cell";
    const REASON: &'static str = "They count from now on; plan again after it.";

    fn said(values: &Values<COUNT>, _: i64) -> (String, String) {
        let lacking = FIGURES
            .iter()
            .zip(values)
            .filter(|(_, value)| value.is_none());
        let lacking: Vec<String> = lacking
            .map(|(figure, _)| figure.label.to_lowercase())
            .collect();
        match lacking.as_slice() {
            [] => (
                "Read off gauges what wears; this is what the cell was built as.".to_owned(),
                "Every plan counts with it.".to_owned(),
            ),
            lacking => (
                format!("Tell what nobody has told yet: {}.", lacking.join(", ")),
                "What needs it is not worked out meanwhile.".to_owned(),
            ),
        }
    }

    fn told(journal: i64) -> String {
        format!("what the cell is. Journal {journal}. Plan again to count with it.")
    }

    fn contradictions(values: &Values<COUNT>) -> Vec<(&'static str, &'static str)> {
        contradictions(values)
    }

    async fn load(connection: &mut SqliteConnection) -> Result<(Values<COUNT>, i64), sqlx::Error> {
        let row = sqlx::query!(
            "select throat_um, worn_um, nozzle_exit_um, nozzle_divergent_um, max_mbar, max_c, heater_w,
               booth_x_mm, booth_y_mm, booth_z_mm, max_part_g, heel_g, collector_limit_pa, version
             from cell"
        )
        .fetch_one(connection)
        .await?;
        let values = [
            Some(row.throat_um),
            row.worn_um,
            row.nozzle_exit_um,
            row.nozzle_divergent_um,
            Some(row.max_mbar),
            Some(row.max_c),
            row.heater_w,
            Some(row.booth_x_mm),
            Some(row.booth_y_mm),
            Some(row.booth_z_mm),
            Some(row.max_part_g),
            Some(row.heel_g),
            row.collector_limit_pa,
        ];
        Ok((values, row.version))
    }

    async fn update(
        connection: &mut SqliteConnection,
        values: &Values<COUNT>,
    ) -> Result<(), sqlx::Error> {
        let [
            throat,
            worn,
            exit,
            length,
            mbar,
            c,
            heater,
            x,
            y,
            z,
            part,
            heel,
            collector,
        ] = *values;
        let heel = heel.unwrap_or(0);
        sqlx::query!(
            "update cell set throat_um = ?, worn_um = ?, nozzle_exit_um = ?, nozzle_divergent_um = ?,
               max_mbar = ?, max_c = ?, heater_w = ?, booth_x_mm = ?, booth_y_mm = ?, booth_z_mm = ?,
               max_part_g = ?, heel_g = ?, collector_limit_pa = ?, version = version + 1",
            throat,
            worn,
            exit,
            length,
            mbar,
            c,
            heater,
            x,
            y,
            z,
            part,
            heel,
            collector,
        )
        .execute(connection)
        .await?;
        Ok(())
    }
}
