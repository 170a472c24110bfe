//! Words for why a request does not go earlier.

use mendpost_core::lineup::{Displaced, Earlier, Lack, Moved, Place, Readiness};

use super::Words;
use super::authority::skill_word;
use crate::page::{loss, minutes};

impl Words<'_> {
    /// 'First in the order would cost 1 240 points more: feed pump 2 impeller (R12) would be back 3 h later.';
    /// none for the first place.
    pub fn earlier(&self, place: &Place) -> Option<String> {
        let told = match place.earlier.as_ref()? {
            Earlier::Costs { first, one } => {
                let first = format!("First in the order {}", self.moved(first));
                match one {
                    Some(one) => format!("{first} One place earlier {}", self.moved(one)),
                    None => first,
                }
            }
            Earlier::Waits { lacks } => {
                let for_what = match (&place.readiness, lacks) {
                    (Readiness::Ready, Some(lack)) => self.lack(lack),
                    (Readiness::Ready, None) => {
                        return Some(
                            "It is done as early as it can be, wherever it stands.".to_owned(),
                        );
                    }
                    (readiness, _) => self.readiness(readiness).1,
                };
                format!("First in the order it would be done no sooner: it waits {for_what}.")
            }
        };
        Some(told)
    }

    fn moved(&self, moved: &Moved) -> String {
        let unit = &self.situation.site.loss_word;
        let cost = match moved.more {
            0 => "it would cost nothing more".to_owned(),
            1.. => format!("it would cost {} {unit} more", loss(moved.more)),
            _ => format!("it would cost {} {unit} less", loss(-moved.more)),
        };
        match &moved.displaced {
            Some(displaced) => format!("{cost}: {}.", self.displaced(displaced)),
            None => format!("{cost}."),
        }
    }

    fn displaced(&self, displaced: &Displaced) -> String {
        let request = self.request(displaced.request.as_str());
        match displaced.later_min {
            Some(later) => format!("{request} would be back {} later", minutes(later)),
            None => format!("{request} would fall out"),
        }
    }

    fn lack(&self, lack: &Lack) -> String {
        match lack {
            Lack::Powder(powder) => format!("for {}", self.powder(powder.as_str())),
            Lack::Station(station) => format!("for the {}", self.station(station.as_str())),
            Lack::Gas(bank) => format!("for gas from {}", self.bank(bank)),
            Lack::Fuel => "for fuel".to_owned(),
            Lack::Kit(kit) => format!("for {}", self.kit(kit.as_str())),
            Lack::People => "for people on duty".to_owned(),
            Lack::Qualified(skill) => format!("for somebody who can {}", skill_word(*skill)),
            Lack::Duty => "for the next shift".to_owned(),
        }
    }
}
