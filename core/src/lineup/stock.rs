//! Powder as the line-up leaves it: what of each lot is committed and free, and what runs out when.

mod course;

use super::likely::likely_powder_g;
use super::line_up::LineUp;
use super::need::stage_need;
use super::places::{Place, StagePlan};
use super::supply::landing;
use crate::catalogue::{RecipeState, Spray};
use crate::code::{DeliveryCode, LotCode, PowderCode};
use crate::powder::{Lot, LotState};
use crate::situation::{Brings, Held, Situation};
use chrono::{DateTime, Utc};
use course::{Course, events};

/// One powder: its lots, and how much of it there is from now to the end of the line-up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stock {
    /// What.
    pub powder: PowderCode,
    /// Its lots: first those that may be drawn, in the order in which they will be opened, then
    /// those past their date, on hold, not yet released, rejected.
    pub lots: Vec<LotStock>,
    /// Grams that may be drawn, at each moment at which that changes, in order.
    pub levels: Vec<(DateTime<Utc>, i64)>,
    /// The same if each draw takes what it most likely does ([`Fall::likely_g`]) instead of what is planned.
    pub likely: Vec<(DateTime<Utc>, i64)>,
    /// Grams of it that keep-backs hold for the machines that they name.
    pub kept_g: i64,
    /// Draws of the line-up, in order.
    pub falls: Vec<Fall>,
    /// Deliveries that bring it, in order.
    pub arrivals: Vec<Arrival>,
    /// The least that a stage of an approved recipe takes of it; none if no such recipe sprays it.
    pub least_g: Option<i64>,
    /// When no approved recipe can be served any more; none if that does not happen, or if no
    /// approved recipe sprays it.
    pub out: Option<RunOut>,
}

/// A lot, and what the line-up does to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotStock {
    /// The lot.
    pub lot: Lot,
    /// It is released and its date has not passed.
    pub usable: bool,
    /// Whole grams on hand.
    pub on_hand_g: i64,
    /// Grams that the line-up takes from it.
    pub committed_g: i64,
    /// Grams that may be drawn and are not committed.
    pub free_g: i64,
    /// Of these what no approved recipe can use any more: less than the least that a recipe takes from
    /// one lot, and not needed beside other lots by one that takes any.
    pub stranded_g: i64,
    /// Of what is free what any machine may draw: as much as leaves what is kept back in lots that are good at least as long.
    pub for_any_g: i64,
    /// When the line-up first draws on it.
    pub first_draw: Option<DateTime<Utc>>,
}

/// A draw of the line-up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fall {
    /// The place in the line-up.
    pub place: usize,
    /// When spraying starts.
    pub start: DateTime<Utc>,
    /// When it ends.
    pub end: DateTime<Utc>,
    /// How much, from all its lots: enough in as many builds as the site asks for.
    pub grams: i64,
    /// How much it most likely takes: as likely more as less.
    pub likely_g: i64,
    /// What is left of the powder afterwards.
    pub left_g: i64,
}

/// Powder that a delivery brings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Arrival {
    /// The delivery.
    pub delivery: DeliveryCode,
    /// When it is expected.
    pub expected: DateTime<Utc>,
    /// From when the powder may be drawn.
    pub usable_from: DateTime<Utc>,
    /// How much.
    pub grams: i64,
}

/// The moment from which no approved recipe can be served.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunOut {
    /// When.
    pub at: DateTime<Utc>,
    /// What ends it.
    pub cause: OutCause,
    /// What is left then.
    pub left_g: i64,
    /// The least that any approved recipe takes.
    pub least_g: i64,
    /// The delivery with which it can be served again.
    pub until: Option<DeliveryCode>,
}

/// What makes a powder run out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OutCause {
    /// It is out already.
    Already,
    /// A place of the line-up takes the last of it.
    Place(usize),
    /// The use-by date of a lot.
    UseBy(LotCode),
}

impl Stock {
    /// Grams that may be drawn now.
    #[must_use]
    pub fn usable_g(&self) -> i64 {
        self.usable().map(|l| l.on_hand_g).sum()
    }

    /// Grams that any machine may draw: neither committed nor kept back.
    #[must_use]
    pub fn free_g(&self) -> i64 {
        let free: i64 = self.lots.iter().map(|l| l.free_g).sum();
        (free - self.kept_g).max(0)
    }

    /// Lots whose rest no approved recipe can use any more.
    pub fn stranded(&self) -> impl Iterator<Item = &LotStock> {
        self.lots.iter().filter(|l| l.stranded_g > 0)
    }

    /// The most that any machine may draw from one lot.
    #[must_use]
    pub fn largest_free_g(&self) -> i64 {
        self.lots.iter().map(|l| l.for_any_g).max().unwrap_or(0)
    }

    /// Lots that may be drawn, in the order in which they will be opened.
    pub fn usable(&self) -> impl DoubleEndedIterator<Item = &LotStock> {
        self.lots.iter().filter(|l| l.usable)
    }
}

/// Every powder of the site, as the line-up leaves it. Places of closed requests count no more.
#[must_use]
pub fn stocks(situation: &Situation, line_up: Option<&LineUp>) -> Vec<Stock> {
    let powders = situation.powders.iter();
    powders
        .map(|powder| stock(situation, line_up, &powder.code))
        .collect()
}

/// One powder, as the line-up leaves it.
pub(super) fn stock(situation: &Situation, line_up: Option<&LineUp>, powder: &PowderCode) -> Stock {
    let draws = line_up.map_or_else(Vec::new, |l| draws(situation, l, powder));
    let kept_g = kept_g(situation, powder);
    let needs = needs(situation, powder);
    let mut lots = lots(situation, powder, &draws);
    leave_kept(situation, &mut lots, kept_g);
    strand(&mut lots, &needs);
    let least_g = needs.iter().map(|need| need.grams).min();
    let end = line_up.map_or_else(|| situation.moment(situation.horizon()), |l| l.until);
    let events = events(situation, powder, &draws, &lots, end);
    let held = lots.iter().filter(|l| l.usable);
    let held = held
        .map(|l| (l.lot.code.to_string(), l.on_hand_g))
        .collect();
    let planned = Course::new(held, needs, |fall| fall.grams);
    let likely = planned.taking(|fall| fall.likely_g);
    let span = (situation.now, end.max(situation.now));
    let likely = likely.run(&events, span);
    let course = planned.run(&events, span);
    Stock {
        powder: powder.clone(),
        lots,
        levels: course.levels,
        likely: likely.levels,
        kept_g,
        least_g,
        falls: course.falls,
        arrivals: arrivals(situation, powder),
        out: course.out,
    }
}

/// A stage of a powder that is still to come.
struct Draw<'a> {
    place: usize,
    stage: &'a StagePlan,
    likely_g: i64,
}

fn draws<'a>(situation: &Situation, line_up: &'a LineUp, powder: &PowderCode) -> Vec<Draw<'a>> {
    let open = |code| situation.request(code).is_some();
    let places = line_up.places.iter().filter(|p| open(&p.request));
    let mut draws = Vec::new();
    for place in places {
        let stages: Vec<&StagePlan> = place.stages().map(|(_, stage)| stage).collect();
        let sprays = sprays_ahead(situation, place, stages.len());
        for (n, stage) in stages.into_iter().enumerate() {
            if stage.powder == powder.as_str() {
                let planned = stage.lots.iter().map(|share| share.grams).sum();
                let likely = sprays
                    .get(n)
                    .and_then(|spray| likely_powder_g(situation, spray));
                draws.push(Draw {
                    place: place.number,
                    stage,
                    likely_g: likely.map_or(planned, |likely| likely.min(planned)),
                });
            }
        }
    }
    draws
}

/// The last stages of a place's recipe: what was sprayed of it stands before them.
fn sprays_ahead<'a>(situation: &'a Situation, place: &Place, count: usize) -> Vec<&'a Spray> {
    let recipe = place.recipe.as_ref();
    let recipe = recipe.and_then(|(code, revision)| situation.recipe(code, *revision));
    let sprays: Vec<&Spray> = recipe.into_iter().flat_map(|it| it.sprays()).collect();
    let done = sprays.len().saturating_sub(count);
    sprays.into_iter().skip(done).collect()
}

fn lots(situation: &Situation, powder: &PowderCode, draws: &[Draw<'_>]) -> Vec<LotStock> {
    let shares = |code: &LotCode| -> Vec<(DateTime<Utc>, i64)> {
        let all = draws
            .iter()
            .flat_map(|it| it.stage.lots.iter().map(|share| (it.stage.start, share)));
        all.filter(|(_, share)| share.lot == code.as_str())
            .map(|(start, share)| (start, share.grams))
            .collect()
    };
    let of_powder = situation.lots.iter().filter(|l| l.powder == *powder);
    let mut lots: Vec<LotStock> = of_powder
        .map(|lot| {
            let on_hand_g = lot.on_hand.grams_on_hand();
            let shares = shares(&lot.code);
            let committed_g = shares.iter().map(|(_, grams)| grams).sum();
            let in_date = lot.use_by.is_none_or(|until| until > situation.now);
            let usable = lot.state == LotState::Released && in_date;
            LotStock {
                usable,
                on_hand_g,
                committed_g,
                free_g: if usable {
                    (on_hand_g - committed_g).max(0)
                } else {
                    0
                },
                stranded_g: 0,
                for_any_g: 0,
                first_draw: shares.iter().map(|(start, _)| *start).min(),
                lot: lot.clone(),
            }
        })
        .collect();
    lots.sort_by_key(|l| {
        (
            rank(l),
            l.first_draw.map_or((1, None), |at| (0, Some(at))),
            !l.lot.opened,
            l.lot.use_by.map_or((1, None), |at| (0, Some(at))),
        )
    });
    lots
}

fn kept_g(situation: &Situation, powder: &PowderCode) -> i64 {
    let of_powder = |held: &Held| matches!(held, Held::Powder(it) if it == powder);
    let keep_backs = situation.keep_backs.iter();
    let keep_backs = keep_backs.filter(|it| of_powder(&it.held));
    keep_backs.map(|it| it.grams).sum()
}

/// Works out what any machine may draw of each lot. Lots that are good to the end of the line-up last equally.
fn leave_kept(situation: &Situation, lots: &mut [LotStock], kept_g: i64) {
    let end = situation.moment(situation.horizon());
    let until = |it: &LotStock| it.lot.use_by.map_or(end, |at| at.min(end));
    let free: Vec<(DateTime<Utc>, i64)> = lots.iter().map(|it| (until(it), it.free_g)).collect();
    for lot in lots {
        let as_long = free.iter().filter(|(at, _)| *at >= until(lot));
        let left: i64 = as_long.map(|(_, grams)| grams).sum();
        lot.for_any_g = (left - kept_g).clamp(0, lot.free_g);
    }
}

/// Works out which rests are stranded. A recipe that takes any lots can use a rest as long as all rests
/// together are enough for it.
fn strand(lots: &mut [LotStock], needs: &[Need]) {
    let together: i64 = lots.iter().map(|it| it.free_g).sum();
    for lot in lots.iter_mut().filter(|_| !needs.is_empty()) {
        let room = |need: &Need| if need.one_lot { lot.free_g } else { together };
        let used = needs.iter().any(|need| need.grams <= room(need));
        lot.stranded_g = if used { 0 } else { lot.free_g };
    }
}

const fn rank(lot: &LotStock) -> u8 {
    match lot.lot.state {
        LotState::Released if lot.usable => 0,
        LotState::Released | LotState::Empty => 1,
        LotState::Hold => 2,
        LotState::Arrived | LotState::Quarantine => 3,
        LotState::Rejected => 4,
    }
}

fn arrivals(situation: &Situation, powder: &PowderCode) -> Vec<Arrival> {
    let mut arrivals: Vec<Arrival> = Vec::new();
    for delivery in &situation.deliveries {
        let brought = delivery.brings.iter().filter_map(|brings| match brings {
            Brings::Powder {
                powder: p, grams, ..
            } if p == powder => Some(*grams),
            _ => None,
        });
        let grams: i64 = brought.sum();
        if grams > 0 {
            arrivals.push(Arrival {
                delivery: delivery.code.clone(),
                expected: delivery.expected,
                usable_from: situation.moment(landing(situation, delivery)),
                grams,
            });
        }
    }
    arrivals.sort_by_key(|a| a.usable_from);
    arrivals
}

/// What a stage of an approved recipe takes of the powder.
#[derive(Debug, Clone, Copy)]
struct Need {
    grams: i64,
    one_lot: bool,
}

fn needs(situation: &Situation, powder: &PowderCode) -> Vec<Need> {
    let approved = situation
        .recipes
        .iter()
        .filter(|r| r.state == RecipeState::Approved);
    approved
        .flat_map(|recipe| recipe.sprays())
        .filter(|spray| spray.powder == *powder)
        .filter_map(|spray| {
            Some(Need {
                grams: stage_need(situation, spray).ok()?.powder_g,
                one_lot: spray.one_lot,
            })
        })
        .collect()
}
