//! Powder as the line-up leaves it: what of each lot is committed and free, and what runs out when.

use super::line_up::LineUp;
use super::need::stage_need;
use super::places::{LotShare, StagePlan};
use super::supply::{delivery_lot, landing};
use crate::catalogue::RecipeState;
use crate::code::{DeliveryCode, LotCode, PowderCode};
use crate::powder::{Lot, LotState};
use crate::situation::{Brings, Held, Situation};
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;

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
    /// Grams of it that keep-backs hold for the machines that they name.
    pub kept_g: i64,
    /// Draws of the line-up, in order.
    pub falls: Vec<Fall>,
    /// Deliveries that bring it, in order.
    pub arrivals: Vec<Arrival>,
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
    /// Of these what any machine may draw: as much as leaves what is kept back in lots that are good at least as long.
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
    /// How much, from all its lots.
    pub grams: i64,
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
    let stages = line_up.map_or_else(Vec::new, |l| stages(situation, l, powder));
    let kept_g = kept_g(situation, powder);
    let mut lots = lots(situation, powder, &stages);
    leave_kept(situation, &mut lots, kept_g);
    let arrivals = arrivals(situation, powder);
    let end = line_up.map_or_else(|| situation.moment(situation.horizon()), |l| l.until);
    let mut course = Course {
        held: lots
            .iter()
            .filter(|l| l.usable)
            .map(|l| (l.lot.code.to_string(), l.on_hand_g))
            .collect(),
        needs: needs(situation, powder),
        levels: Vec::new(),
        falls: Vec::new(),
        out: None,
    };
    course.level(situation.now);
    course.judge(situation.now, &OutCause::Already);
    for event in events(situation, powder, &stages, &lots, end) {
        course.take(event);
    }
    course.level(end.max(situation.now));
    Stock {
        powder: powder.clone(),
        lots,
        levels: course.levels,
        kept_g,
        falls: course.falls,
        arrivals,
        out: course.out,
    }
}

/// Stages of this powder that are still to come, each with its place.
fn stages<'a>(
    situation: &Situation,
    line_up: &'a LineUp,
    powder: &PowderCode,
) -> Vec<(usize, &'a StagePlan)> {
    let open = |code| situation.request(code).is_some();
    let places = line_up.places.iter().filter(|p| open(&p.request));
    places
        .flat_map(|place| place.stages().map(|(_, stage)| (place.number, stage)))
        .filter(|(_, stage)| stage.powder == powder.as_str())
        .collect()
}

fn lots(
    situation: &Situation,
    powder: &PowderCode,
    stages: &[(usize, &StagePlan)],
) -> Vec<LotStock> {
    let shares = |code: &LotCode| -> Vec<(DateTime<Utc>, i64)> {
        let all = stages
            .iter()
            .flat_map(|(_, stage)| stage.lots.iter().map(|share| (stage.start, share)));
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

/// What the stages of approved recipes take of this powder, and whether from one lot.
fn needs(situation: &Situation, powder: &PowderCode) -> Vec<(i64, bool)> {
    let approved = situation
        .recipes
        .iter()
        .filter(|r| r.state == RecipeState::Approved);
    approved
        .flat_map(|recipe| recipe.sprays())
        .filter(|spray| spray.powder == *powder)
        .filter_map(|spray| Some((stage_need(situation, spray).ok()?.powder_g, spray.one_lot)))
        .collect()
}

/// What changes the level.
enum Event<'a> {
    Draw(Fall, &'a [LotShare]),
    Arrive {
        at: DateTime<Utc>,
        lot: String,
        grams: i64,
        delivery: DeliveryCode,
    },
    Lapse {
        at: DateTime<Utc>,
        lot: LotCode,
    },
}

impl Event<'_> {
    /// When it has happened; of those at one moment, what comes in stands first.
    const fn at(&self) -> (DateTime<Utc>, u8) {
        match self {
            Self::Arrive { at, .. } => (*at, 0),
            Self::Draw(fall, _) => (fall.end, 1),
            Self::Lapse { at, .. } => (*at, 2),
        }
    }
}

fn events<'a>(
    situation: &Situation,
    powder: &PowderCode,
    stages: &[(usize, &'a StagePlan)],
    lots: &[LotStock],
    end: DateTime<Utc>,
) -> Vec<Event<'a>> {
    let now = situation.now;
    let mut events = Vec::new();
    for (place, stage) in stages {
        let fall = Fall {
            place: *place,
            start: stage.start.max(now),
            end: stage.end.max(now),
            grams: stage.lots.iter().map(|share| share.grams).sum(),
            left_g: 0,
        };
        events.push(Event::Draw(fall, &stage.lots));
    }
    for delivery in &situation.deliveries {
        let at = situation.moment(landing(situation, delivery));
        for (line, brings) in delivery.brings.iter().enumerate() {
            if let Brings::Powder {
                powder: p, grams, ..
            } = brings
                && p == powder
            {
                events.push(Event::Arrive {
                    at,
                    lot: delivery_lot(delivery, line),
                    grams: *grams,
                    delivery: delivery.code.clone(),
                });
            }
        }
    }
    let dated = lots.iter().filter(|l| l.usable);
    events.extend(dated.filter_map(|l| {
        Some(Event::Lapse {
            at: l.lot.use_by?,
            lot: l.lot.code.clone(),
        })
    }));
    events.retain(|event| event.at().0 <= end);
    events.sort_by_key(Event::at);
    events
}

/// The powder's way from now on.
struct Course {
    held: BTreeMap<String, i64>,
    needs: Vec<(i64, bool)>,
    levels: Vec<(DateTime<Utc>, i64)>,
    falls: Vec<Fall>,
    out: Option<RunOut>,
}

impl Course {
    fn total(&self) -> i64 {
        self.held.values().sum()
    }

    fn level(&mut self, at: DateTime<Utc>) {
        // A draw that a delivery or a date cuts into goes on from there.
        let last = self.levels.last().map_or(at, |(last, _)| *last);
        self.levels.push((at.max(last), self.total()));
    }

    fn take(&mut self, event: Event<'_>) {
        match event {
            Event::Draw(mut fall, shares) => {
                self.level(fall.start);
                for share in shares {
                    if let Some(held) = self.held.get_mut(&share.lot) {
                        *held = (*held - share.grams).max(0);
                    }
                }
                self.level(fall.end);
                fall.left_g = self.total();
                self.judge(fall.end, &OutCause::Place(fall.place));
                self.falls.push(fall);
            }
            Event::Arrive {
                at,
                lot,
                grams,
                delivery,
            } => {
                self.level(at);
                *self.held.entry(lot).or_default() += grams;
                self.level(at);
                let served = self.serves();
                if let Some(out) = self.out.as_mut().filter(|o| o.until.is_none() && served) {
                    out.until = Some(delivery);
                }
            }
            Event::Lapse { at, lot } => {
                self.level(at);
                self.held.remove(lot.as_str());
                self.level(at);
                self.judge(at, &OutCause::UseBy(lot));
            }
        }
    }

    fn serves(&self) -> bool {
        let (total, largest) = (self.total(), self.held.values().max().copied().unwrap_or(0));
        let enough =
            |(grams, one_lot): &(i64, bool)| *grams <= if *one_lot { largest } else { total };
        self.needs.iter().any(enough)
    }

    /// Notes the first time that nothing can be served.
    fn judge(&mut self, at: DateTime<Utc>, cause: &OutCause) {
        let Some(least_g) = self.needs.iter().map(|(grams, _)| *grams).min() else {
            return;
        };
        if self.out.is_none() && !self.serves() {
            self.out = Some(RunOut {
                at,
                cause: cause.clone(),
                left_g: self.total(),
                least_g,
                until: None,
            });
        }
    }
}
