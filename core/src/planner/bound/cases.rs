use super::ascent::{Ascent, Summit, whole};
use super::dual::{Dual, Span};

/// Cases of when assets are back, one of which every plan is: the least of their bounds bounds them all.
///
/// Prices cannot tell that a machine is back or is not: where two are worth the same powder, half of each
/// is let go. So the case that is lowest is taken apart by an asset that came back early and late by turns
/// while prices were looked for, into one where it is back by some minute and one where it is not; each has
/// prices of its own.
pub(in crate::planner) struct Cases<'a> {
    ascent: Ascent<'a>,
    coarse: &'a Dual<'a>,
    fine: &'a Dual<'a>,
    open: Vec<Case>,
}

pub(in crate::planner) struct Case {
    /// By asset.
    pub(super) spans: Vec<Span>,
    pub(super) summit: Summit,
    /// Whether its value has been reckoned on the fine grid.
    fine: bool,
    /// So often it was taken apart from a larger one.
    pub(in crate::planner) depth: u32,
}

/// So many rounds of the ascent in each case, from the prices of the case that it was part of.
const ROUNDS: usize = 8;

impl<'a> Cases<'a> {
    pub(super) fn new(
        coarse: &'a Dual<'a>,
        fine: &'a Dual<'a>,
        summit: Summit,
        spans: Vec<Span>,
    ) -> Self {
        let whole = Case {
            spans,
            summit,
            fine: false,
            depth: 0,
        };
        let mut cases = Self {
            ascent: Ascent::new(coarse),
            coarse,
            fine,
            open: vec![whole],
        };
        cases.refine(0);
        cases
    }

    /// No plan loses less.
    pub fn least(&self) -> i128 {
        self.open
            .iter()
            .map(|case| case.summit.value)
            .min()
            .unwrap_or(0)
    }

    /// Takes the lowest case apart until so much work is done, or it cannot be told by which asset.
    pub fn take_apart(&mut self, work: usize) {
        let mut left = work;
        let (once, climb) = (self.fine.work(), 2 * ROUNDS * self.coarse.work());
        loop {
            let lowest = (0..self.open.len()).min_by_key(|n| self.open[*n].summit.value);
            let Some(lowest) = lowest else { return };
            let cost = if self.open[lowest].fine { climb } else { once };
            if left < cost {
                return;
            }
            left -= cost;
            if !self.open[lowest].fine {
                self.refine(lowest);
                continue;
            }
            let Some(parts) = self.parts(&self.open[lowest]) else {
                return;
            };
            self.open.swap_remove(lowest);
            self.open.extend(parts);
        }
    }

    /// Takes out the lowest case, its value reckoned finely.
    pub(in crate::planner) fn take_lowest(&mut self) -> Option<Case> {
        loop {
            let lowest = (0..self.open.len()).min_by_key(|n| self.open[*n].summit.value)?;
            if self.open[lowest].fine {
                return Some(self.open.swap_remove(lowest));
            }
            self.refine(lowest);
        }
    }

    /// Puts the two parts of a case in its place; says no, with the case, if it cannot be told by which asset.
    pub(in crate::planner) fn put_parts(&mut self, case: Case) -> Result<(), Case> {
        let Some(parts) = self.parts(&case) else {
            return Err(case);
        };
        self.open.extend(parts);
        Ok(())
    }

    fn parts(&self, case: &Case) -> Option<[Case; 2]> {
        let (asset, minute) = case.summit.doubt?;
        let (behind, by) = case.spans[asset];
        if minute <= behind || minute >= by {
            return None;
        }
        Some([(behind, minute), (minute, by)].map(|span| self.part(case, asset, span)))
    }

    fn part(&self, case: &Case, asset: usize, span: Span) -> Case {
        let mut spans = case.spans.clone();
        spans[asset] = span;
        let mut summit = self
            .ascent
            .climb(case.summit.prices.clone(), &spans, ROUNDS);
        summit.value = summit.value.max(case.summit.value);
        Case {
            spans,
            summit,
            fine: false,
            depth: case.depth + 1,
        }
    }

    fn refine(&mut self, case: usize) {
        let Case {
            spans,
            summit,
            fine,
            ..
        } = &mut self.open[case];
        let value = self.fine.value(&whole(&summit.prices), spans);
        summit.value = summit.value.max(value);
        *fine = true;
    }
}
