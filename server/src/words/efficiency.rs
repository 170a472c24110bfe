//! Words for the efficiency of a stage: what it rests on, and which builds count.

use mendpost_core::catalogue::Spray;
use mendpost_core::deposit::{Efficiency, Quantile};
use mendpost_core::lineup::{Basis, LotEfficiency, ODDS_APART, Others, StageEfficiency, Weighed};

use super::Words;
use super::work::{count, sentence};
use crate::page::whole;

impl Words<'_> {
    /// What a stage's efficiency rests on, as pairs of a word and its value.
    pub fn efficiency(
        &self,
        spray: &Spray,
        found: &StageEfficiency,
    ) -> Vec<(&'static str, String)> {
        let weighed = found.weighed.map_or_else(
            || "no build yet".to_owned(),
            |weighed| format!("{}, {}", builds(weighed.builds), reached(weighed)),
        );
        vec![
            (
                "Approval",
                format!(
                    "{}, on {}",
                    spread(found.approval),
                    builds(usize::try_from(spray.approval_builds).unwrap_or_default())
                ),
            ),
            ("Weighed here", weighed),
            ("Next build", spread(found.predicted.efficiency)),
            ("Planned with", self.planned_with(found)),
        ]
    }

    fn planned_with(&self, found: &StageEfficiency) -> String {
        let permille = self.situation.site.need_permille;
        let of_builds = format!("{} % of builds", super::tenths_of(permille, 10));
        let low = Quantile::new(permille as f64 / 1000.0)
            .and_then(|quantile| found.predicted.efficiency.reached_with(quantile));
        match low {
            Ok(low) => format!("{}, reached in {of_builds}", percent(low)),
            Err(_) => format!("nothing that is reached in {of_builds}"),
        }
    }

    /// Which builds count for a stage and which do not, and why.
    pub fn circumstances(&self, found: &StageEfficiency) -> Vec<String> {
        let today = millimetres(self.situation.cell.throat_um);
        let mut lines = Vec::new();
        lines.extend(others(
            "at another gas, pressure or temperature",
            found.other_setting,
        ));
        lines.extend(others(
            &format!("with a throat other than today’s {today}"),
            found.other_nozzle,
        ));
        if matches!(found.other_setting, Others::Only { .. }) {
            lines.push(match found.basis {
                Basis::Approval => "None was weighed at this setting: the approval alone is planned with, as it promises less.".to_owned(),
                _ => "None was weighed at this setting: they are planned with, as they promise less than the approval.".to_owned(),
            });
        }
        lines.extend(lots(found));
        if found.predicted.cut {
            lines.push("The builds differ by more than any spread on 0 to 100 % can: look at them before you trust this.".to_owned());
        }
        lines
    }
}

/// '61.4 %', kept on one line.
pub fn percent(share: f64) -> String {
    format!("{}\u{a0}%", super::tenths_of(permille(share), 10))
}

/// Micrometres as '2.04 mm'.
pub fn millimetres(um: i64) -> String {
    let (mm, rest) = (um / 1000, um % 1000);
    match format!("{rest:03}").trim_end_matches('0') {
        "" => format!("{mm} mm"),
        rest => format!("{mm}.{rest} mm"),
    }
}

fn spread(efficiency: Efficiency) -> String {
    format!(
        "{}, give or take {}",
        percent(efficiency.mean()),
        percent(efficiency.sd())
    )
}

fn reached(weighed: Weighed) -> String {
    match weighed.sd {
        Some(sd) => format!("{}, give or take {}", percent(weighed.mean), percent(sd)),
        None => percent(weighed.mean),
    }
}

fn builds(number: usize) -> String {
    match number {
        1 => "one build".to_owned(),
        more => format!("{} builds", count(more).to_lowercase()),
    }
}

fn others(which: &str, others: Others) -> Option<String> {
    let (number, said) = match others {
        Others::None => return None,
        Others::Only { builds } => (builds, "no other to compare with".to_owned()),
        Others::Together { builds, odds } => (
            builds,
            format!(
                "counted with the rest, as it is {} that they differ, and it takes {}",
                self::odds(odds),
                self::odds(ODDS_APART)
            ),
        ),
        Others::Apart { builds, odds } => (
            builds,
            format!("left out, as it is {} that they differ", self::odds(odds)),
        ),
    };
    Some(format!("{} {which}: {said}.", sentence(&builds(number))))
}

/// What the lots have to do with it.
fn lots(found: &StageEfficiency) -> Vec<String> {
    let apart: Vec<&LotEfficiency> = found.lots.iter().filter(|l| l.is_apart()).collect();
    if apart.is_empty() {
        let most = found.lots.iter().map(|l| l.odds).reduce(f64::max);
        let said = |most| {
            format!(
                "Its {} lots are not told apart: at most {} that one differs, and it takes {}.",
                count(found.lots.len()).to_lowercase(),
                odds(most),
                odds(ODDS_APART)
            )
        };
        return most.map(said).into_iter().collect();
    }
    let mut lines: Vec<String> = apart.iter().map(|lot| lot_line(lot)).collect();
    lines.push(match &found.basis {
        Basis::Lot(lot) => format!(
            "Which lot a build draws is not known when it is planned: {lot} is planned with, the worst on hand."
        ),
        _ => "Which lot a build draws is not known when it is planned: all lots together are planned with, as they promise least.".to_owned(),
    });
    lines
}

fn lot_line(lot: &LotEfficiency) -> String {
    format!(
        "Lot {} differs from the others, it is {}: {} in {}{}.",
        lot.lot,
        odds(lot.odds),
        reached(lot.weighed),
        builds(lot.weighed.builds),
        if lot.on_hand {
            ""
        } else {
            "; none of it is left to spray"
        }
    )
}

/// Odds to one: '250 to 1', '1 to 4'.
fn odds(odds: f64) -> String {
    const MOST: f64 = 1000.0;
    if odds >= MOST {
        "more than 1 000 to 1".to_owned()
    } else if odds >= 1.0 {
        format!("{} to 1", whole(rounded(odds)))
    } else if odds * MOST > 1.0 {
        format!("1 to {}", whole(rounded(1.0 / odds)))
    } else {
        "less than 1 to 1 000".to_owned()
    }
}

fn permille(share: f64) -> i64 {
    rounded(share * 1000.0)
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "a float cast to i64 saturates, and these are small"
)]
fn rounded(value: f64) -> i64 {
    value.round() as i64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn odds_are_said_to_one() {
        assert_eq!(odds(250.4), "250 to 1");
        assert_eq!(odds(1e300), "more than 1 000 to 1");
        assert_eq!(odds(f64::INFINITY), "more than 1 000 to 1");
        assert_eq!(odds(0.25), "1 to 4");
        assert_eq!(odds(0.0), "less than 1 to 1 000");
    }

    #[test]
    fn shares_and_throats_are_said_as_they_are_read() {
        assert_eq!(percent(0.614), "61.4\u{a0}%");
        assert_eq!(percent(1.0), "100\u{a0}%");
        assert_eq!(millimetres(2040), "2.04 mm");
        assert_eq!(millimetres(2000), "2 mm");
    }

    /// What is left out, and what counts though it was otherwise.
    #[test]
    fn circumstances_are_told_in_words() {
        let apart = Others::Apart {
            builds: 4,
            odds: 120.0,
        };
        assert_eq!(
            others("with a throat other than today’s 2 mm", apart).expect("said"),
            "Four builds with a throat other than today’s 2 mm: left out, as it is 120 to 1 that they differ."
        );
        assert_eq!(others("", Others::None), None);
    }
}
