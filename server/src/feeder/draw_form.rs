//! What is typed about a draw: which container, for what, and what the scale showed.

use mendpost_core::powder::Allowance;
use mendpost_core::quantity::Milligrams;
use serde::Deserialize;

use crate::form::{FieldErrors, MOST_WEIGHED_MG, decimal, local_time, optional_text};
use crate::page::grams_exact;
use crate::people::Visit;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct DrawForm {
    pub container: String,
    /// A request as 'R12', or 'trial'.
    #[serde(rename = "for")]
    pub for_: String,
    pub opened: String,
    pub before: String,
    pub after: String,
    pub division: String,
    /// 'yes' if the container is closed again.
    pub closed: String,
    pub reason: String,
}

/// The word for a draw that is for no request.
pub const TRIAL: &str = "trial";

/// What the scale showed, before and after.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Weighed {
    pub before: Milligrams,
    pub after: Milligrams,
    pub division: Milligrams,
}

impl Weighed {
    /// What left the container, above 0.
    pub fn drawn(self) -> i64 {
        self.before.0 - self.after.0
    }
}

/// What the scale showed in these fields; the second is less than the first if powder went, more if it came.
pub fn weighed(
    (before, after, division): (&str, &str, &str),
    goes: bool,
    errors: &mut FieldErrors,
) -> Option<Weighed> {
    let division = errors.check("division", decimal(division, 3, 1..=1_000_000));
    let before = errors.check("before", decimal(before, 3, 0..=MOST_WEIGHED_MG));
    let after = errors.check("after", decimal(after, 3, 0..=MOST_WEIGHED_MG));
    let (division, before, after) = (division?, before?, after?);
    for (field, shown) in [("before", before), ("after", after)] {
        if shown % division != 0 {
            errors.add(
                field,
                format!(
                    "a scale with a division of {} does not show {}; read it again, or give its division",
                    grams_exact(division),
                    grams_exact(shown)
                ),
            );
        }
    }
    let fault = match (goes, before.cmp(&after)) {
        (_, std::cmp::Ordering::Equal) => Some("both weighings are the same: nothing was poured"),
        (true, std::cmp::Ordering::Less) => Some(
            "the container weighs more after than before; see whether both are the right way round",
        ),
        (false, std::cmp::Ordering::Greater) => Some(
            "the container weighs less after than before; see whether both are the right way round",
        ),
        _ => None,
    };
    if let Some(fault) = fault {
        errors.add("after", fault);
    }
    let weighed = Weighed {
        before: Milligrams(before),
        after: Milligrams(after),
        division: Milligrams(division),
    };
    errors.is_empty().then_some(weighed)
}

/// The gap between what a container weighs without its tare and what the book says, if it takes a count first.
pub fn gap(
    weighed: Weighed,
    tare: Option<Milligrams>,
    held: Milligrams,
    allowance: Allowance,
) -> Option<String> {
    let net = weighed.before.0 - tare?.0;
    let allowance = Allowance {
        division: weighed.division,
        ..allowance
    };
    let gap = Milligrams(net - held.0);
    let stops = gap.0.abs() > allowance.stop_line(held).0;
    stops.then(|| {
        format!(
            "without its tare of {} it holds {}, and the book says {}: {} apart, and {} are allowed; count it first",
            grams_exact(tare.unwrap_or_default().0),
            grams_exact(net),
            grams_exact(held.0),
            grams_exact(gap.0.abs()),
            grams_exact(allowance.stop_line(held).0),
        )
    })
}

impl DrawForm {
    /// When the container was opened: as typed, else now; not in time to come.
    pub fn opened_ms(&self, visit: &Visit, errors: &mut FieldErrors) -> Option<i64> {
        if self.opened.trim().is_empty() {
            return Some(visit.now);
        }
        let opened = errors.check("opened", local_time(&self.opened, visit.site.zone))?;
        if opened > visit.now {
            errors.add("opened", "that is still to come");
            return None;
        }
        Some(opened)
    }

    pub fn reason(&self, errors: &mut FieldErrors) -> Option<String> {
        errors
            .check("reason", optional_text(&self.reason, 200))
            .flatten()
    }
}
