//! What of the items a trip may carry, and how much of each limit a load takes.

use super::carriage::{CarriageRule, CarriageRules, Dangerous, Sheet};
use super::item::Item;
use super::pack::PackLimit;
use super::trip::Trip;
use crate::code::ItemCode;
use std::collections::BTreeMap;

/// How many units of which items.
pub type Load = BTreeMap<ItemCode, i64>;

/// Limits of a load, by the names that stand in its packing problem.
pub const MASS: &str = "mass";
/// Room, in millilitres.
pub const VOLUME: &str = "volume";
/// Points by the rules of carriage, in thousandths.
pub const POINTS: &str = "points";

/// Why an item does not go on a trip, however few.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Barred {
    /// Nobody has read its safety sheet.
    SheetNotRead,
    /// One unit is too heavy there.
    TooHeavy {
        /// What it weighs gross, in grams.
        gross_g: i64,
        /// The heaviest piece, in grams.
        most_g: i64,
    },
    /// One unit is too long.
    TooLong {
        /// Its longest side, in millimetres.
        longest_mm: i64,
        /// The longest piece, in millimetres.
        most_mm: i64,
    },
    /// The trip takes no dangerous goods.
    NoDangerousGoods,
    /// The site wrote nothing down of the rules of this way of travel.
    NoRules,
    /// What the site wrote down says nothing of this entry.
    NotInRules,
    /// By what the site wrote down it is not taken.
    Refused {
        /// Why, or where that stands.
        note: String,
    },
    /// One package holds more than is taken.
    Package {
        /// What one unit counts, in grams or millilitres.
        counted: i64,
        /// The most.
        most: i64,
    },
    /// The depot has none.
    DepotHasNone,
}

/// A trip with the rules it goes by.
#[derive(Debug, Clone, Copy)]
pub struct Carrier<'a> {
    /// The trip.
    pub trip: &'a Trip,
    /// What the site wrote down of the rules of its mode.
    pub rules: Option<&'a CarriageRules>,
}

impl Carrier<'_> {
    /// Everything that keeps an item off the trip; empty if one unit may go.
    #[must_use]
    pub fn bars(&self, item: &Item) -> Vec<Barred> {
        let trip = self.trip;
        let mut bars = Vec::new();
        if item.gross_g > trip.heaviest_g {
            bars.push(Barred::TooHeavy {
                gross_g: item.gross_g,
                most_g: trip.heaviest_g,
            });
        }
        if item.longest_mm() > trip.longest_mm {
            bars.push(Barred::TooLong {
                longest_mm: item.longest_mm(),
                most_mm: trip.longest_mm,
            });
        }
        if item.depot == Some(0) {
            bars.push(Barred::DepotHasNone);
        }
        match &item.sheet {
            Sheet::NotRead => bars.push(Barred::SheetNotRead),
            Sheet::Free { .. } => {}
            Sheet::Entry(entry) => bars.extend(self.bar_of(entry)),
        }
        bars
    }

    fn bar_of(&self, entry: &Dangerous) -> Option<Barred> {
        if !self.trip.dangerous {
            return Some(Barred::NoDangerousGoods);
        }
        let Some(rules) = self.rules else {
            return Some(Barred::NoRules);
        };
        let Some(rule) = rules.rule_for(entry) else {
            return Some(Barred::NotInRules);
        };
        if rule.refused {
            return Some(Barred::Refused {
                note: rule.note.clone(),
            });
        }
        let most = rule.package.filter(|most| entry.counted > *most)?;
        Some(Barred::Package {
            counted: entry.counted,
            most,
        })
    }

    /// What one unit takes of each limit; limits of which it takes nothing are left out.
    #[must_use]
    pub fn uses(&self, item: &Item) -> BTreeMap<String, i64> {
        let mut uses = BTreeMap::from([
            (MASS.to_owned(), item.gross_g),
            (VOLUME.to_owned(), item.volume_ml()),
        ]);
        if let (Sheet::Entry(entry), Some(rules)) = (&item.sheet, self.rules)
            && let Some((n, rule)) = rules.numbered_rule_for(entry)
        {
            if rules.points_milli.is_some() {
                uses.insert(POINTS.to_owned(), entry.counted * rule.points);
            }
            if rule.load.is_some() {
                uses.insert(load_limit(n), entry.counted);
            }
        }
        uses.retain(|_, amount| *amount > 0);
        uses
    }

    /// The limits of the trip, each with what it allows.
    #[must_use]
    pub fn limits(&self) -> Vec<PackLimit> {
        let limit = |id: &str, limit| PackLimit {
            id: id.to_owned(),
            limit,
        };
        let mut limits = vec![
            limit(MASS, self.trip.mass_limit_g()),
            limit(VOLUME, self.trip.volume_ml),
        ];
        if let Some(rules) = self.rules {
            limits.extend(rules.points_milli.map(|most| limit(POINTS, most)));
            let of_rules = rules.rules.iter().enumerate();
            limits.extend(of_rules.filter_map(|(n, rule)| Some(limit(&load_limit(n), rule.load?))));
        }
        limits
    }

    /// What a load takes of each limit.
    #[must_use]
    pub fn taken(&self, items: &[Item], load: &Load) -> BTreeMap<String, i64> {
        let mut taken: BTreeMap<String, i64> = BTreeMap::new();
        for (item, units) in loaded(items, load) {
            for (limit, amount) in self.uses(item) {
                *taken.entry(limit).or_default() += amount * units;
            }
        }
        taken
    }

    /// Whether a load is within every limit of the trip, holds nothing that it does not take, and no more than the
    /// depot has.
    #[must_use]
    pub fn carries(&self, items: &[Item], load: &Load) -> bool {
        let beyond = |item: &Item, units| item.depot.is_some_and(|most| units > most);
        judge(self, items, load).goes()
            && !loaded(items, load).any(|(item, units)| beyond(item, units))
    }

    /// Pairs of items that are not loaded together.
    #[must_use]
    pub fn apart(&self, items: &[Item]) -> Vec<(ItemCode, ItemCode)> {
        self.pairs(items, |pair| !pair.can_be_kept)
    }

    /// Pairs of items that must be kept apart on the vehicle, and how the rules put it.
    #[must_use]
    pub fn kept_apart(&self, items: &[Item], load: &Load) -> Vec<(ItemCode, ItemCode)> {
        let pairs = self.pairs(items, |pair| pair.can_be_kept);
        let here = |code: &ItemCode| load.get(code).is_some_and(|units| *units > 0);
        let both = pairs
            .into_iter()
            .filter(|(one, other)| here(one) && here(other));
        both.collect()
    }

    fn pairs(
        &self,
        items: &[Item],
        holds: impl Fn(&super::carriage::Apart) -> bool,
    ) -> Vec<(ItemCode, ItemCode)> {
        let Some(rules) = self.rules else {
            return Vec::new();
        };
        let entries: Vec<(&ItemCode, &Dangerous)> = items
            .iter()
            .filter_map(|item| match &item.sheet {
                Sheet::Entry(entry) => Some((&item.code, entry)),
                _ => None,
            })
            .collect();
        let mut pairs = Vec::new();
        for (n, (code, entry)) in entries.iter().enumerate() {
            for (other_code, other) in &entries[n + 1..] {
                if rules.apart(entry, other).iter().any(|pair| holds(pair)) {
                    pairs.push(((*code).clone(), (*other_code).clone()));
                }
            }
        }
        pairs
    }
}

/// What a load is to its trip: what keeps it off, and what it takes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Judged {
    /// Items that do not go on the trip at all, each with why.
    pub barred: BTreeMap<ItemCode, Vec<Barred>>,
    /// What the load takes of each limit, by its id, beside the most.
    pub taken: Vec<(String, i64, i64)>,
    /// Items of the load that are not loaded together.
    pub never: Vec<(ItemCode, ItemCode)>,
    /// Items of the load that must be kept apart on the vehicle.
    pub apart: Vec<(ItemCode, ItemCode)>,
}

impl Judged {
    /// Limits that the load goes beyond: id, what it takes, the most.
    pub fn over(&self) -> impl Iterator<Item = &(String, i64, i64)> {
        self.taken.iter().filter(|(_, taken, most)| taken > most)
    }

    /// Nothing speaks against it.
    #[must_use]
    pub fn goes(&self) -> bool {
        self.barred.is_empty() && self.never.is_empty() && self.over().next().is_none()
    }
}

/// Holds a load against its trip.
#[must_use]
pub fn judge(carrier: &Carrier, items: &[Item], load: &Load) -> Judged {
    let bars = loaded(items, load).map(|(item, _)| (item.code.clone(), carrier.bars(item)));
    let taken = carrier.taken(items, load);
    let of = |id: &str| taken.get(id).copied().unwrap_or(0);
    let limits = carrier.limits().into_iter();
    let here = |code: &ItemCode| load.get(code).is_some_and(|units| *units > 0);
    let never = carrier.apart(items).into_iter();
    Judged {
        barred: bars.filter(|(_, bars)| !bars.is_empty()).collect(),
        taken: limits
            .map(|it| (it.id.clone(), of(&it.id), it.limit))
            .collect(),
        never: never
            .filter(|(one, other)| here(one) && here(other))
            .collect(),
        apart: carrier.kept_apart(items, load),
    }
}

/// The items of a load that are known, with how many units.
pub fn loaded<'a>(items: &'a [Item], load: &Load) -> impl Iterator<Item = (&'a Item, i64)> {
    let units = |item: &Item| load.get(&item.code).copied().filter(|units| *units > 0);
    items
        .iter()
        .filter_map(move |item| Some((item, units(item)?)))
}

/// The limit of a load that a rule sets, by the rule's place.
fn load_limit(rule: usize) -> String {
    format!("rule/{}", rule + 1)
}

impl CarriageRules {
    /// The rule that says most of an entry: of its UN number before its class, with its packing group before
    /// any; of those that say as much the first.
    #[must_use]
    pub fn rule_for(&self, entry: &Dangerous) -> Option<&CarriageRule> {
        self.numbered_rule_for(entry).map(|(_, rule)| rule)
    }

    fn numbered_rule_for(&self, entry: &Dangerous) -> Option<(usize, &CarriageRule)> {
        let fits = |(_, rule): &(usize, &CarriageRule)| {
            rule.un.is_none_or(|un| un == entry.un)
                && rule
                    .class
                    .as_ref()
                    .is_none_or(|class| *class == entry.class)
                && rule.group.is_none_or(|group| Some(group) == entry.group)
        };
        let says = |rule: &CarriageRule| {
            (
                rule.un.is_some(),
                rule.class.is_some(),
                rule.group.is_some(),
            )
        };
        let mut rules = self.rules.iter().enumerate().filter(fits);
        let first = rules.next()?;
        Some(rules.fold(
            first,
            |best, it| if says(it.1) > says(best.1) { it } else { best },
        ))
    }

    /// What the site wrote down of two entries on one trip, main and subsidiary classes alike.
    #[must_use]
    pub fn apart(&self, one: &Dangerous, other: &Dangerous) -> Vec<&super::carriage::Apart> {
        let classes = |entry: &Dangerous| -> Vec<String> {
            let subsidiary = entry.subsidiary.iter().cloned();
            std::iter::once(entry.class.clone())
                .chain(subsidiary)
                .collect()
        };
        let (ours, theirs) = (classes(one), classes(other));
        let meets = |pair: &&super::carriage::Apart| {
            let both = |a: &String, b: &String| ours.contains(a) && theirs.contains(b);
            both(&pair.one, &pair.other) || both(&pair.other, &pair.one)
        };
        self.apart.iter().filter(meets).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::carriage::{Apart, Mode, PackingGroup};
    use super::super::samples::{item, trip};
    use super::*;
    use chrono::DateTime;

    fn entry(un: i64, class: &str, group: Option<PackingGroup>, counted: i64) -> Sheet {
        Sheet::Entry(Dangerous {
            un,
            name: format!("entry of UN {un}"),
            class: class.to_owned(),
            subsidiary: vec![],
            group,
            counted,
            sheet: "a sheet".to_owned(),
        })
    }

    fn rule(un: Option<i64>, class: Option<&str>, group: Option<PackingGroup>) -> CarriageRule {
        CarriageRule {
            un,
            class: class.map(str::to_owned),
            group,
            refused: false,
            package: None,
            load: None,
            points: 1,
            note: String::new(),
        }
    }

    /// Road: transport categories of ADR 2025, Table A (from its text): UN 1396 of group II is in category 2,
    /// of group III in 3, UN 1309 of group III in 3, UN 1066 and UN 1202 in 3; 1.1.3.6.4: category 2 counts
    /// three times, 3 once, up to 1000; 1.1.3.6.3: kilograms net of solids, litres of liquids, litres of
    /// water capacity of compressed gas.
    fn road() -> CarriageRules {
        let three = |un, group| CarriageRule {
            points: 3,
            ..rule(Some(un), None, group)
        };
        CarriageRules {
            mode: Mode::Road,
            edition: "ADR 2025".to_owned(),
            entered_by: "Storekeeper".to_owned(),
            entered_at: DateTime::UNIX_EPOCH,
            points_milli: Some(1_000_000),
            rules: vec![
                three(1396, Some(PackingGroup::II)),
                rule(Some(1396), None, Some(PackingGroup::III)),
                three(1309, Some(PackingGroup::II)),
                rule(Some(1309), None, Some(PackingGroup::III)),
                rule(Some(1066), None, None),
                rule(Some(1202), None, None),
            ],
            apart: vec![],
        }
    }

    fn points(cargo: &[(Sheet, i64)]) -> (i64, bool) {
        let (rules, mut trip) = (road(), trip("TRUCK"));
        trip.payload_g = 100_000_000;
        trip.volume_ml = 1_000_000_000;
        let carrier = Carrier {
            trip: &trip,
            rules: Some(&rules),
        };
        let items: Vec<Item> = cargo
            .iter()
            .enumerate()
            .map(|(n, (sheet, _))| Item {
                sheet: sheet.clone(),
                ..item(&format!("I-{n}"), 1_000)
            })
            .collect();
        let load: Load = items
            .iter()
            .zip(cargo)
            .map(|(item, (_, units))| (item.code.clone(), *units))
            .collect();
        let taken = carrier.taken(&items, &load);
        let points = taken.get(POINTS).copied().unwrap_or(0);
        assert_eq!(points % 1000, 0);
        (points / 1000, carrier.carries(&items, &load))
    }

    /// 100 kg of UN 1396 II and 400 kg of UN 1309 III: 100 x 3 + 400 = 700. Twelve bottles of 50 l of
    /// nitrogen and 100 kg of UN 1396 II: 600 + 300 = 900; with 150 l of diesel beside them 1 050, which is
    /// over 1 000.
    #[test]
    fn points_of_a_road_load_are_those_of_adr_1_1_3_6() {
        let coated = entry(1309, "4.1", Some(PackingGroup::III), 1_000);
        let bare = entry(1396, "4.3", Some(PackingGroup::II), 1_000);
        let nitrogen = entry(1066, "2.2", None, 50_000);
        let diesel = entry(1202, "3", Some(PackingGroup::III), 1_000);
        assert_eq!(points(&[(bare.clone(), 100), (coated, 400)]), (700, true));
        let two = [(nitrogen, 12), (bare, 100)];
        assert_eq!(points(&two), (900, true));
        let three = [two.as_slice(), &[(diesel, 150)]].concat();
        assert_eq!(points(&three), (1_050, false));
    }

    /// Sea: the pairs of classes of the IMDG Code, table 7.2.4, as carriers print it: 2.2 and 3 'away from',
    /// 3 and 4.2 'separated from', 4.1 and 4.2 'away from', 4.2 and 4.3 'away from', 2.2 and 4.2 'away from',
    /// 3 and 4.3 'separated from'; 4.1 and 4.3, 2.2 and 4.1, 3 and 4.1 by the entry of the substance. On this
    /// boat nothing that is 'separated from' can be kept so far apart.
    #[test]
    fn what_the_sea_parts_is_not_loaded_together() {
        let pair = |one: &str, other: &str, what: &str, can_be_kept| Apart {
            one: one.to_owned(),
            other: other.to_owned(),
            what: what.to_owned(),
            can_be_kept,
        };
        let rules = CarriageRules {
            mode: Mode::Sea,
            points_milli: None,
            rules: ["2.2", "3", "4.1", "4.2", "4.3"]
                .map(|class| rule(None, Some(class), None))
                .to_vec(),
            apart: vec![
                pair("2.2", "3", "away from", true),
                pair("3", "4.2", "separated from", false),
                pair("4.1", "4.2", "away from", true),
                pair("4.2", "4.3", "away from", true),
                pair("2.2", "4.2", "away from", true),
                pair("3", "4.3", "separated from", false),
            ],
            ..road()
        };
        let trip = trip("BOAT");
        let carrier = Carrier {
            trip: &trip,
            rules: Some(&rules),
        };
        let of = |code: &str, sheet: Sheet| Item {
            sheet,
            ..item(code, 1_000)
        };
        let items = [
            of("DIESEL", entry(1202, "3", Some(PackingGroup::III), 1_000)),
            of(
                "ALUMINIUM",
                entry(1396, "4.3", Some(PackingGroup::III), 1_000),
            ),
            of(
                "TITANIUM",
                entry(2546, "4.2", Some(PackingGroup::III), 1_000),
            ),
            of("BRONZE", entry(3089, "4.1", Some(PackingGroup::III), 1_000)),
            of("NITROGEN", entry(1066, "2.2", None, 50_000)),
        ];
        let told = |pairs: Vec<(ItemCode, ItemCode)>| -> Vec<String> {
            let words = pairs.iter().map(|(one, other)| format!("{one}+{other}"));
            words.collect()
        };
        assert_eq!(
            told(carrier.apart(&items)),
            ["DIESEL+ALUMINIUM", "DIESEL+TITANIUM"]
        );
        let all: Load = items.iter().map(|item| (item.code.clone(), 1)).collect();
        assert_eq!(
            told(carrier.kept_apart(&items, &all)),
            [
                "DIESEL+NITROGEN",
                "ALUMINIUM+TITANIUM",
                "TITANIUM+BRONZE",
                "TITANIUM+NITROGEN"
            ]
        );
        assert!(!carrier.carries(&items, &all));
        let mut without = all;
        without.insert(items[0].code.clone(), 0);
        assert!(carrier.carries(&items, &without));
    }

    /// A can of 5 kg of group III goes where 25 kg are taken in a package, one of group II where 3 kg are
    /// does not; what has no rule of its own falls under its class, and what has neither is not taken.
    #[test]
    fn the_rule_that_says_most_of_an_entry_holds() {
        let mut rules = road();
        rules.rules = vec![
            CarriageRule {
                package: Some(25_000),
                ..rule(None, Some("4.1"), None)
            },
            CarriageRule {
                package: Some(3_000),
                ..rule(Some(1309), None, Some(PackingGroup::II))
            },
            CarriageRule {
                refused: true,
                note: "cargo aircraft only".to_owned(),
                ..rule(None, Some("4.2"), None)
            },
        ];
        let trip = trip("AIR");
        let carrier = Carrier {
            trip: &trip,
            rules: Some(&rules),
        };
        let bars = |sheet: Sheet| {
            carrier.bars(&Item {
                sheet,
                ..item("I-1", 5_000)
            })
        };
        assert_eq!(bars(entry(1309, "4.1", Some(PackingGroup::III), 5_000)), []);
        assert_eq!(
            bars(entry(1309, "4.1", Some(PackingGroup::II), 5_000)),
            [Barred::Package {
                counted: 5_000,
                most: 3_000
            }]
        );
        assert_eq!(
            bars(entry(2546, "4.2", Some(PackingGroup::III), 5_000)),
            [Barred::Refused {
                note: "cargo aircraft only".to_owned()
            }]
        );
        assert_eq!(bars(entry(1202, "3", None, 5_000)), [Barred::NotInRules]);
        assert_eq!(bars(Sheet::NotRead), [Barred::SheetNotRead]);
    }

    /// 30 kg gross where 25 can be lifted, 1 200 mm where 1 000 go in.
    #[test]
    fn a_piece_must_be_lifted_and_go_through_the_door() {
        let mut trip = trip("AIR");
        (trip.heaviest_g, trip.longest_mm) = (25_000, 1_000);
        let carrier = Carrier {
            trip: &trip,
            rules: None,
        };
        let heavy = Item {
            size_mm: [1_200, 100, 100],
            ..item("I-1", 30_000)
        };
        assert_eq!(
            carrier.bars(&heavy),
            [
                Barred::TooHeavy {
                    gross_g: 30_000,
                    most_g: 25_000
                },
                Barred::TooLong {
                    longest_mm: 1_200,
                    most_mm: 1_000
                },
            ]
        );
    }
}
