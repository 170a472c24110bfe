//! Whether a container may be poured into the feeder, and what speaks against it.

use super::LotState;
use crate::code::{LotCode, PowderCode};
use crate::quantity::Milligrams;
use chrono::{DateTime, Utc};

/// A container that somebody is about to pour from.
#[derive(Debug, Clone)]
pub struct Draw {
    /// Its lot.
    pub lot: LotCode,
    /// The powder of that lot.
    pub powder: PowderCode,
    /// Where the lot stands.
    pub state: LotState,
    /// The last moment at which it may be sprayed.
    pub use_by: Option<DateTime<Utc>>,
    /// When it is poured.
    pub at: DateTime<Utc>,
    /// Minutes that the container has stood open in all, this time included.
    pub open_min: i64,
    /// How many of them its powder may; none if nobody told.
    pub open_limit_min: Option<i64>,
    /// What the feeder holds.
    pub feeder: Vec<(LotCode, Milligrams)>,
    /// The powder that was last in the feeder; none if it is clean.
    pub residue: Option<PowderCode>,
    /// What it is drawn for; none for a trial piece.
    pub purpose: Option<Purpose>,
    /// Lots of the same powder that are to be used before it, by their dates.
    pub earlier: Vec<(LotCode, DateTime<Utc>)>,
    /// Grams of it that are free for this machine; none if nothing is kept back.
    pub free_g: Option<i64>,
    /// Grams that are poured, as far as that is known.
    pub grams: i64,
}

/// The stage of a recipe that powder is drawn for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Purpose {
    /// What it sprays.
    pub powder: PowderCode,
    /// Whether all of it comes from one lot.
    pub one_lot: bool,
    /// The lots that the line-up takes it from; empty where no line-up says.
    pub lots: Vec<LotCode>,
}

/// What speaks against a draw.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Doubt {
    /// The lot may not be sprayed.
    NotReleased(LotState),
    /// The recipe takes another powder.
    OtherPowder {
        /// Which it takes.
        takes: PowderCode,
    },
    /// The feeder holds, or is dirty with, another powder.
    FeederHolds {
        /// Which.
        powder: PowderCode,
    },
    /// Its date has passed.
    OutOfDate {
        /// When.
        since: DateTime<Utc>,
    },
    /// It stood open for too long.
    OpenTooLong {
        /// Minutes so far.
        minutes: i64,
        /// Minutes allowed.
        limit: i64,
    },
    /// The part is to be of one lot, and the feeder holds another.
    OtherLot {
        /// Which other lots.
        lots: Vec<LotCode>,
    },
    /// The line-up takes other lots for it.
    NotByOrder {
        /// Which.
        lots: Vec<LotCode>,
    },
    /// Another lot goes out of date earlier, or is open already.
    EarlierLot {
        /// Which.
        lot: LotCode,
        /// Its date.
        use_by: DateTime<Utc>,
    },
    /// It takes what is kept back for other machines.
    KeptBack {
        /// Grams that are free for this one.
        free_g: i64,
    },
}

/// What it takes to draw all the same.
///
/// Which doubts take how much is common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Remedy {
    /// A reason.
    Reason,
    /// A reason, and a second person.
    SecondPerson,
    /// Nothing: something else must be done first.
    None,
}

impl Doubt {
    /// What it takes to draw all the same.
    #[must_use]
    pub const fn remedy(&self) -> Remedy {
        match self {
            Doubt::NotReleased(_) | Doubt::OtherPowder { .. } | Doubt::FeederHolds { .. } => {
                Remedy::None
            }
            Doubt::OutOfDate { .. } | Doubt::OpenTooLong { .. } | Doubt::OtherLot { .. } => {
                Remedy::SecondPerson
            }
            Doubt::NotByOrder { .. } | Doubt::EarlierLot { .. } | Doubt::KeptBack { .. } => {
                Remedy::Reason
            }
        }
    }

    /// The word by which it is stored where somebody waived it.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Doubt::NotReleased(_) => "not-released",
            Doubt::OtherPowder { .. } => "other-powder",
            Doubt::FeederHolds { .. } => "feeder-holds",
            Doubt::OutOfDate { .. } => "out-of-date",
            Doubt::OpenTooLong { .. } => "open-too-long",
            Doubt::OtherLot { .. } => "other-lot",
            Doubt::NotByOrder { .. } => "not-by-order",
            Doubt::EarlierLot { .. } => "earlier-lot",
            Doubt::KeptBack { .. } => "kept-back",
        }
    }
}

impl Draw {
    /// What speaks against it, the gravest first.
    #[must_use]
    pub fn doubts(&self) -> Vec<Doubt> {
        let mut doubts = Vec::new();
        if self.state != LotState::Released {
            doubts.push(Doubt::NotReleased(self.state));
        }
        doubts.extend(self.powders());
        if let Some(since) = self.use_by.filter(|until| *until < self.at) {
            doubts.push(Doubt::OutOfDate { since });
        }
        if let Some(limit) = self.open_limit_min.filter(|limit| self.open_min > *limit) {
            let minutes = self.open_min;
            doubts.push(Doubt::OpenTooLong { minutes, limit });
        }
        doubts.extend(self.lots());
        if let Some(free_g) = self.free_g.filter(|free| self.grams > *free) {
            doubts.push(Doubt::KeptBack { free_g });
        }
        doubts.sort_by_key(|doubt| std::cmp::Reverse(doubt.remedy()));
        doubts
    }

    fn powders(&self) -> Vec<Doubt> {
        let mut doubts = Vec::new();
        let takes = self.purpose.as_ref().map(|it| &it.powder);
        if let Some(takes) = takes.filter(|takes| **takes != self.powder) {
            doubts.push(Doubt::OtherPowder {
                takes: takes.clone(),
            });
        }
        let residue = self.residue.as_ref();
        if let Some(powder) = residue.filter(|residue| **residue != self.powder) {
            doubts.push(Doubt::FeederHolds {
                powder: powder.clone(),
            });
        }
        doubts
    }

    fn lots(&self) -> Vec<Doubt> {
        let mut doubts = Vec::new();
        let others = self.feeder.iter().map(|(lot, _)| lot);
        let others: Vec<LotCode> = others.filter(|lot| **lot != self.lot).cloned().collect();
        let purpose = self.purpose.as_ref();
        if purpose.is_some_and(|it| it.one_lot) && !others.is_empty() {
            doubts.push(Doubt::OtherLot { lots: others });
        }
        let planned = purpose.map_or(&[][..], |it| &it.lots);
        if !planned.is_empty() {
            if !planned.contains(&self.lot) {
                let lots = planned.to_vec();
                doubts.push(Doubt::NotByOrder { lots });
            }
            // The line-up has weighed dates against parts already.
            return doubts;
        }
        if let Some((lot, use_by)) = self.earlier.first() {
            doubts.push(Doubt::EarlierLot {
                lot: lot.clone(),
                use_by: *use_by,
            });
        }
        doubts
    }
}

#[cfg(test)]
mod tests {
    use super::{Doubt, Draw, Purpose, Remedy};
    use crate::code::{LotCode, PowderCode};
    use crate::powder::LotState;
    use crate::quantity::Milligrams;
    use chrono::{DateTime, TimeDelta, Utc};

    fn lot(code: &str) -> LotCode {
        code.parse().expect("a lot")
    }

    fn powder(code: &str) -> PowderCode {
        code.parse().expect("a powder")
    }

    fn at(hour: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::hours(hour)
    }

    /// Bronze of L0393, released, into a feeder that holds the heel of the same lot, for a part that takes bronze
    /// of one lot, as the line-up has it: nothing speaks against it.
    fn with(change: impl FnOnce(&mut Draw)) -> Vec<Doubt> {
        let mut draw = Draw {
            lot: lot("L0393"),
            powder: powder("CUAL10"),
            state: LotState::Released,
            use_by: Some(at(48)),
            at: at(0),
            open_min: 10,
            open_limit_min: Some(240),
            feeder: vec![(lot("L0393"), Milligrams::from_grams(80))],
            residue: Some(powder("CUAL10")),
            purpose: Some(Purpose {
                powder: powder("CUAL10"),
                one_lot: true,
                lots: vec![lot("L0393")],
            }),
            earlier: Vec::new(),
            free_g: None,
            grams: 2_500,
        };
        change(&mut draw);
        draw.doubts()
    }

    #[test]
    fn as_the_line_up_has_it_nothing_speaks_against_it() {
        assert_eq!(with(|_| {}), []);
    }

    #[test]
    fn what_nobody_may_waive() {
        let held = with(|draw| draw.state = LotState::Hold);
        assert_eq!(held, [Doubt::NotReleased(LotState::Hold)]);
        let doubts = with(|draw| draw.residue = Some(powder("SS316")));
        assert_eq!(doubts[0].word(), "feeder-holds");
        let doubts = with(|draw| {
            draw.powder = powder("AL6061");
            draw.residue = None;
        });
        assert_eq!(doubts[0].word(), "other-powder");
        assert_eq!(doubts[0].remedy(), Remedy::None);
    }

    /// 230 minutes before and 11 now are 241 of 240; the date passed an hour ago. Both take a second person.
    #[test]
    fn what_two_may_waive() {
        let doubts = with(|draw| {
            draw.open_min = 241;
            draw.use_by = Some(at(-1));
        });
        let words: Vec<&str> = doubts.iter().map(Doubt::word).collect();
        assert_eq!(words, ["out-of-date", "open-too-long"]);
        assert!(doubts.iter().all(|it| it.remedy() == Remedy::SecondPerson));
        assert_eq!(
            with(|draw| draw.open_min = 240),
            [],
            "240 of 240 is in time"
        );
    }

    /// The heel of L0393 is in the feeder: L0399 poured on it makes a part of two lots.
    #[test]
    fn another_lot_on_the_heel_of_the_first() {
        let doubts = with(|draw| draw.lot = lot("L0399"));
        let words: Vec<&str> = doubts.iter().map(Doubt::word).collect();
        assert_eq!(words, ["other-lot", "not-by-order"]);
        // Where the recipe takes several lots, only the line-up says otherwise.
        let doubts = with(|draw| {
            draw.lot = lot("L0399");
            draw.purpose = draw.purpose.take().map(|of| Purpose {
                one_lot: false,
                ..of
            });
        });
        let words: Vec<&str> = doubts.iter().map(Doubt::word).collect();
        assert_eq!(words, ["not-by-order"]);
    }

    /// Without a line-up the lot whose date comes first goes first (common practice in stores of medicines, WHO
    /// TRS 1025 Annex 7, from memory).
    #[test]
    fn what_goes_out_of_date_first_is_used_first() {
        let doubts = with(|draw| {
            draw.purpose = None;
            draw.earlier = vec![(lot("L0399"), at(24))];
        });
        assert_eq!(doubts[0].word(), "earlier-lot");
        assert_eq!(doubts[0].remedy(), Remedy::Reason);
    }

    /// 2 500 g are poured and 2 000 g are free for this machine.
    #[test]
    fn what_is_kept_back_for_others_takes_a_reason() {
        let doubts = with(|draw| draw.free_g = Some(2_000));
        assert_eq!(doubts, [Doubt::KeptBack { free_g: 2_000 }]);
    }
}
