//! What the certificate of a lot says, and where that is outside what its powder asks for.
//!
//! The items go by the headings of ISO/ASTM 52907 (its scope: documentation and traceability, sampling, size
//! distribution, chemistry, flow, packaging); which of them a lot must have on record before it is released is
//! common practice, no source.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::chemistry::{Chemistry, Element};
use crate::word_enum;

/// From the least to the most that something may be; open where nobody set an end.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Within {
    /// The least.
    pub min: Option<i64>,
    /// The most.
    pub max: Option<i64>,
}

impl Within {
    /// Whether neither end is set.
    #[must_use]
    pub const fn is_open(&self) -> bool {
        self.min.is_none() && self.max.is_none()
    }

    /// Whether a figure is within; an end itself is.
    #[must_use]
    pub fn holds(&self, found: i64) -> bool {
        self.min.is_none_or(|min| found >= min) && self.max.is_none_or(|max| found <= max)
    }
}

word_enum! {
    /// A point of the size distribution by volume: so many hundredths of the powder are finer.
    Decile {
        /// A tenth is finer.
        D10 = "D10",
        /// Half is finer.
        D50 = "D50",
        /// Nine tenths are finer.
        D90 = "D90",
    }
}

/// What the certificate of a lot says; a later one takes the place of an earlier.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Certificate {
    /// Who made the powder.
    pub maker: String,
    /// The maker's number of the lot or heat.
    pub maker_lot: String,
    /// Its own number.
    pub number: String,
    /// Its date.
    pub dated: Option<NaiveDate>,
    /// The specification that it certifies.
    pub specification: String,
    /// The specification's revision; may be empty.
    pub revision: String,
    /// D10, D50 and D90, in nanometres.
    pub sizes: [Option<i64>; 3],
    /// Elements, in parts per million by mass.
    pub chemistry: Chemistry,
    /// What it says of the chemistry in words; may be empty.
    pub statement: String,
    /// Milliseconds that 50 g take through the funnel (Hall flow: ISO 4490, ASTM B213).
    pub flow_ms: Option<i64>,
    /// Water, in parts per million by mass.
    pub moisture_ppm: Option<i64>,
}

/// What a powder asks of the certificates of its lots.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Limits {
    /// D10, D50 and D90, in nanometres.
    pub sizes: [Within; 3],
    /// Elements, in parts per million by mass.
    pub elements: BTreeMap<Element, Within>,
    /// Milliseconds for 50 g.
    pub flow_ms: Within,
    /// Parts per million by mass.
    pub moisture_ppm: Within,
}

/// An item that must be on record before a lot is released, and is not.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Missing {
    /// Who made it.
    Maker,
    /// The maker's number.
    MakerLot,
    /// The certificate's number.
    Number,
    /// Its date.
    Date,
    /// What it certifies.
    Specification,
    /// A size.
    Size(Decile),
    /// Neither elements nor a statement.
    Chemistry,
    /// An element for which the powder has limits.
    Element(Element),
    /// The flow, for which the powder has limits.
    Flow,
    /// The moisture, for which the powder has limits.
    Moisture,
}

/// A figure, and the limits that it is outside of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Outside {
    /// What the certificate says.
    pub found: i64,
    /// What is asked for.
    pub within: Within,
}

/// Something of a certificate that is not as it should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Finding {
    /// It is of another lot of the maker's than the label says.
    OtherLot {
        /// As on the certificate.
        certificate: String,
        /// As on the label.
        label: String,
    },
    /// A size, in nanometres.
    Size(Decile, Outside),
    /// An element, in parts per million, outside what the powder asks for.
    Element(Element, Outside),
    /// An element outside what the certificate itself allows.
    OwnLimit(Element, Outside),
    /// Milliseconds for 50 g.
    Flow(Outside),
    /// Parts per million of water.
    Moisture(Outside),
}

impl Certificate {
    /// What must be on record before the lot is released and is not, in the order of the form.
    #[must_use]
    pub fn missing(&self, limits: &Limits) -> Vec<Missing> {
        let mut missing = Vec::new();
        let mut need = |there: bool, item: Missing| {
            if !there {
                missing.push(item);
            }
        };
        need(!self.maker.is_empty(), Missing::Maker);
        need(!self.maker_lot.is_empty(), Missing::MakerLot);
        need(!self.number.is_empty(), Missing::Number);
        need(self.dated.is_some(), Missing::Date);
        need(!self.specification.is_empty(), Missing::Specification);
        for (decile, size) in Decile::ALL.iter().zip(self.sizes) {
            need(size.is_some(), Missing::Size(*decile));
        }
        let told = self.chemistry.is_told() || !self.statement.is_empty();
        need(told, Missing::Chemistry);
        for (element, _) in self.limited(limits) {
            let found = self.chemistry.found(element);
            need(found.is_some() || !told, Missing::Element(*element));
        }
        let flow = self.flow_ms.is_some() || limits.flow_ms.is_open();
        need(flow, Missing::Flow);
        let moisture = self.moisture_ppm.is_some() || limits.moisture_ppm.is_open();
        need(moisture, Missing::Moisture);
        missing
    }

    /// Elements that the powder limits.
    fn limited<'a>(&self, limits: &'a Limits) -> impl Iterator<Item = (&'a Element, &'a Within)> {
        let all = limits.elements.iter();
        all.filter(|(_, within)| !within.is_open())
    }

    /// What is not as it should be: outside the powder's limits or the certificate's own, or of another lot
    /// than the label says, where that is told.
    #[must_use]
    pub fn findings(&self, limits: &Limits, label: &str) -> Vec<Finding> {
        let mut findings = Vec::new();
        let is_other = !label.is_empty() && !self.maker_lot.is_empty() && self.maker_lot != label;
        if is_other {
            findings.push(Finding::OtherLot {
                certificate: self.maker_lot.clone(),
                label: label.to_owned(),
            });
        }
        let sizes = self.sizes.into_iter().zip(limits.sizes);
        for (decile, (found, within)) in Decile::ALL.iter().zip(sizes) {
            findings.extend(outside(found, within).map(|it| Finding::Size(*decile, it)));
        }
        findings.extend(self.chemistry.outside(&limits.elements));
        findings.extend(outside(self.flow_ms, limits.flow_ms).map(Finding::Flow));
        let moisture = outside(self.moisture_ppm, limits.moisture_ppm);
        findings.extend(moisture.map(Finding::Moisture));
        findings
    }
}

impl Chemistry {
    /// Elements outside these limits, and outside those that the certificate itself gives, by element.
    #[must_use]
    pub fn outside(&self, limits: &BTreeMap<Element, Within>) -> Vec<Finding> {
        let stated = self.0.keys();
        let all: BTreeSet<&Element> = limits.keys().chain(stated).collect();
        let mut findings = Vec::new();
        for element in all {
            let found = self.found(element);
            let asked = limits.get(element).copied().unwrap_or_default();
            let own = self.0.get(element).map(|s| s.within).unwrap_or_default();
            findings.extend(outside(found, asked).map(|it| Finding::Element(*element, it)));
            findings.extend(outside(found, own).map(|it| Finding::OwnLimit(*element, it)));
        }
        findings
    }
}

fn outside(found: Option<i64>, within: Within) -> Option<Outside> {
    let found = found.filter(|found| !within.holds(*found))?;
    Some(Outside { found, within })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::powder::chemistry::Stated;
    use proptest::prelude::*;

    fn element(symbol: &str) -> Element {
        symbol.parse().expect("an element")
    }

    const fn to(max: i64) -> Within {
        Within {
            min: None,
            max: Some(max),
        }
    }

    const fn from_to(min: i64, max: i64) -> Within {
        Within {
            min: Some(min),
            max: Some(max),
        }
    }

    /// Aluminium bronze: 9 to 11 % aluminium, at most 4 % iron; D50 from 25 to 40 um, D90 at most 63 um; at
    /// most 0.05 % water; 50 g through the funnel in 25 s at most. Invented figures.
    fn bronze() -> Limits {
        Limits {
            sizes: [Within::default(), from_to(25_000, 40_000), to(63_000)],
            elements: BTreeMap::from([
                (element("Al"), from_to(90_000, 110_000)),
                (element("Fe"), to(40_000)),
            ]),
            flow_ms: to(25_000),
            moisture_ppm: to(500),
        }
    }

    fn good() -> Certificate {
        let found = |ppm| Stated {
            found: Some(ppm),
            ..Stated::default()
        };
        Certificate {
            maker: "Atomiser works".to_owned(),
            maker_lot: "CB-4440".to_owned(),
            number: "C-17".to_owned(),
            dated: NaiveDate::from_ymd_opt(2026, 10, 2),
            specification: "PS-12".to_owned(),
            revision: "B".to_owned(),
            sizes: [Some(18_000), Some(34_000), Some(58_000)],
            chemistry: Chemistry(BTreeMap::from([
                (element("Al"), found(98_000)),
                (element("Fe"), found(31_000)),
            ])),
            statement: String::new(),
            flow_ms: Some(21_500),
            moisture_ppm: Some(200),
        }
    }

    #[test]
    fn a_whole_certificate_lacks_nothing_and_finds_nothing() {
        assert_eq!(good().missing(&bronze()), []);
        assert_eq!(good().findings(&bronze(), "CB-4440"), []);
        assert_eq!(good().findings(&bronze(), ""), [], "no label to compare");
    }

    /// Whatever is taken out of it is named. Flow and moisture only where the powder limits them.
    #[test]
    fn what_is_missing_is_named() {
        let nothing = Certificate::default();
        assert_eq!(
            nothing.missing(&bronze()),
            [
                Missing::Maker,
                Missing::MakerLot,
                Missing::Number,
                Missing::Date,
                Missing::Specification,
                Missing::Size(Decile::D10),
                Missing::Size(Decile::D50),
                Missing::Size(Decile::D90),
                Missing::Chemistry,
                Missing::Flow,
                Missing::Moisture,
            ]
        );
        let freely = nothing.missing(&Limits::default());
        assert!(!freely.contains(&Missing::Flow) && !freely.contains(&Missing::Moisture));

        let words = Certificate {
            chemistry: Chemistry::default(),
            statement: "conforms to PS-12".to_owned(),
            ..good()
        };
        let elements = ["Al", "Fe"].map(|symbol| Missing::Element(element(symbol)));
        assert_eq!(words.missing(&bronze()), elements, "words hold no limits");
        assert_eq!(words.missing(&Limits::default()), []);
    }

    /// 11.3 % is above 11, D50 of 41 um above 40, 600 ppm above 500, 26 s above 25; each end itself is within.
    #[test]
    fn what_is_outside_is_found_with_its_limits() {
        let mut bad = good();
        let aluminium = bad.chemistry.0.get_mut(&element("Al")).expect("stated");
        aluminium.found = Some(113_000);
        aluminium.within = to(112_000);
        bad.sizes[1] = Some(41_000);
        bad.moisture_ppm = Some(600);
        bad.flow_ms = Some(26_000);
        let out = |found, within| Outside { found, within };
        assert_eq!(
            bad.findings(&bronze(), "CB-4441"),
            [
                Finding::OtherLot {
                    certificate: "CB-4440".to_owned(),
                    label: "CB-4441".to_owned()
                },
                Finding::Size(Decile::D50, out(41_000, from_to(25_000, 40_000))),
                Finding::Element(element("Al"), out(113_000, from_to(90_000, 110_000))),
                Finding::OwnLimit(element("Al"), out(113_000, to(112_000))),
                Finding::Flow(out(26_000, to(25_000))),
                Finding::Moisture(out(600, to(500))),
            ]
        );
        let mut edge = good();
        edge.sizes = [Some(1), Some(25_000), Some(63_000)];
        edge.moisture_ppm = Some(500);
        assert_eq!(edge.findings(&bronze(), ""), []);
    }

    proptest! {
        /// Wider limits never find more.
        #[test]
        fn wider_limits_find_no_more(
            found in 0_i64..1000,
            (min, max) in (0_i64..1000, 0_i64..1000),
            (down, up) in (0_i64..50, 0_i64..50),
        ) {
            let certificate = Certificate { moisture_ppm: Some(found), ..Certificate::default() };
            let at = |min, max| Limits { moisture_ppm: from_to(min, max), ..Limits::default() };
            let narrow = certificate.findings(&at(min, max), "");
            let wide = certificate.findings(&at(min - down, max + up), "");
            prop_assert!(wide.len() <= narrow.len());
        }
    }
}
