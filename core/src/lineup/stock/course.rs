//! What happens to one powder from now to the end of the line-up.

use super::{Draw, Fall, LotStock, Need, OutCause, RunOut};
use crate::code::{DeliveryCode, LotCode, PowderCode};
use crate::lineup::places::LotShare;
use crate::lineup::supply::{delivery_lot, landing};
use crate::situation::{Brings, Situation};
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;

/// What changes the level.
pub(super) enum Event<'a> {
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

pub(super) fn events<'a>(
    situation: &Situation,
    powder: &PowderCode,
    draws: &[Draw<'a>],
    lots: &[LotStock],
    end: DateTime<Utc>,
) -> Vec<Event<'a>> {
    let now = situation.now;
    let mut events = Vec::new();
    for Draw {
        place,
        stage,
        likely_g,
    } in draws
    {
        let fall = Fall {
            place: *place,
            likely_g: *likely_g,
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
#[derive(Clone)]
pub(super) struct Course {
    held: BTreeMap<String, i64>,
    needs: Vec<Need>,
    /// What a draw is reckoned to take, of what is planned for it.
    takes: fn(&Fall) -> i64,
    pub(super) levels: Vec<(DateTime<Utc>, i64)>,
    pub(super) falls: Vec<Fall>,
    pub(super) out: Option<RunOut>,
}

impl Course {
    pub(super) fn new(
        held: BTreeMap<String, i64>,
        needs: Vec<Need>,
        takes: fn(&Fall) -> i64,
    ) -> Self {
        Self {
            held,
            needs,
            takes,
            levels: Vec::new(),
            falls: Vec::new(),
            out: None,
        }
    }

    /// The same way, if draws take otherwise.
    pub(super) fn taking(&self, takes: fn(&Fall) -> i64) -> Self {
        Self {
            takes,
            ..self.clone()
        }
    }

    /// All that happens from now to the end.
    pub(super) fn run(
        mut self,
        events: &[Event<'_>],
        (now, end): (DateTime<Utc>, DateTime<Utc>),
    ) -> Self {
        self.level(now);
        self.judge(now, &OutCause::Already);
        for event in events {
            self.take(event);
        }
        self.level(end);
        self
    }

    fn total(&self) -> i64 {
        self.held.values().sum()
    }

    fn level(&mut self, at: DateTime<Utc>) {
        // A draw that a delivery or a date cuts into goes on from there.
        let last = self.levels.last().map_or(at, |(last, _)| *last);
        self.levels.push((at.max(last), self.total()));
    }

    fn take(&mut self, event: &Event<'_>) {
        match event {
            Event::Draw(fall, shares) => {
                let mut fall = fall.clone();
                let takes = (self.takes)(&fall);
                self.level(fall.start);
                for share in *shares {
                    if let Some(held) = self.held.get_mut(&share.lot) {
                        let grams = share.grams * takes / fall.grams.max(1);
                        *held = (*held - grams).max(0);
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
                self.level(*at);
                *self.held.entry(lot.clone()).or_default() += grams;
                self.level(*at);
                let served = self.serves();
                if let Some(out) = self.out.as_mut().filter(|o| o.until.is_none() && served) {
                    out.until = Some(delivery.clone());
                }
            }
            Event::Lapse { at, lot } => {
                self.level(*at);
                self.held.remove(lot.as_str());
                self.level(*at);
                self.judge(*at, &OutCause::UseBy(lot.clone()));
            }
        }
    }

    fn serves(&self) -> bool {
        let (total, largest) = (self.total(), self.held.values().max().copied().unwrap_or(0));
        let enough = |need: &Need| need.grams <= if need.one_lot { largest } else { total };
        self.needs.iter().any(enough)
    }

    /// Notes the first time that nothing can be served.
    fn judge(&mut self, at: DateTime<Utc>, cause: &OutCause) {
        let Some(least_g) = self.needs.iter().map(|need| need.grams).min() else {
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
