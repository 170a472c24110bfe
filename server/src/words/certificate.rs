//! Words for what a certificate says, lacks, and has outside its limits.

use mendpost_core::powder::certificate::{
    Certificate, Decile, Finding, Limits, Missing, Outside, Within,
};
use mendpost_core::powder::{DateKind, Seal};

use crate::form::plain_decimal;

/// What is missing, as in 'the certificate's date'.
pub fn missing(item: &Missing) -> String {
    match item {
        Missing::Maker => "who made it".to_owned(),
        Missing::MakerLot => "the maker’s lot number".to_owned(),
        Missing::Number => "the certificate’s number".to_owned(),
        Missing::Date => "the certificate’s date".to_owned(),
        Missing::Specification => "the specification".to_owned(),
        Missing::Size(decile) => format!("{decile}"),
        Missing::Chemistry => "the chemistry".to_owned(),
        Missing::Element(element) => format!("how much {element}"),
        Missing::Flow => "the flow".to_owned(),
        Missing::Moisture => "the moisture".to_owned(),
    }
}

/// A figure with its unit: how many decimals it is kept with, and what stands behind it.
#[derive(Clone, Copy)]
struct Unit(usize, &'static str);

const SIZE: Unit = Unit(3, "µm");
const SHARE: Unit = Unit(4, "%");
const FLOW: Unit = Unit(3, "s");

impl Unit {
    fn say(self, value: i64) -> String {
        format!("{} {}", plain_decimal(value, self.0), self.1)
    }

    fn within(self, within: Within) -> String {
        match (within.min, within.max) {
            (Some(min), Some(max)) => {
                format!("{} to {}", plain_decimal(min, self.0), self.say(max))
            }
            (Some(min), None) => format!("{} or more", self.say(min)),
            (None, Some(max)) => format!("{} or less", self.say(max)),
            (None, None) => "anything".to_owned(),
        }
    }

    fn outside(self, what: &str, outside: Outside, who: &str) -> String {
        let found = self.say(outside.found);
        format!("{what} is {found}; {who} {}", self.within(outside.within))
    }
}

/// What is not as it should be, in one line with what is asked for.
pub fn finding(finding: &Finding) -> String {
    const ASKED: &str = "the powder asks for";
    match finding {
        Finding::OtherLot { certificate, label } => {
            format!("the certificate is of the maker’s lot {certificate}; the label says {label}")
        }
        Finding::Size(decile, outside) => SIZE.outside(decile.as_str(), *outside, ASKED),
        Finding::Element(element, outside) => SHARE.outside(element.as_str(), *outside, ASKED),
        Finding::OwnLimit(element, outside) => {
            SHARE.outside(element.as_str(), *outside, "its certificate allows")
        }
        Finding::Flow(outside) => FLOW.outside("flow", *outside, ASKED),
        Finding::Moisture(outside) => SHARE.outside("moisture", *outside, ASKED),
    }
}

/// A line of a certificate: what, what it says, and what is asked for.
pub type Line = (String, String, String);

/// What a certificate says, item by item, beside what the powder asks for.
pub fn lines(certificate: &Certificate, limits: &Limits) -> Vec<Line> {
    let told = |text: &str| match text {
        "" => "not told".to_owned(),
        text => text.to_owned(),
    };
    let line = |what: &str, says: String| (what.to_owned(), says, String::new());
    let number = match certificate.dated {
        Some(day) => format!("{}, {day}", told(&certificate.number)),
        None => told(&certificate.number),
    };
    let specification = match certificate.revision.as_str() {
        "" => told(&certificate.specification),
        revision => format!("{}, revision {revision}", told(&certificate.specification)),
    };
    let mut lines = vec![
        line("Maker", told(&certificate.maker)),
        line("Maker’s lot", told(&certificate.maker_lot)),
        line("Certificate", number),
        line("Specification", specification),
    ];
    let figure = |unit: Unit, value: Option<i64>| value.map_or_else(|| told(""), |it| unit.say(it));
    let asked = |unit: Unit, within: Within| match within.is_open() {
        true => String::new(),
        false => unit.within(within),
    };
    let sizes = certificate.sizes.into_iter().zip(limits.sizes);
    for (decile, (size, within)) in Decile::ALL.iter().zip(sizes) {
        lines.push((decile.to_string(), figure(SIZE, size), asked(SIZE, within)));
    }
    let (flow, moisture) = (limits.flow_ms, limits.moisture_ppm);
    let flow_says = match certificate.flow_ms {
        Some(ms) => format!("{} for 50 g", FLOW.say(ms)),
        None => told(""),
    };
    lines.push(("Flow".to_owned(), flow_says, asked(FLOW, flow)));
    let moisture_says = figure(SHARE, certificate.moisture_ppm);
    lines.push(("Moisture".to_owned(), moisture_says, asked(SHARE, moisture)));
    let limited = limits.elements.keys();
    let stated = certificate.chemistry.0.keys();
    let elements: std::collections::BTreeSet<_> = limited.chain(stated).collect();
    for element in elements {
        let own = certificate.chemistry.0.get(element).map(|it| it.within);
        let found = figure(SHARE, certificate.chemistry.found(element));
        let says = match own.filter(|own| !own.is_open()) {
            Some(own) => format!("{found}; allows {}", SHARE.within(own)),
            None => found,
        };
        let within = limits.elements.get(element).copied().unwrap_or_default();
        lines.push((element.to_string(), says, asked(SHARE, within)));
    }
    if !certificate.statement.is_empty() {
        lines.push(line("Chemistry", certificate.statement.clone()));
    }
    lines
}

/// What a powder asks for, item by item; nothing that it leaves open.
pub fn limits(limits: &Limits) -> Vec<(String, String)> {
    let mut lines = Vec::new();
    let mut put = |what: String, unit: Unit, within: Within| {
        if !within.is_open() {
            lines.push((what, unit.within(within)));
        }
    };
    for (decile, within) in Decile::ALL.iter().zip(limits.sizes) {
        put(decile.to_string(), SIZE, within);
    }
    put("Flow, 50 g".to_owned(), FLOW, limits.flow_ms);
    put("Moisture".to_owned(), SHARE, limits.moisture_ppm);
    for (element, within) in &limits.elements {
        put(element.to_string(), SHARE, *within);
    }
    lines
}

/// How a seal was found.
pub const fn seal(state: Option<Seal>) -> &'static str {
    match state {
        Some(Seal::Whole) => "whole",
        Some(Seal::Broken) => "broken",
        Some(Seal::None) => "came without",
        None => "nobody said",
    }
}

/// What the date of a lot is.
pub const fn date_kind(kind: DateKind) -> &'static str {
    match kind {
        DateKind::UseBy => "Use by",
        DateKind::Retest => "Retest by",
    }
}
