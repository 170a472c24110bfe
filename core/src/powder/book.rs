//! The powder book: every gram has a place, and moves from one place to another.
//!
//! Nothing is ever taken out of the book: what was entered wrongly moves back. So the sum over all places is
//! what was received, whatever happens, and a part's powder is found by what moved into its build.

use super::blend::apportion;
use crate::code::{ContainerCode, LotCode};
use crate::quantity::Milligrams;
use crate::word_enum;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Where powder can be.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    /// Off the site: whence it comes, and where it is sent back to.
    Depot,
    /// A container of one lot.
    Container(ContainerCode),
    /// The feeder of the cell.
    Feeder,
    /// Sprayed in a build, by its number: on the part, and what is not told apart from that.
    Build(i64),
    /// On the coupons of a build.
    Coupon(i64),
    /// Swept up, spilt or spoiled.
    Waste,
    /// What counts found more or less than the book.
    Gap,
    /// Used before the book began.
    Before,
}

impl Place {
    /// Whether it can hold no less than nothing: a thing that powder is in. Of the others the book tells what
    /// went there, and more may come from them than did.
    #[must_use]
    pub const fn is_a_vessel(&self) -> bool {
        matches!(
            self,
            Place::Container(_) | Place::Feeder | Place::Build(_) | Place::Coupon(_)
        )
    }
}

word_enum! {
    /// Why powder moved.
    Reason {
        /// Came with a delivery.
        Receipt = "receipt",
        /// Used before the book began.
        Before = "before",
        /// Poured into a feeder.
        Draw = "draw",
        /// Poured back from a feeder.
        Return = "return",
        /// Fed in a build.
        Spray = "spray",
        /// Found on coupons.
        Coupon = "coupon",
        /// Swept up behind a build.
        Sweep = "sweep",
        /// Spilt, spoiled or cleaned out.
        WriteOff = "write-off",
        /// A count found more or less than the book.
        Count = "count",
        /// Poured into another container of the same lot.
        Repack = "repack",
        /// Weighed out into a lot made of several.
        Blend = "blend",
        /// Sent back.
        SendBack = "send-back",
        /// Takes back a movement that was entered wrongly.
        Correction = "correction",
    }
}

/// Powder of one lot from one place to another.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Movement {
    /// Of which lot, as it leaves.
    pub lot: LotCode,
    /// As it arrives: another one in a blend, and where that is taken back.
    pub into: LotCode,
    /// Whence.
    pub from: Place,
    /// Where to.
    pub to: Place,
    /// How much, above 0.
    pub mass: Milligrams,
    /// Why.
    pub reason: Reason,
}

/// Why a movement cannot be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoMovement {
    /// Nothing, or less than nothing.
    #[error("{} mg is no movement; give more than 0", .0.0)]
    Nothing(Milligrams),
    /// The reason does not go with the places.
    #[error("'{reason}' moves no powder from {from:?} to {to:?}")]
    NotSo {
        /// As given.
        reason: Reason,
        /// Whence.
        from: Place,
        /// Where to.
        to: Place,
    },
    /// Another lot arrives than leaves.
    #[error("lot {lot} leaves and lot {into} arrives; only a blend makes one lot of another")]
    OtherLot {
        /// As it leaves.
        lot: LotCode,
        /// As it arrives.
        into: LotCode,
    },
    /// More than there is.
    #[error("{} g of lot {lot} are there, {} g are asked for; take less, or count first", grams(*.there), grams(*.asked))]
    TooMuch {
        /// Of which lot.
        lot: LotCode,
        /// What is there of it.
        there: Milligrams,
        /// What was asked for.
        asked: Milligrams,
    },
}

/// Grams with three decimals, without floating point.
fn grams(mass: Milligrams) -> String {
    let (sign, mg) = (if mass.0 < 0 { "-" } else { "" }, mass.0.unsigned_abs());
    format!("{sign}{}.{:03}", mg / 1000, mg % 1000)
}

impl Movement {
    /// The movement that takes this one back.
    #[must_use]
    pub fn taken_back(&self) -> Movement {
        Movement {
            lot: self.into.clone(),
            into: self.lot.clone(),
            from: self.to.clone(),
            to: self.from.clone(),
            mass: self.mass,
            reason: Reason::Correction,
        }
    }

    /// Whether it can be, with so much of its lot where it comes from.
    ///
    /// # Errors
    /// What is wrong, with what was given and what is there.
    pub fn check(&self, there: Milligrams) -> Result<(), NoMovement> {
        if self.mass.0 <= 0 {
            return Err(NoMovement::Nothing(self.mass));
        }
        if self.from == self.to || !self.reason.goes(&self.from, &self.to) {
            return Err(NoMovement::NotSo {
                reason: self.reason,
                from: self.from.clone(),
                to: self.to.clone(),
            });
        }
        let may_change = matches!(self.reason, Reason::Blend | Reason::Correction);
        if self.lot != self.into && !may_change {
            return Err(NoMovement::OtherLot {
                lot: self.lot.clone(),
                into: self.into.clone(),
            });
        }
        if self.from.is_a_vessel() && self.mass > there {
            return Err(NoMovement::TooMuch {
                lot: self.lot.clone(),
                there,
                asked: self.mass,
            });
        }
        Ok(())
    }
}

impl Reason {
    /// Whether powder moves so for this reason.
    #[must_use]
    pub const fn goes(self, from: &Place, to: &Place) -> bool {
        use Place::{Before, Build, Container, Coupon, Depot, Feeder, Gap, Waste};
        match self {
            Reason::Receipt => matches!((from, to), (Depot, Container(_))),
            Reason::Before => matches!((from, to), (Container(_), Before)),
            Reason::Draw => matches!((from, to), (Container(_), Feeder)),
            Reason::Return => matches!((from, to), (Feeder, Container(_))),
            Reason::Spray => matches!((from, to), (Feeder, Build(_))),
            Reason::Coupon => matches!((from, to), (Build(_), Coupon(_))),
            Reason::Sweep => matches!((from, to), (Build(_), Waste)),
            Reason::WriteOff => matches!((from, to), (Container(_) | Feeder, Waste)),
            Reason::Count => matches!(
                (from, to),
                (Container(_) | Feeder, Gap) | (Gap, Container(_) | Feeder)
            ),
            Reason::Repack | Reason::Blend => matches!((from, to), (Container(_), Container(_))),
            Reason::SendBack => matches!((from, to), (Container(_), Depot)),
            Reason::Correction => true,
        }
    }
}

/// What is where, as movements have it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Book(BTreeMap<(Place, LotCode), i64>);

impl Book {
    /// Milligrams of a lot in a place; what came from outside the site counts below 0 there.
    #[must_use]
    pub fn of(&self, place: &Place, lot: &LotCode) -> Milligrams {
        let there = self.0.get(&(place.clone(), lot.clone()));
        Milligrams(there.copied().unwrap_or(0))
    }

    /// The lots that are in a place, with how much of each, none of which is 0.
    pub fn lots_in<'a>(
        &'a self,
        place: &'a Place,
    ) -> impl Iterator<Item = (&'a LotCode, Milligrams)> {
        self.0
            .iter()
            .filter(move |((at, _), mg)| at == place && **mg != 0)
            .map(|((_, lot), mg)| (lot, Milligrams(*mg)))
    }

    /// All places and lots with something in them, or missing from them.
    pub fn all(&self) -> impl Iterator<Item = (&Place, &LotCode, Milligrams)> {
        self.0
            .iter()
            .filter(|(_, mg)| **mg != 0)
            .map(|((place, lot), mg)| (place, lot, Milligrams(*mg)))
    }

    /// Enters a movement.
    ///
    /// # Errors
    /// Why it cannot be; the book is as before then.
    pub fn enter(&mut self, movement: &Movement) -> Result<(), NoMovement> {
        movement.check(self.of(&movement.from, &movement.lot))?;
        let mg = movement.mass.0;
        let from = (movement.from.clone(), movement.lot.clone());
        let to = (movement.to.clone(), movement.into.clone());
        *self.0.entry(from).or_default() -= mg;
        *self.0.entry(to).or_default() += mg;
        Ok(())
    }
}

/// Of which lots so much comes out of a mix, where nobody can tell them apart: of each as its share is.
///
/// Whether a feeder gives what lies in it as a mix or in layers depends on its build; as a mix every part that
/// it may be in is traced to every lot (our choice, no source).
///
/// # Errors
/// [`NoMovement::TooMuch`] names the first lot where the mix holds less in all; [`NoMovement::Nothing`].
pub fn from_mix(
    mix: &[(LotCode, Milligrams)],
    mass: Milligrams,
) -> Result<Vec<(LotCode, Milligrams)>, NoMovement> {
    let there = mix.iter().map(|(_, there)| *there).sum();
    if mass.0 <= 0 || mix.is_empty() {
        return Err(NoMovement::Nothing(mass));
    }
    if mass > there {
        return Err(NoMovement::TooMuch {
            lot: mix[0].0.clone(),
            there,
            asked: mass,
        });
    }
    Ok(shared(mix, mass))
}

/// Takes so much out of a mix, as [`from_mix`] says; what is left stays in it. Nothing is taken of nothing.
///
/// # Errors
/// [`NoMovement::TooMuch`] where the mix holds less.
pub fn take(
    mix: &mut [(LotCode, Milligrams)],
    mass: Milligrams,
) -> Result<Vec<(LotCode, Milligrams)>, NoMovement> {
    if mass.0 == 0 {
        return Ok(Vec::new());
    }
    let taken = from_mix(mix, mass)?;
    for (lot, there) in mix.iter_mut() {
        let of_it = taken.iter().filter(|(of, _)| of == lot);
        there.0 -= of_it.map(|(_, mass)| mass.0).sum::<i64>();
    }
    Ok(taken)
}

/// A mass parted as the shares of a mix are, to the milligram; it may be more than the mix holds. Nothing of a mix
/// that holds nothing.
#[must_use]
pub fn shared(mix: &[(LotCode, Milligrams)], mass: Milligrams) -> Vec<(LotCode, Milligrams)> {
    let weights: Vec<i64> = mix.iter().map(|(_, there)| there.0).collect();
    let parts = apportion(&weights, mass.0).unwrap_or_default();
    let each = mix.iter().zip(parts);
    let each = each.map(|((lot, _), part)| (lot.clone(), Milligrams(part)));
    each.filter(|(_, mass)| mass.0 > 0).collect()
}

#[cfg(test)]
mod tests;
