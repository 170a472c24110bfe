//! A packing problem as the search sees it, and how far each number of units is still open.

use super::{PackItem, Packing};
use std::collections::BTreeMap;

/// The problem by position instead of by id.
pub(super) struct Model {
    pub limits: Vec<i64>,
    pub lines: Vec<Line>,
    /// Lines of which all are taken or none.
    pub groups: Vec<Vec<usize>>,
    /// The group of each line.
    pub group_of: Vec<usize>,
    /// With which groups each one is never taken together.
    pub foes: Vec<Vec<usize>>,
    /// All groups, in lists of which at most one group each is taken.
    pub blocks: Vec<Vec<usize>>,
    /// What is open before anything is decided.
    pub open: Span,
}

/// An item.
pub(super) struct Line {
    /// The worth of so many units, from none on.
    pub worth: Vec<i64>,
    /// What one unit takes of each limit.
    pub uses: Vec<i64>,
}

/// The least and the most units of each line.
#[derive(Clone)]
pub(super) struct Span {
    pub least: Vec<u32>,
    pub most: Vec<u32>,
}

impl Model {
    pub fn of(packing: &Packing) -> Model {
        let at = |id: &String| packing.items.iter().position(|item| item.id == *id);
        let (groups, group_of) = grouped(packing);
        let mut foes = vec![Vec::new(); groups.len()];
        for (one, other) in &packing.apart {
            if let (Some(one), Some(other)) = (at(one), at(other)) {
                foes[group_of[one]].push(group_of[other]);
                foes[group_of[other]].push(group_of[one]);
            }
        }
        let mut open = Span {
            least: packing.items.iter().map(|it| units(it.must)).collect(),
            most: packing.items.iter().map(|it| units(it.max)).collect(),
        };
        // A group at odds with itself is never taken.
        for (group, lines) in groups.iter().enumerate() {
            if foes[group].contains(&group) {
                lines.iter().for_each(|line| open.most[*line] = 0);
            }
        }
        let mut model = Model {
            limits: packing.limits.iter().map(|it| it.limit).collect(),
            lines: packing.items.iter().map(|it| line(packing, it)).collect(),
            blocks: blocks(&foes),
            groups,
            group_of,
            foes,
            open: open.clone(),
        };
        if model.narrow(&mut open) {
            model.open = open;
        }
        model
    }

    /// What is left of each limit beside so many units.
    pub fn slack(&self, take: &[u32]) -> Vec<i64> {
        let mut slack = self.limits.clone();
        for (line, units) in self.lines.iter().zip(take) {
            for (left, uses) in slack.iter_mut().zip(&line.uses) {
                *left -= i64::from(*units) * uses;
            }
        }
        slack
    }

    pub fn worth(&self, take: &[u32]) -> i64 {
        let each = self.lines.iter().zip(take);
        each.map(|(line, units)| line.worth[*units as usize]).sum()
    }

    /// Carries what is decided over to what follows from it; false if nothing is possible any more.
    pub fn narrow(&self, span: &mut Span) -> bool {
        self.follow(span) && self.fit(span) && self.follow(span) && {
            let slack = self.slack(&span.least);
            slack.iter().all(|left| *left >= 0)
        }
    }

    /// Groups that are taken take all their lines and shut out their foes; lines that can't be taken shut out
    /// their group.
    fn follow(&self, span: &mut Span) -> bool {
        for (group, lines) in self.groups.iter().enumerate() {
            if lines.iter().any(|line| span.least[*line] > 0) {
                for line in lines {
                    span.least[*line] = span.least[*line].max(1);
                }
                for line in self.foes[group].iter().flat_map(|foe| &self.groups[*foe]) {
                    span.most[*line] = 0;
                }
            }
        }
        for lines in &self.groups {
            if lines.iter().any(|line| span.most[*line] == 0) {
                lines.iter().for_each(|line| span.most[*line] = 0);
            }
        }
        let each = span.least.iter().zip(&span.most);
        each.into_iter().all(|(least, most)| least <= most)
    }

    /// No line takes more than is left beside the least of all.
    fn fit(&self, span: &mut Span) -> bool {
        let slack = self.slack(&span.least);
        for (n, line) in self.lines.iter().enumerate() {
            for (left, uses) in slack.iter().zip(&line.uses) {
                let more = i64::from(span.most[n] - span.least[n]);
                if *uses > 0 && more * uses > *left {
                    span.most[n] = span.least[n] + units((*left / uses).max(0));
                }
            }
        }
        slack.iter().all(|left| *left >= 0)
    }
}

/// A number of units; what is out of range is a fault of the problem.
fn units(given: i64) -> u32 {
    u32::try_from(given).unwrap_or(0)
}

fn line(packing: &Packing, item: &PackItem) -> Line {
    let last = item.worth.last().copied().unwrap_or(0);
    let each = item.worth.iter().copied().chain(std::iter::repeat(last));
    let mut worth = vec![0];
    for more in each.take(units(item.max) as usize) {
        worth.push(worth[worth.len() - 1] + more);
    }
    let uses = packing.limits.iter();
    let uses = uses.map(|limit| item.uses.get(&limit.id).copied().unwrap_or(0));
    Line {
        worth,
        uses: uses.collect(),
    }
}

/// The groups that sets make of the lines, and the group of each line: sets that share an item are one.
fn grouped(packing: &Packing) -> (Vec<Vec<usize>>, Vec<usize>) {
    let mut mark: Vec<usize> = (0..packing.items.len()).collect();
    for set in &packing.sets {
        let in_set = |n: &usize| set.contains(&packing.items[*n].id);
        let marks: Vec<usize> = (0..mark.len()).filter(in_set).map(|n| mark[n]).collect();
        let Some(least) = marks.iter().min() else {
            continue;
        };
        for one in &mut mark {
            if marks.contains(one) {
                *one = *least;
            }
        }
    }
    let mut by_mark: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (line, mark) in mark.iter().enumerate() {
        by_mark.entry(*mark).or_default().push(line);
    }
    let groups: Vec<Vec<usize>> = by_mark.into_values().collect();
    let mut group_of = vec![0; mark.len()];
    for (group, lines) in groups.iter().enumerate() {
        lines.iter().for_each(|line| group_of[*line] = group);
    }
    (groups, group_of)
}

/// Parts the groups into blocks whose groups are all at odds with each other, the first that fit.
fn blocks(foes: &[Vec<usize>]) -> Vec<Vec<usize>> {
    let mut blocks: Vec<Vec<usize>> = Vec::new();
    for (group, foes) in foes.iter().enumerate() {
        let fits = |block: &&mut Vec<usize>| block.iter().all(|it| foes.contains(it));
        match blocks.iter_mut().find(fits) {
            Some(block) => block.push(group),
            None => blocks.push(vec![group]),
        }
    }
    blocks
}
