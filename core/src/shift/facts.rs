//! The five facts that the receiver looks at with own eyes.

use serde::{Deserialize, Serialize};

use super::{GuardLine, Half, HalfKind, Place, Record, Stand};

/// How many facts the receiver looks at: enough to notice a record that is not true, few enough to be done.
///
/// Common practice, no source.
pub const FACTS: usize = 5;

/// Something that the receiver looks at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fact {
    /// By which its fields are known.
    pub key: String,
    /// What to look at.
    pub what: String,
    /// What the giver told of it.
    pub told: String,
}

/// The facts of a handover that are looked at: what is off first, then one piece of half-done work, then places by
/// what they can do to people, and what work is left after that.
///
/// At most [`FACTS`], and as many wherever the record holds so many.
#[must_use]
pub fn facts(record: &Record) -> Vec<Fact> {
    let off = record.guards.iter().filter(|it| it.off == Some(true));
    let mut half = record.half.iter().filter(|it| it.kind != HalfKind::Feeder);
    let mut all: Vec<Fact> = off.take(2).map(guard).collect();
    all.extend(half.next().map(work));
    let mut stands: Vec<&Stand> = record.stands.iter().collect();
    stands.sort_by_key(|it| danger(it.place));
    all.extend(stands.into_iter().map(stand));
    all.extend(half.map(work));
    all.truncate(FACTS);
    all
}

/// Which place is looked at first. Common practice, no source: gas and heat before what only costs time.
const fn danger(place: Place) -> u8 {
    match place {
        Place::Bank => 0,
        Place::Furnace => 1,
        Place::Feeder => 2,
        Place::Booth => 3,
        Place::Collector => 4,
        Place::Fuel => 5,
        Place::Heater => 6,
        Place::Compressor => 7,
    }
}

fn guard(line: &GuardLine) -> Fact {
    Fact {
        key: line.guard.to_string(),
        what: format!("Safeguard, {}", line.guard.to_string().replace('-', " ")),
        told: format!("off: {}", line.what),
    }
}

fn work(half: &Half) -> Fact {
    Fact {
        key: half.key.clone(),
        what: half.what.clone(),
        told: format!("{}; {}", half.finished, half.parked),
    }
}

fn stand(stand: &Stand) -> Fact {
    Fact {
        key: stand.key.clone(),
        what: stand.name.clone(),
        told: format!("{}, {}", stand.word, stand.reading),
    }
}
