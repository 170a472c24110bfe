//! What a report may name, and which parts are offered first.

use std::collections::BTreeMap;

use sqlx::SqlitePool;

use super::form::Known;
use super::queries::{self, Choice};

/// Machines, parts and metals, and the parts in groups.
pub struct Choices {
    pub known: Known,
    /// Machine and part, as the catalogue has it.
    fits: Vec<(String, String)>,
    /// Machine and part of every request so far.
    asked: Vec<(String, String)>,
    /// Machine and capability.
    served: Vec<(String, String)>,
}

/// Parts under a heading: code and words of each.
pub struct Group {
    pub name: String,
    pub parts: Vec<(String, String)>,
}

impl Choices {
    pub async fn load(read: &SqlitePool) -> Result<Choices, sqlx::Error> {
        Ok(Choices {
            known: Known {
                assets: queries::assets(read).await?,
                parts: queries::parts(read).await?,
                metals: queries::metals(read).await?,
            },
            fits: queries::fits(read).await?,
            asked: queries::asked_before(read).await?,
            served: queries::served(read).await?,
        })
    }

    /// The parts: with a machine those first that fit it, then others that were asked for on it, then
    /// those of machines that serve the same; without one, by what their machines serve.
    pub fn groups(&self, asset: &str) -> Vec<Group> {
        let parts = self.known.parts.iter();
        let mut left = Left(parts.map(|part| (part.code.as_str(), part)).collect());
        let mut groups = Vec::new();
        if self.known.assets.iter().any(|known| known.code == asset) {
            groups.extend(left.take("Of this machine", of(&self.fits, asset)));
            groups.extend(left.take("Asked for on this machine before", of(&self.asked, asset)));
            let serves = self.served.iter().filter(|(one, _)| one == asset);
            let sisters = serves.flat_map(|(_, capability)| self.of_capability(capability));
            groups.extend(left.take("On machines that serve the same", sisters));
        } else {
            for (_, capability) in &self.served {
                groups.extend(left.take(capability, self.of_capability(capability)));
            }
        }
        let rest = self.known.parts.iter().map(|part| part.code.as_str());
        groups.extend(left.take("Other parts", rest));
        groups
    }

    fn of_capability(&self, capability: &str) -> impl Iterator<Item = &str> {
        let machines = self.served.iter().filter(move |(_, one)| one == capability);
        machines.flat_map(|(asset, _)| of(&self.fits, asset).chain(of(&self.asked, asset)))
    }
}

/// The parts of a machine among pairs of both.
fn of<'a>(pairs: &'a [(String, String)], asset: &str) -> impl Iterator<Item = &'a str> {
    let of = pairs.iter().filter(move |(one, _)| one == asset);
    of.map(|(_, part)| part.as_str())
}

/// The parts that stand in no group yet.
struct Left<'a>(BTreeMap<&'a str, &'a Choice>);

impl Left<'_> {
    /// A group of those of these that are left; none if none is.
    fn take<'b>(&mut self, name: &str, codes: impl Iterator<Item = &'b str>) -> Option<Group> {
        let mut parts: Vec<&Choice> = codes.filter_map(|code| self.0.remove(code)).collect();
        parts.sort_by(|a, b| (&a.name, &a.code).cmp(&(&b.name, &b.code)));
        (!parts.is_empty()).then(|| Group {
            name: name.to_owned(),
            parts: parts.into_iter().map(option).collect(),
        })
    }
}

fn option(part: &Choice) -> (String, String) {
    (part.code.clone(), format!("{}, {}", part.name, part.code))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn choice(code: &str) -> Choice {
        Choice {
            code: code.to_owned(),
            name: code.to_lowercase(),
        }
    }

    /// By the catalogue the cap fits sets 1 and 2. Set 2 had a hub asked for, and the cap too; set 3 a
    /// housing; all three serve power. The pump's lid is of another capability, and nobody ever asked
    /// for the pin.
    #[test]
    fn parts_of_the_machine_come_first_then_those_of_its_sisters() {
        let pair = |a: &str, b: &str| (a.to_owned(), b.to_owned());
        let choices = Choices {
            known: Known {
                assets: ["GS1", "GS2", "GS3", "WP1"].map(choice).to_vec(),
                parts: ["LID", "PIN", "HUB", "HOUSING", "CAP"].map(choice).to_vec(),
                metals: Vec::new(),
            },
            fits: vec![pair("GS1", "CAP"), pair("GS2", "CAP")],
            asked: vec![
                pair("GS2", "CAP"),
                pair("GS2", "HUB"),
                pair("GS3", "HOUSING"),
                pair("WP1", "LID"),
            ],
            served: vec![
                pair("GS1", "power"),
                pair("GS2", "power"),
                pair("GS3", "power"),
                pair("WP1", "water"),
            ],
        };
        let groups = |asset: &str| -> Vec<(String, Vec<String>)> {
            let groups = choices.groups(asset).into_iter();
            let codes = |g: Group| g.parts.into_iter().map(|(code, _)| code).collect();
            groups.map(|g| (g.name.clone(), codes(g))).collect()
        };
        let named = |name: &str, codes: &[&str]| {
            let codes: Vec<String> = codes.iter().map(|&code| code.to_owned()).collect();
            (name.to_owned(), codes)
        };
        assert_eq!(
            groups("GS2"),
            [
                named("Of this machine", &["CAP"]),
                named("Asked for on this machine before", &["HUB"]),
                named("On machines that serve the same", &["HOUSING"]),
                named("Other parts", &["LID", "PIN"]),
            ]
        );
        assert_eq!(
            groups("GS1")[..2],
            [
                named("Of this machine", &["CAP"]),
                named("On machines that serve the same", &["HOUSING", "HUB"]),
            ]
        );
        assert_eq!(
            groups(""),
            [
                named("power", &["CAP", "HOUSING", "HUB"]),
                named("water", &["LID"]),
                named("Other parts", &["PIN"]),
            ]
        );
    }
}
