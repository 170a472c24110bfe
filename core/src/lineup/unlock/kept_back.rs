//! What a keep-back holds from a request that waits.

use super::behind::Behind;
use crate::lineup::gate::{Gate, Opens, Shut};
use crate::lineup::hold::Holds;
use crate::lineup::least::least;
use crate::lineup::relax::Plenty;
use crate::situation::{Held, KeepBack};
use std::collections::BTreeSet;

impl Behind<'_> {
    /// The keep-back that stands in the way, if giving it up opens it with so much of all else: the one of
    /// which least has to be given up, or all of them together.
    pub(super) fn kept_back(&self, plenty: &Plenty) -> Option<Shut> {
        let keep_backs = &self.situation.keep_backs;
        let asset = &self.problem.jobs[self.job].asset;
        let from_others = |it: &&KeepBack| !it.assets.iter().any(|a| a.as_str() == asset);
        let holding: Vec<&KeepBack> = keep_backs.iter().filter(from_others).collect();
        let one = holding
            .iter()
            .filter(|it| self.opens(&[(it.number, it.grams)], plenty));
        let least = one.map(|it| (self.least_given_up(it, plenty), *it));
        if let Some((grams, it)) = least.min_by_key(|(grams, it)| (*grams, it.number)) {
            return Some(shut(vec![it.number], it.held.clone(), grams, it.grams));
        }
        let of: BTreeSet<&Held> = holding.iter().map(|it| &it.held).collect();
        of.into_iter().find_map(|held| {
            let same = holding.iter().filter(|it| it.held == *held);
            let given: Vec<(i64, i64)> = same.map(|it| (it.number, it.grams)).collect();
            let grams = given.iter().map(|(_, grams)| *grams).sum();
            let numbers = given.iter().map(|(number, _)| *number).collect();
            let opens = given.len() > 1 && self.opens(&given, plenty);
            opens.then(|| shut(numbers, held.clone(), grams, grams))
        })
    }

    fn least_given_up(&self, keep_back: &KeepBack, plenty: &Plenty) -> i64 {
        least(0, keep_back.grams, |grams| {
            self.opens(&[(keep_back.number, grams)], plenty)
        })
    }

    /// Whether the request fits behind the line-up with so many grams of keep-backs given up.
    fn opens(&self, given_up: &[(i64, i64)], plenty: &Plenty) -> bool {
        let mut left = self.situation.keep_backs.clone();
        for (number, grams) in given_up {
            let same = left.iter_mut().filter(|it| it.number == *number);
            same.for_each(|it| it.grams -= grams);
        }
        let holds = Holds::of(self.situation, &left);
        let mut problem = self.problem.clone();
        let job = &mut problem.jobs[self.job];
        job.options = holds.ways(&job.asset, self.unheld);
        let behind = Behind { problem, ..*self };
        behind.fits(plenty)
    }
}

fn shut(keep_backs: Vec<i64>, held: Held, grams: i64, all_g: i64) -> Shut {
    let gate = Gate::KeptBack {
        keep_backs: keep_backs.clone(),
        held: Box::new(held.clone()),
        grams: all_g,
    };
    let opens = Opens::GiveUp {
        keep_backs,
        held: Box::new(held),
        grams,
        all: grams == all_g,
    };
    Shut::new(gate, opens)
}
