//! Measuring tools: what each measures, and whether its figure counts at a time.

use crate::word_enum;
use chrono::{DateTime, Utc};

word_enum! {
    /// What a tool measures.
    Measures {
        /// Lengths, in millimetres; kept in nanometres.
        Length = "length",
        /// Bond strength, in megapascal; kept in thousandths.
        Strength = "strength",
        /// Vickers hardness; kept in thousandths.
        Hardness = "hardness",
        /// Density or porosity, in per cent; kept in thousandths.
        Share = "share",
    }
}

impl Measures {
    /// The unit of its range and figures.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Length => "mm",
            Self::Strength => "MPa",
            Self::Hardness => "HV",
            Self::Share => "%",
        }
    }

    /// With how many decimals a figure is kept.
    #[must_use]
    pub const fn places(self) -> usize {
        match self {
            Self::Length => 6,
            Self::Strength | Self::Hardness | Self::Share => 3,
        }
    }
}

/// A certificate that a tool shows what is there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Calibration {
    /// Number of the certificate, or what else says so.
    pub certificate: String,
    /// When it was calibrated.
    pub at: DateTime<Utc>,
    /// Until when that holds; this moment included.
    pub due: DateTime<Utc>,
}

/// Somebody said that a tool does not show what is there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Report {
    /// When it was said.
    pub at: DateTime<Utc>,
    /// Since when its figures are in doubt; not after `at`.
    pub since: DateTime<Utc>,
    /// Why.
    pub reason: String,
}

/// A measuring tool with all that was said of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tool {
    /// The number on it.
    pub code: String,
    /// What the crew calls it.
    pub name: String,
    /// What it measures.
    pub measures: Measures,
    /// Least and most that it shows, in the steps of what it measures.
    pub range: [i64; 2],
    /// Its scale division, in the same steps.
    pub resolution: i64,
    /// Its calibrations, the oldest first.
    pub calibrations: Vec<Calibration>,
    /// What was reported of it, the oldest first.
    pub reports: Vec<Report>,
}

/// Why a figure of a tool does not count.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ToolFault {
    /// It measures something else.
    Measures {
        /// What.
        measures: Measures,
    },
    /// It was not calibrated by then.
    NotCalibrated,
    /// Its calibration had run out by then.
    PastDue {
        /// When it ran out.
        due: DateTime<Utc>,
    },
    /// It is reported out, and was not calibrated since.
    ReportedOut {
        /// Since when.
        since: DateTime<Utc>,
        /// Why.
        reason: String,
    },
    /// It does not show such figures.
    OutOfRange {
        /// Least and most that it shows, in the steps of what it measures.
        range: [i64; 2],
    },
}

impl Tool {
    /// The calibration that was the newest at a time.
    #[must_use]
    pub fn calibrated(&self, at: DateTime<Utc>) -> Option<&Calibration> {
        let before = self.calibrations.iter().filter(|it| it.at <= at);
        before.max_by_key(|it| it.at)
    }

    /// The report that stands at a time: none once it was calibrated after what is in doubt began.
    #[must_use]
    pub fn reported(&self, at: DateTime<Utc>) -> Option<&Report> {
        let put_right = |since| {
            let mut calibrated = self.calibrations.iter().map(|it| it.at);
            calibrated.any(|then| since < then && then <= at)
        };
        let reports = self.reports.iter().filter(|it| it.since <= at);
        let stands = reports.filter(|it| !put_right(it.since));
        stands.min_by_key(|it| it.since)
    }

    /// Why no figure that it shows at a time counts; none if they do.
    #[must_use]
    pub fn fault_at(&self, at: DateTime<Utc>) -> Option<ToolFault> {
        if let Some(report) = self.reported(at) {
            return Some(ToolFault::ReportedOut {
                since: report.since,
                reason: report.reason.clone(),
            });
        }
        match self.calibrated(at) {
            None => Some(ToolFault::NotCalibrated),
            Some(it) if it.due < at => Some(ToolFault::PastDue { due: it.due }),
            Some(_) => None,
        }
    }

    /// Why this figure of it does not count.
    ///
    /// # Errors
    /// The first reason.
    pub fn takes(
        &self,
        measures: Measures,
        figure: i64,
        at: DateTime<Utc>,
    ) -> Result<(), ToolFault> {
        if self.measures != measures {
            let measures = self.measures;
            return Err(ToolFault::Measures { measures });
        }
        if let Some(fault) = self.fault_at(at) {
            return Err(fault);
        }
        let [least, most] = self.range;
        match (least..=most).contains(&figure) {
            true => Ok(()),
            false => Err(ToolFault::OutOfRange { range: self.range }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeDelta;
    use proptest::prelude::*;

    fn day(number: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::days(number)
    }

    /// Calibrated on day 10 until day 40, 0 to 150 mm.
    fn caliper() -> Tool {
        Tool {
            code: "M-1".to_owned(),
            name: "caliper".to_owned(),
            measures: Measures::Length,
            range: [0, 150_000_000],
            resolution: 10_000,
            calibrations: vec![Calibration {
                certificate: "K 12".to_owned(),
                at: day(10),
                due: day(40),
            }],
            reports: Vec::new(),
        }
    }

    /// Before day 10 and after day 40 no figure counts; on both days it does.
    #[test]
    fn a_figure_counts_from_calibration_until_due() {
        let tool = caliper();
        let at = |number| tool.takes(Measures::Length, 60_000_000, day(number));
        assert_eq!(at(9), Err(ToolFault::NotCalibrated));
        assert_eq!(at(10), Ok(()));
        assert_eq!(at(40), Ok(()));
        assert_eq!(at(41), Err(ToolFault::PastDue { due: day(40) }));
    }

    /// Calibrated again in time it goes on; the figures of before still stand by the old certificate.
    #[test]
    fn the_calibration_of_that_time_counts() {
        let mut tool = caliper();
        tool.calibrations.push(Calibration {
            certificate: "K 13".to_owned(),
            at: day(38),
            due: day(68),
        });
        assert_eq!(tool.fault_at(day(60)), None);
        let then = tool.calibrated(day(30)).map(|it| it.certificate.as_str());
        assert_eq!(then, Some("K 12"));
    }

    /// Dropped on day 20 and told on day 22: nothing since day 20 counts, until it is calibrated on day 25,
    /// and then what it shows counts again. What it showed on day 15 was never in doubt.
    #[test]
    fn what_is_reported_out_takes_nothing_until_it_is_calibrated() {
        let mut tool = caliper();
        tool.reports.push(Report {
            at: day(22),
            since: day(20),
            reason: "dropped".to_owned(),
        });
        let out = ToolFault::ReportedOut {
            since: day(20),
            reason: "dropped".to_owned(),
        };
        assert_eq!(tool.fault_at(day(15)), None);
        assert_eq!(tool.fault_at(day(21)), Some(out.clone()));
        tool.calibrations.push(Calibration {
            certificate: "K 14".to_owned(),
            at: day(25),
            due: day(55),
        });
        assert_eq!(tool.fault_at(day(26)), None);
        assert_eq!(
            tool.fault_at(day(24)),
            Some(out),
            "what it showed then is in doubt for ever"
        );
    }

    #[test]
    fn a_tool_shows_what_it_is_made_for() {
        let tool = caliper();
        let long = tool.takes(Measures::Length, 151_000_000, day(12));
        assert_eq!(
            long,
            Err(ToolFault::OutOfRange {
                range: [0, 150_000_000]
            })
        );
        let hard = tool.takes(Measures::Hardness, 120_000, day(12));
        assert_eq!(
            hard,
            Err(ToolFault::Measures {
                measures: Measures::Length
            })
        );
    }

    proptest! {
        /// However often it is calibrated: where a figure counts, a certificate of before holds at that time.
        #[test]
        fn nothing_counts_without_a_certificate(
            given in prop::collection::vec((0_i64..100, 0_i64..50), 0..6),
            at in 0_i64..160,
        ) {
            let mut tool = caliper();
            tool.calibrations = given.iter().map(|(from, long)| Calibration {
                certificate: String::new(),
                at: day(*from),
                due: day(from + long),
            }).collect();
            if tool.fault_at(day(at)).is_none() {
                prop_assert!(given.iter().any(|(from, long)| (*from..=from + long).contains(&at)));
            }
        }
    }
}
