//! Words of load lists.

use mendpost_core::resupply::list::{ListLine, LoadList, Total};
use mendpost_core::resupply::{Barred, CarriageRule, CarriageRules, MASS, POINTS, VOLUME};

use crate::form::plain_decimal;
use crate::page::whole;
use crate::resupply::item::words::{counted_in, kg, mass};

/// Stands on every list.
pub const NO_DECLARATION: &str = "What has a UN number needs a dangerous-goods declaration by a trained shipper: \
     this list is none.";

/// Why an item does not go.
pub fn barred(bar: &Barred) -> String {
    match bar {
        Barred::SheetNotRead => {
            "nobody has read its safety sheet; read it, and say what it says".to_owned()
        }
        Barred::TooHeavy { gross_g, most_g } => {
            format!(
                "one weighs {}; {} is the heaviest that this trip takes",
                mass(*gross_g),
                mass(*most_g)
            )
        }
        Barred::TooLong {
            longest_mm,
            most_mm,
        } => format!(
            "one is {} mm long; {} mm is the longest that this trip takes",
            whole(*longest_mm),
            whole(*most_mm)
        ),
        Barred::NoDangerousGoods => "it is a dangerous good, and this trip takes none".to_owned(),
        Barred::NoRules => {
            "it is a dangerous good, and nobody wrote down the rules of this way of travel"
                .to_owned()
        }
        Barred::NotInRules => {
            "it is a dangerous good of which the rules written down here say nothing".to_owned()
        }
        Barred::Refused { note } => {
            format!("by the rules written down here it is not taken: {note}")
        }
        Barred::Package { counted, most } => format!(
            "one holds {}, and {} is the most in a package",
            plain_decimal(*counted, 3),
            plain_decimal(*most, 3)
        ),
        Barred::DepotHasNone => "the depot has none".to_owned(),
    }
}

/// A limit of a trip, in words, and its unit, of which its figure is thousandths.
pub fn limit(id: &str, rules: Option<&CarriageRules>) -> (String, String) {
    match id {
        MASS => return ("mass, gross".to_owned(), "kg".to_owned()),
        VOLUME => return ("room".to_owned(), "l".to_owned()),
        POINTS => {
            return (
                "points by the rules of carriage".to_owned(),
                "points".to_owned(),
            );
        }
        _ => {}
    }
    let place = id
        .rsplit('/')
        .next()
        .and_then(|it| it.parse::<usize>().ok());
    let rule = place.and_then(|place| rules?.rules.get(place.checked_sub(1)?));
    match rule {
        Some(rule) => (
            format!("{} in one load", of_rule(rule)),
            rule.class
                .as_deref()
                .map_or("kg or l", counted_in)
                .to_owned(),
        ),
        None => (id.to_owned(), "kg or l".to_owned()),
    }
}

fn of_rule(rule: &CarriageRule) -> String {
    let mut words = Vec::new();
    words.extend(rule.un.map(|un| format!("UN {un:04}")));
    words.extend(rule.class.as_ref().map(|class| format!("class {class}")));
    words.extend(rule.group.map(|group| format!("packing group {group}")));
    match words.is_empty() {
        true => "dangerous goods".to_owned(),
        false => words.join(", "),
    }
}

/// '28.3 of 100 kg', of a mass in pounds besides.
pub fn total(total: &Total) -> String {
    if total.id == MASS {
        return format!("{} of {}", mass(total.taken), mass(total.allowed));
    }
    let plain = |value| plain_decimal(value, 3);
    format!(
        "{} of {} {}",
        plain(total.taken),
        plain(total.allowed),
        total.unit
    )
}

/// '200 x 200 x 250 mm'.
pub fn size(line: &ListLine) -> String {
    let [x, y, z] = line.size_mm;
    format!("{} × {} × {} mm", whole(x), whole(y), whole(z))
}

/// All of a line: '22 kg (48.5 lb)'.
pub fn of_line(line: &ListLine, grams: i64) -> String {
    mass(line.units * grams)
}

/// '1 must go', '2', ...
pub fn priority(priority: i64) -> String {
    match priority {
        1 => "1, must go".to_owned(),
        other => other.to_string(),
    }
}

/// Pairs that must be kept apart, as the newest addition has them.
pub fn apart(list: &LoadList) -> Vec<String> {
    let newest = list.additions.last();
    let pairs = newest.map_or(&[][..], |it| &it.apart);
    pairs
        .iter()
        .map(|(one, other)| format!("{one} and {other}"))
        .collect()
}

/// '25.3 kg', for a sheet.
pub fn plain_kg(grams: i64) -> String {
    plain_decimal(grams, 3)
}

/// '25.3 kg net, 28.3 kg gross'.
pub fn both(list: &LoadList) -> String {
    let (net, gross) = list.mass_g();
    format!("{} kg net, {} gross", kg(net), mass(gross))
}
