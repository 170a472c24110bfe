//! Packings found without proof: greedily by what a gain takes at the prices, then by exchanges.

use super::model::{Model, Span};
use super::price::Pricer;

/// Builds packings within a span.
pub(super) struct Packer<'a> {
    model: &'a Model,
    span: &'a Span,
    /// What one unit of each line takes at the prices.
    costs: Vec<f64>,
}

/// A change of the number of units of one line, or of all lines of a group.
struct Step {
    /// Line and new number of units.
    to: Vec<(usize, u32)>,
    gain: i64,
    cost: f64,
}

impl<'a> Packer<'a> {
    pub fn new(model: &'a Model, span: &'a Span, pricer: &Pricer<'_>, prices: &[f64]) -> Self {
        let lines = 0..model.lines.len();
        Packer {
            model,
            span,
            costs: lines.map(|line| pricer.cost(line, prices)).collect(),
        }
    }

    /// Of groups that are never taken together leaves the one that is worth more.
    fn part_foes(&self, take: &mut [u32]) {
        for (group, foes) in self.model.foes.iter().enumerate() {
            for foe in foes {
                let lines = [&self.model.groups[group], &self.model.groups[*foe]];
                if lines.iter().any(|lines| take[lines[0]] == 0) {
                    continue;
                }
                let worth = lines.map(|lines| {
                    let each = lines
                        .iter()
                        .map(|it| self.model.lines[*it].worth[take[*it] as usize]);
                    each.sum::<i64>()
                });
                let lesser = lines[usize::from(worth[1] < worth[0])];
                lesser.iter().for_each(|line| take[*line] = 0);
            }
        }
    }

    /// Takes away what costs least until all limits hold; false if they can't.
    pub fn repair(&self, take: &mut [u32]) -> bool {
        self.part_foes(take);
        loop {
            let slack = self.model.slack(take);
            if slack.iter().all(|left| *left >= 0) {
                return true;
            }
            let lines = 0..take.len();
            let steps = lines.filter_map(|line| self.away(take, line, 1));
            let relief = |step: &Step| {
                let each = slack.iter().enumerate().filter(|(_, left)| **left < 0);
                let each = each.map(|(limit, left)| {
                    let freed = step.to.iter().map(|(line, units)| {
                        i64::from(take[*line] - units) * self.model.lines[*line].uses[limit]
                    });
                    freed.sum::<i64>().min(-left) as f64 / self.model.limits[limit].max(1) as f64
                });
                each.sum::<f64>()
            };
            let rated = steps.map(|step| (relief(&step), step));
            let rated = rated.filter(|(relief, _)| *relief > 0.0);
            let rated = rated.map(|(relief, step)| (-step.gain as f64 / relief, step));
            let Some((_, step)) = rated.min_by(|a, b| a.0.total_cmp(&b.0)) else {
                return false;
            };
            carry_out(take, &step);
        }
    }

    /// Adds what gains most for what it takes at the prices, as long as anything that gains fits; `shut`
    /// stays as it is.
    pub fn fill(&self, take: &mut [u32], shut: &[usize]) {
        let mut slack = self.model.slack(take);
        loop {
            let mut best: Option<(f64, Step)> = None;
            for (group, lines) in self.model.groups.iter().enumerate() {
                if lines.iter().any(|line| shut.contains(line)) {
                    continue;
                }
                let mut offer = |step: Step| {
                    let rate = step.gain as f64 / step.cost.max(1e-9);
                    if step.gain > 0 && best.as_ref().is_none_or(|(most, _)| rate > *most) {
                        best = Some((rate, step));
                    }
                };
                if take[lines[0]] > 0 || lines.len() == 1 {
                    if take[lines[0]] > 0 || self.may_begin(take, group) {
                        for line in lines {
                            self.more(take, &slack, *line)
                                .into_iter()
                                .for_each(&mut offer);
                        }
                    }
                } else if self.may_begin(take, group) {
                    self.begin(lines, &slack).into_iter().for_each(&mut offer);
                }
            }
            let Some((_, step)) = best else {
                return;
            };
            carry_out(take, &step);
            slack = self.model.slack(take);
        }
    }

    /// None of its foes is taken, and it may be.
    fn may_begin(&self, take: &[u32], group: usize) -> bool {
        let foes = self.model.foes[group].iter();
        let mut lines = foes.flat_map(|foe| &self.model.groups[*foe]);
        self.span.most[self.model.groups[group][0]] > 0 && lines.all(|line| take[*line] == 0)
    }

    /// The best rate at which more units of a line can be added.
    fn more(&self, take: &[u32], slack: &[i64], line: usize) -> Option<Step> {
        let Model { lines, .. } = self.model;
        let it = &lines[line];
        let now = take[line];
        let mut best: Option<(f64, u32)> = None;
        for units in now + 1..=self.span.most[line] {
            let more = i64::from(units - now);
            let fits = slack
                .iter()
                .zip(&it.uses)
                .all(|(left, uses)| more * uses <= *left);
            if !fits {
                break;
            }
            let rate = (it.worth[units as usize] - it.worth[now as usize]) as f64 / more as f64;
            if best.is_none_or(|(most, _)| rate > most) {
                best = Some((rate, units));
            }
        }
        best.map(|(_, units)| Step {
            to: vec![(line, units)],
            gain: it.worth[units as usize] - it.worth[now as usize],
            cost: f64::from(units - now) * self.costs[line],
        })
    }

    /// All lines of a group at once, each with what is best at the prices, or with the least.
    fn begin(&self, lines: &[usize], slack: &[i64]) -> Option<Step> {
        let best = |line: usize| {
            let it = &self.model.lines[line];
            let rated = (self.span.least[line].max(1)..=self.span.most[line]).map(|units| {
                let worth = it.worth[units as usize] as f64;
                (worth - f64::from(units) * self.costs[line], units)
            });
            rated
                .max_by(|a, b| a.0.total_cmp(&b.0))
                .map_or(1, |(_, units)| units)
        };
        let least = |line: usize| self.span.least[line].max(1);
        let ways: [&dyn Fn(usize) -> u32; 2] = [&best, &least];
        let mut ways = ways.into_iter().map(|way| {
            let each = lines.iter().map(|line| (*line, way(*line)));
            each.collect::<Vec<_>>()
        });
        let to = ways.find(|to| {
            slack.iter().enumerate().all(|(limit, left)| {
                let used = to
                    .iter()
                    .map(|(line, units)| i64::from(*units) * self.model.lines[*line].uses[limit]);
                used.sum::<i64>() <= *left
            })
        })?;
        let worth = |(line, units): &(usize, u32)| self.model.lines[*line].worth[*units as usize];
        let cost = |(line, units): &(usize, u32)| f64::from(*units) * self.costs[*line];
        Some(Step {
            gain: to.iter().map(worth).sum(),
            cost: to.iter().map(cost).sum(),
            to,
        })
    }

    /// Takes so many units of a line away, or its whole group where none would be left.
    fn away(&self, take: &[u32], line: usize, units: u32) -> Option<Step> {
        let lines = &self.model.groups[self.model.group_of[line]];
        let left = take[line].saturating_sub(units);
        let to: Vec<(usize, u32)> = if left > 0 || lines.len() == 1 {
            vec![(line, left)]
        } else {
            lines.iter().map(|line| (*line, 0)).collect()
        };
        let allowed = |(line, units): &(usize, u32)| *units >= self.span.least[*line];
        if take[line] == 0 || !to.iter().all(allowed) {
            return None;
        }
        let gain = |(line, units): &(usize, u32)| {
            let worth = &self.model.lines[*line].worth;
            worth[*units as usize] - worth[take[*line] as usize]
        };
        Some(Step {
            gain: to.iter().map(gain).sum(),
            cost: 0.0,
            to,
        })
    }

    /// Takes one or two things away and fills up with others, as long as that gains.
    pub fn exchange(&self, take: &mut Vec<u32>, stop: &mut dyn FnMut() -> bool) {
        let mut worth = self.model.worth(take);
        'again: loop {
            for one in 0..take.len() {
                for other in one..take.len() {
                    if stop() {
                        return;
                    }
                    let Some(tried) = self.exchanged(take, one, other) else {
                        continue;
                    };
                    let reached = self.model.worth(&tried);
                    if reached > worth {
                        (*take, worth) = (tried, reached);
                        continue 'again;
                    }
                }
            }
            return;
        }
    }

    /// A unit of each of two lines away, or all of one, and filled up without them.
    fn exchanged(&self, take: &[u32], one: usize, other: usize) -> Option<Vec<u32>> {
        let mut tried = take.to_vec();
        if one == other {
            carry_out(&mut tried, &self.away(take, one, take[one])?);
        } else {
            carry_out(&mut tried, &self.away(take, one, 1)?);
            let second = self.away(&tried, other, 1)?;
            carry_out(&mut tried, &second);
        }
        self.fill(&mut tried, &[one, other]);
        // What was taken away may now go in beside the others.
        self.fill(&mut tried, &[]);
        Some(tried)
    }
}

fn carry_out(take: &mut [u32], step: &Step) {
    for (line, units) in &step.to {
        take[*line] = *units;
    }
}
