//! What each column of a sheet means and what it takes, for the templates and the pages.

/// In a few words; empty for a column that no sheet has.
pub fn meaning(file: &str, column: &str) -> &'static str {
    match file {
        "assets.csv" => asset(column),
        "capabilities.csv" => capability(column),
        "parts.csv" => part(column),
        "lots.csv" => lot(column),
        "containers.csv" => container(column),
        _ => "",
    }
}

const CODE: &str =
    "1 to 40 letters, figures, - . / +; each once. By it what is listed already is found";

fn asset(column: &str) -> &'static str {
    match column {
        "code" => CODE,
        "name" => "as the crew calls it, at most 80 characters",
        "down_from" => {
            "since when or from when it is down, as 2026-12-01 09:00; empty: it runs. Only of an asset that is not listed yet"
        }
        "back" => {
            "when it comes back without the cell, as 2026-12-04 15:00; may be empty. Only of an asset that is not listed yet"
        }
        _ => "",
    }
}

fn capability(column: &str) -> &'static str {
    match column {
        "code" => CODE,
        "name" => "what the site needs done, at most 80 characters",
        "assets" => "codes of the assets that give it, with blanks between; they are listed first",
        "must_run" => "how many of them must run",
        "loss_per_hour" => {
            "what is likely lost an hour with none, one, two ... of them down, with blanks between: one figure more than assets, none below the one before"
        }
        "loss_low" => "hardly less than this, as many figures; given with loss_high, or both empty",
        "loss_high" => "hardly more than this, as many figures",
        "said_by" => "who said so",
        "said_at" => "when, as 2026-11-20 08:00; new figures have a later time than the old ones",
        _ => "",
    }
}

fn part(column: &str) -> &'static str {
    match column {
        "code" => CODE,
        "name" => "without the machine's, at most 80 characters",
        "x_mm" | "y_mm" | "z_mm" => "as sprayed, whole millimetres, 1 to 100000",
        "mass_g" => "finished, whole grams, 1 to 100000000",
        "flags" => {
            "what it does, with blanks between: form-only, guard, food-or-water, carries-load, can-injure, lifts, holds-pressure, steers-or-brakes, explosive-area, unknown. None counts as unknown"
        }
        _ => "",
    }
}

fn lot(column: &str) -> &'static str {
    match column {
        "code" => "the number on its label, 1 to 40 letters, figures, - . / +; each once",
        "powder" => "the code of a powder that is listed",
        "state" => "of a new lot arrived or quarantine; it is released on its page",
        "received" => "when it came, as 2026-11-20 08:00",
        "use_by" => {
            "the last moment at which it may be sprayed, as 2027-11-20 00:00; empty: none told"
        }
        "maker_lot" => "the maker's own number; may be empty",
        "note" => "why it is in that state; may be empty",
        _ => "",
    }
}

fn container(column: &str) -> &'static str {
    match column {
        "code" => {
            "the label of the bottle, 1 to 40 letters, figures, - . / +; each once on the site"
        }
        "lot" => "the code of its lot in lots.csv",
        "received_g" => "grams that came in it, at most 3 decimals",
        "used_g" => "grams that have left it since; empty: none",
        "opened" => {
            "when it was opened, as 2026-11-21 07:30; empty: sealed. Needed if something was used"
        }
        _ => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheets::Kind;

    /// A column that is read is explained, and what is explained is read.
    #[test]
    fn every_column_is_explained() {
        for sheet in Kind::ALL.iter().flat_map(|kind| kind.sheets()) {
            for column in sheet.all_columns() {
                let text = meaning(sheet.file, column);
                assert!(!text.is_empty(), "{} {column}", sheet.file);
            }
            assert_eq!(meaning(sheet.file, "colour"), "");
        }
    }
}
