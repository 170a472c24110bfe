//! What each column of a sheet means and what it takes, for the templates and the pages.

/// In a few words; empty for a column that no sheet has.
pub fn meaning(file: &str, column: &str) -> &'static str {
    match file {
        "assets.csv" => asset(column),
        "capabilities.csv" => capability(column),
        "parts.csv" => part(column),
        "recipes.csv" => recipe(column),
        "operations.csv" => operation(column),
        "sprays.csv" => spray(column),
        "lots.csv" => lot(column),
        "containers.csv" => container(column),
        _ => "",
    }
}

const CODE: &str =
    "1 to 40 letters, figures, - . +; each once. By it what is listed already is found";

/// The code of an asset or a capability.
const LABEL: &str =
    "1 to 40 letters, figures, - . / +; each once. By it what is listed already is found";

fn asset(column: &str) -> &'static str {
    match column {
        "code" => LABEL,
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
        "code" => LABEL,
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
        "assets" => "codes of the assets that it fits, with blanks between; empty: nobody said",
        "allowance_mm" => "sprayed beyond the finished size, 0 to 50, at most 3 decimals; empty: 0",
        _ => "",
    }
}

fn recipe(column: &str) -> &'static str {
    match column {
        "code" => "the code that its revisions share, 1 to 40 letters, figures, - . +",
        "revision" => {
            "1, 2, 3 ...; a changed figure is a new revision, after those that are entered"
        }
        "part" => "the code of the part that it makes; it is listed first",
        "state" => "of a new revision draft; somebody approves it by name on its page",
        "approved_by" => "of a new revision nothing",
        "written_by" => {
            "who wrote it, who then does not approve it, nor does whoever brings it in; empty: whoever brings it in"
        }
        "base_metals" => {
            "codes of the metals that it holds on, with blanks between; empty: built free-standing, any"
        }
        "flags" => {
            "what its part may be used for, with blanks between, as a part's flags; empty: anything"
        }
        "coupons" => "which coupons are sprayed beside the part, at most 2000 characters",
        "inspection" => {
            "what is measured, with what, and what is accepted, at most 2000 characters"
        }
        "notes" => "what else is to be known, at most 2000 characters",
        "expected" => {
            "what the deposit is expected to bear, as the approver wrote it; of a new revision nothing"
        }
        "basis" => {
            "what the approval rests on, as the approver wrote it; of a new revision nothing"
        }
        "sizes" => {
            "what is measured of the finished part, parted by |, each as: bore: 60 (59.99 to 60.03) mm"
        }
        "coupon_limits" => {
            "what is expected of its coupons, parted by |, each as: strength as-sprayed: at least 30 MPa, hardness as-sprayed: 110 to 160 HV0.3, or porosity heat-treated: at most 2 %"
        }
        _ => "",
    }
}

const OF_RECIPE: &str = "the code of its recipe in recipes.csv";
const OF_REVISION: &str = "the revision in recipes.csv";

fn operation(column: &str) -> &'static str {
    match column {
        "recipe" => OF_RECIPE,
        "revision" => OF_REVISION,
        "position" => "1, 2, 3 ... in the order in which it is done",
        "kind" => {
            "blast, mask, spray, heat-treat, cut, crack-check, measure, release, carry, fit, first-run. Release, carry, fit and first run must be there, in this order"
        }
        "name" => "in the crew's words, at most 80 characters",
        "station" => "the code of a station; empty: at the machine, and for spray",
        "minutes" => "1 to 20160; empty for spray, which takes as long as sprays.csv makes it",
        "crew" => "people it keeps; 0 runs unattended",
        "plate" => "the code of the plate that is sprayed on and used up; may be empty",
        "fixture" => "the code of the fixture that it takes; may be empty",
        "held_through" => {
            "position of the operation at whose end the fixture is free again; empty: this one"
        }
        "away_days" => "sent out for so many days, instead of minutes",
        "cycle" => "the furnace's cycle by its name",
        "within_min" => {
            "minutes at most since the operation before it, blasting or masking, which is done again if it took longer; empty: no matter"
        }
        "after_min" => "minutes at least since the one before: cooling, curing; empty: none",
        _ => "",
    }
}

fn spray(column: &str) -> &'static str {
    match column {
        "recipe" => OF_RECIPE,
        "revision" => OF_REVISION,
        "position" => "of the operation of kind spray",
        "powder" => "the code of a powder that is listed",
        "deposited_g" => {
            "grams that must stick, machining allowance included; empty where volume_cm3 is given"
        }
        "one_lot" => "yes if all of it is from one lot, no if not",
        "gas" => "nitrogen, helium, argon, air",
        "pressure_bar" => "before the nozzle, absolute, 1 to 100, at most 3 decimals",
        "temperature_c" => "of the gas before the nozzle, degrees Celsius, 20 to 1200",
        "feed_g_per_min" => "what the feeder gives, 1 to 1000",
        "efficiency_permille" => "what stuck on the coupons, in thousandths, 10 to 1000",
        "efficiency_sd_permille" => "its spread from build to build, in thousandths, 0 to 500",
        "start_stop_loss_g" => "grams lost at starts and stops",
        "coupon_g" => "grams for the coupons beside the part",
        "handling_min" => "minutes in the cell without powder",
        "gas_only_min" => "of these, minutes with gas",
        "approval_builds" => "how many coupons or builds the efficiency rests on; empty: 4",
        "volume_cm3" => "instead of deposited_g: what is laid down, pores included",
        "porosity_permille" => "its pores, in thousandths, 0 to 500",
        "nozzle" => "which nozzle; empty: any",
        "standoff_mm" => "from the nozzle's exit to the part, 1 to 500",
        "traverse_mm_s" => "how fast it goes over the part, 1 to 5000",
        "spacing_mm" => "from one line to the next, 0.01 to 50",
        "preheat_c" => "what the part is warmed to before the first pass, 20 to 900",
        "passes" => "how many layers",
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
        "made_on" => "the day on which it was made, as 2026-08-14",
        "date_kind" => "what use_by is: use-by or retest; empty: use-by",
        "storage" => "where it stands, at most 80 characters",
        "humidity_min" | "humidity_max" => {
            "relative humidity to keep it in, whole per cent, 0 to 100"
        }
        column => certificate(column),
    }
}

fn certificate(column: &str) -> &'static str {
    match column {
        "maker" => "who made it, at most 80 characters",
        "certificate" => "the number of the certificate",
        "certificate_date" => "its date, as 2026-08-20",
        "certificate_lot" => {
            "the maker's own number as the certificate has it; empty: as maker_lot"
        }
        "specification" => "what it certifies, at most 80 characters",
        "revision" => "the revision of that, at most 40 characters",
        "d10_um" | "d50_um" | "d90_um" => {
            "micrometres below which a tenth, half and nine tenths of the powder are by volume, at most 3 decimals"
        }
        "chemistry" => {
            "elements in per cent by mass, found and, in brackets, allowed: Al 9.8 (9..11); Fe 3.1 (..4). With decimal points"
        }
        "statement" => "what it says of the chemistry in words, at most 400 characters",
        "flow_s" => "seconds that 50 g take through the funnel, at most 3 decimals",
        "moisture_percent" => "water in per cent by mass, at most 4 decimals",
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
        "seal" => "the number on its seal, at most 40 characters",
        "seal_state" => "how the seal was found: whole, broken or none; empty: nobody said",
        "gross_g" => "what it weighed with the powder as it came, grams, at most 3 decimals",
        "tare_g" => "what the empty container weighs, grams, at most 3 decimals",
        "damage" => "what was damaged, at most 200 characters; empty: nothing",
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
