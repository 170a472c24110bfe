//! Branch and bound: splits what is open until nothing is left that could be worth more than what was found.

use super::first::Packer;
use super::model::{Model, Span};
use super::price::{Pricer, Swing};
use crate::gas::range::whole_down;
use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// Rounds in which the prices are settled at the root and at every other node (our choice: more rounds bound
/// better, and fewer nodes are looked at in the same time).
const ROOT_ROUNDS: usize = 1000;
const NODE_ROUNDS: usize = 20;
/// So many nodes are looked at for one packing that is built from the prices of a node.
const NODES_FOR_A_PACKING: u64 = 4;

/// What was found.
pub(super) struct Found {
    pub take: Vec<u32>,
    pub worth: i64,
    pub bound: i64,
}

/// A node of the search that is still to be split.
struct Node {
    bound: i64,
    /// The decision that led here, by its place in the list of all.
    decided: usize,
    depth: u32,
    prices: Vec<f64>,
    split: Split,
}

/// What a node begins with: bound and prices of the one before it, and the decision that led to it.
struct Beginning {
    bound: i64,
    decided: usize,
    depth: u32,
    prices: Vec<f64>,
}

/// Up to so many units of a line, or more.
#[derive(Clone, Copy)]
struct Split {
    line: usize,
    at: u32,
}

/// A decision, with the one before it.
struct Decided {
    before: usize,
    line: usize,
    least: u32,
    most: u32,
}

struct Search<'a> {
    model: &'a Model,
    pricer: Pricer<'a>,
    take: Vec<u32>,
    worth: i64,
    decisions: Vec<Decided>,
    open: BinaryHeap<Node>,
    nodes: u64,
}

/// Looks at up to so many nodes, the one with the highest bound first.
pub(super) fn search(model: &Model, budget: u64, stop: &mut dyn FnMut() -> bool) -> Found {
    let mut search = Search::new(model);
    let mut bound = search.root(stop);
    while let Some(node) = search.open.pop() {
        bound = node.bound;
        if bound <= search.worth || search.nodes >= budget || stop() {
            break;
        }
        search.split(&node);
        bound = search.worth;
    }
    Found {
        worth: search.worth,
        bound: bound.max(search.worth),
        take: search.take,
    }
}

impl<'a> Search<'a> {
    /// What must be taken is a packing.
    fn new(model: &'a Model) -> Search<'a> {
        let take = model.open.least.clone();
        Search {
            model,
            pricer: Pricer::new(model),
            worth: model.worth(&take),
            take,
            decisions: Vec::new(),
            open: BinaryHeap::new(),
            nodes: 0,
        }
    }

    /// First packings, and the first node; gives the bound.
    fn root(&mut self, stop: &mut dyn FnMut() -> bool) -> i64 {
        let mut span = self.model.open.clone();
        let mut prices = vec![0.0; self.model.limits.len()];
        let enough = self.worth as f64;
        self.pricer.settle(&span, &mut prices, enough, ROOT_ROUNDS);
        let priced = self.pricer.bound(&span, &prices);
        self.build(&span, &prices, priced.take, Some(stop));
        let from = Beginning {
            bound: priced.bound,
            decided: usize::MAX,
            depth: 0,
            prices,
        };
        self.node(&mut span, from, ROOT_ROUNDS);
        self.open.peek().map_or(self.worth, |node| node.bound)
    }

    /// Both sides of a node's split.
    fn split(&mut self, node: &Node) {
        let mut span = self.model.open.clone();
        let mut at = node.decided;
        while let Some(decided) = self.decisions.get(at) {
            let Decided {
                line,
                least,
                most,
                before,
            } = *decided;
            span.least[line] = span.least[line].max(least);
            span.most[line] = span.most[line].min(most);
            at = before;
        }
        if !self.model.narrow(&mut span) {
            return;
        }
        let priced = self.pricer.bound(&span, &node.prices);
        priced.tighten(&mut span, self.worth + 1);
        if !self.model.narrow(&mut span) {
            return;
        }
        let Split { line, at } = node.split;
        let (least, most) = (span.least[line], span.most[line]);
        for (least, most) in [(least, most.min(at)), (least.max(at + 1), most)] {
            if least > most {
                continue;
            }
            let mut side = span.clone();
            (side.least[line], side.most[line]) = (least, most);
            self.decisions.push(Decided {
                before: node.decided,
                line,
                least,
                most,
            });
            let from = Beginning {
                bound: node.bound,
                decided: self.decisions.len() - 1,
                depth: node.depth + 1,
                prices: node.prices.clone(),
            };
            self.node(&mut side, from, NODE_ROUNDS);
        }
    }

    /// Bounds a node and puts it with the open ones, unless nothing there can be worth more than what was
    /// found.
    fn node(&mut self, span: &mut Span, from: Beginning, rounds: usize) {
        self.nodes += 1;
        let mut prices = from.prices;
        if !self.model.narrow(span) {
            return;
        }
        let enough = self.worth as f64 + 0.9;
        let swing = self.pricer.settle(span, &mut prices, enough, rounds);
        let priced = self.pricer.bound(span, &prices);
        let bound = priced.bound.min(from.bound);
        if bound <= self.worth {
            return;
        }
        if self.nodes.is_multiple_of(NODES_FOR_A_PACKING) {
            self.build(span, &prices, priced.take.clone(), None);
        }
        priced.tighten(span, self.worth + 1);
        if !self.model.narrow(span) {
            return;
        }
        match self.choose(span, &prices, &swing) {
            Some(split) => self.open.push(Node {
                bound,
                decided: from.decided,
                depth: from.depth,
                prices,
                split,
            }),
            None => self.offer(span.least.clone()),
        }
    }

    /// Builds a packing from what the prices would take.
    fn build(
        &mut self,
        span: &Span,
        prices: &[f64],
        mut take: Vec<u32>,
        exchange: Option<&mut dyn FnMut() -> bool>,
    ) {
        let packer = Packer::new(self.model, span, &self.pricer, prices);
        if packer.repair(&mut take) {
            packer.fill(&mut take, &[]);
            if let Some(stop) = exchange {
                packer.exchange(&mut take, stop);
            }
            self.offer(take);
        }
    }

    fn offer(&mut self, take: Vec<u32>) {
        let worth = self.model.worth(&take);
        if worth > self.worth {
            (self.take, self.worth) = (take, worth);
        }
    }

    /// Where to split: at the line whose units go most to and fro for what they take; none where all is
    /// decided.
    fn choose(&self, span: &Span, prices: &[f64], swing: &Swing) -> Option<Split> {
        let open = (0..self.model.lines.len()).filter(|line| span.least[*line] < span.most[*line]);
        let rated = open.map(|line| {
            let (mean, variance) = swing.of(line);
            let at = u32::try_from(whole_down(mean)).unwrap_or(0);
            let at = at.clamp(span.least[line], span.most[line] - 1);
            let weight = self.pricer.cost(line, prices) + 1e-9;
            (variance * weight, Split { line, at })
        });
        rated
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, split)| split)
    }
}

/// The highest bound first, then the deepest, then the one found first.
impl Ord for Node {
    fn cmp(&self, other: &Self) -> Ordering {
        let key = |it: &Node| (it.bound, it.depth, std::cmp::Reverse(it.decided));
        key(self).cmp(&key(other))
    }
}

impl PartialOrd for Node {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Node {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Node {}
