//! Which elements a powder holds, in parts per million by mass: as its certificate says, or as a blend works out.

use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::certificate::Within;
use crate::quantity::Milligrams;

/// A chemical element, by its symbol.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Element(&'static str);

/// The symbols of IUPAC.
const SYMBOLS: &str = "H He Li Be B C N O F Ne Na Mg Al Si P S Cl Ar K Ca Sc Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As Se \
    Br Kr Rb Sr Y Zr Nb Mo Tc Ru Rh Pd Ag Cd In Sn Sb Te I Xe Cs Ba La Ce Pr Nd Pm Sm Eu Gd Tb Dy Ho Er Tm Yb Lu \
    Hf Ta W Re Os Ir Pt Au Hg Tl Pb Bi Po At Rn Fr Ra Ac Th Pa U Np Pu Am Cm Bk Cf Es Fm Md No Lr Rf Db Sg Bh Hs \
    Mt Ds Rg Cn Nh Fl Mc Lv Ts Og";

/// All of a powder, in parts per million.
pub const WHOLE_PPM: i64 = 1_000_000;

/// A text that is no symbol of an element.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("'{given}' is no element; write its symbol, as Al or Fe")]
pub struct NoElement {
    /// What was given.
    pub given: String,
}

impl Element {
    /// Its symbol.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        self.0
    }
}

impl fmt::Display for Element {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.0)
    }
}

impl FromStr for Element {
    type Err = NoElement;

    /// Capitals do not matter: 'AL' is aluminium.
    fn from_str(text: &str) -> Result<Self, NoElement> {
        let given = text.trim();
        let mut symbols = SYMBOLS.split_whitespace();
        let found = symbols.find(|symbol| symbol.eq_ignore_ascii_case(given));
        found.map(Element).ok_or_else(|| NoElement {
            given: given.to_owned(),
        })
    }
}

impl TryFrom<String> for Element {
    type Error = NoElement;

    fn try_from(text: String) -> Result<Self, NoElement> {
        text.parse()
    }
}

impl From<Element> for String {
    fn from(element: Element) -> String {
        element.0.to_owned()
    }
}

/// What a certificate says of one element.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Stated {
    /// What it allows.
    pub within: Within,
    /// What was found; none where only limits are given.
    pub found: Option<i64>,
}

/// Elements with what is said of each, in parts per million.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Chemistry(pub BTreeMap<Element, Stated>);

impl Chemistry {
    /// What was found of an element.
    #[must_use]
    pub fn found(&self, element: &Element) -> Option<i64> {
        self.0.get(element).and_then(|stated| stated.found)
    }

    /// Whether anything was found.
    #[must_use]
    pub fn is_told(&self) -> bool {
        self.0.values().any(|stated| stated.found.is_some())
    }

    /// What a blend holds of each element that is told of all its parents, by mass, rounded to the part per
    /// million.
    #[must_use]
    pub fn of_blend(parents: &[(Milligrams, &Chemistry)]) -> Chemistry {
        let all: i128 = parents.iter().map(|(mass, _)| i128::from(mass.0)).sum();
        let Some((_, first)) = parents.first().filter(|_| all > 0) else {
            return Chemistry::default();
        };
        let mean = |element: &Element| {
            let shares = parents.iter().map(|(mass, chemistry)| {
                Some(i128::from(mass.0) * i128::from(chemistry.found(element)?))
            });
            let sum: i128 = shares.sum::<Option<i128>>()?;
            i64::try_from((sum + all / 2) / all).ok()
        };
        let each = first.0.keys().filter_map(|element| {
            let found = Some(mean(element)?);
            let within = Within::default();
            Some((*element, Stated { within, found }))
        });
        Chemistry(each.collect())
    }
}

/// Why a text says nothing of a chemistry.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum NoChemistry {
    /// Not an element.
    #[error(transparent)]
    Element(#[from] NoElement),
    /// Not its figures.
    #[error(
        "'{given}' cannot be read; write it as 'Al 9.8' or 'Al 9.8 (9..11)', in per cent by mass"
    )]
    Figures {
        /// What was given.
        given: String,
    },
    /// Listed before.
    #[error("{0} is given twice; give it once")]
    Twice(Element),
}

/// As one line, in per cent by mass: 'Al 9.8 (9..11); Fe 3.1 (..4)', decimals after a point.
impl fmt::Display for Chemistry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let per_cent = |ppm: Option<i64>| ppm.map(per_cent).unwrap_or_default();
        for (at, (element, stated)) in self.0.iter().enumerate() {
            let gap = if at == 0 { "" } else { "; " };
            write!(f, "{gap}{element}")?;
            if let Some(found) = stated.found {
                write!(f, " {}", per_cent(Some(found)))?;
            }
            let Within { min, max } = stated.within;
            if !stated.within.is_open() {
                write!(f, " ({}..{})", per_cent(min), per_cent(max))?;
            }
        }
        Ok(())
    }
}

/// Parts per million as per cent, without zeros that say nothing.
#[must_use]
pub fn per_cent(ppm: i64) -> String {
    let (head, tail) = (ppm / 10_000, ppm % 10_000);
    let tail = format!("{tail:04}");
    match tail.trim_end_matches('0') {
        "" => head.to_string(),
        tail => format!("{head}.{tail}"),
    }
}

/// Per cent of at most four decimals, as parts per million.
fn ppm(text: &str) -> Option<i64> {
    let (head, tail) = text.split_once('.').unwrap_or((text, ""));
    let is_figures = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    if (head.is_empty() && tail.is_empty())
        || tail.len() > 4
        || !is_figures(head)
        || !is_figures(tail)
    {
        return None;
    }
    let ppm: i64 = format!("{head}{tail:0<4}").parse().ok()?;
    (ppm <= WHOLE_PPM).then_some(ppm)
}

fn stated(text: &str) -> Option<Stated> {
    let (found, limits) = match text.split_once('(') {
        Some((found, limits)) => (found.trim(), Some(limits.trim().strip_suffix(')')?)),
        None => (text.trim(), None),
    };
    let figure = |text: &str| match text.trim() {
        "" => Some(None),
        text => Some(Some(ppm(text)?)),
    };
    let within = match limits {
        Some(limits) => {
            let (min, max) = limits.split_once("..")?;
            let (min, max) = (figure(min)?, figure(max)?);
            Within { min, max }
        }
        None => Within::default(),
    };
    let found = figure(found)?;
    let is_ordered = match (within.min, within.max) {
        (Some(min), Some(max)) => min <= max,
        _ => true,
    };
    let says_something = found.is_some() || !within.is_open();
    (is_ordered && says_something).then_some(Stated { within, found })
}

impl FromStr for Chemistry {
    type Err = NoChemistry;

    fn from_str(text: &str) -> Result<Self, NoChemistry> {
        let mut all = BTreeMap::new();
        for item in text
            .split(';')
            .map(str::trim)
            .filter(|item| !item.is_empty())
        {
            let end = item.find(|letter: char| !letter.is_ascii_alphabetic());
            let (symbol, rest) = item.split_at(end.unwrap_or(item.len()));
            let element: Element = symbol.parse()?;
            let stated = stated(rest).ok_or_else(|| NoChemistry::Figures {
                given: item.to_owned(),
            })?;
            if all.insert(element, stated).is_some() {
                return Err(NoChemistry::Twice(element));
            }
        }
        Ok(Chemistry(all))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_chemistry_is_read_as_it_is_written() {
        let text = "Al 9.8 (9..11); Cu (..90); Fe 3.1 (..4); Ni 0.0005";
        let read: Chemistry = text.parse().expect("a chemistry");
        assert_eq!(read.to_string(), text);
        let aluminium = "AL".parse::<Element>().expect("capitals do not matter");
        assert_eq!(read.found(&aluminium), Some(98_000));
        assert_eq!("".parse(), Ok(Chemistry::default()));
    }

    #[test]
    fn what_cannot_be_read_is_told_as_given() {
        let told = |text: &str| text.parse::<Chemistry>().map_err(|fault| fault.to_string());
        for (text, says) in [
            ("Xx 1", "'Xx' is no element"),
            ("Al", "'Al' cannot be read"),
            ("Al 9,8", "'Al 9,8' cannot be read"),
            ("Al 100.1", "'Al 100.1' cannot be read"),
            ("Al 9.8 (11..9)", "cannot be read"),
            ("Al 9.8 (9-11)", "cannot be read"),
            ("Al 9; al 8", "Al is given twice"),
        ] {
            let fault = told(text).expect_err(text);
            assert!(fault.contains(says), "{text}: {fault}");
        }
    }

    /// 3 kg with 10 % and 1 kg with 6 % aluminium: (3 x 10 + 1 x 6) / 4 = 9 %. Iron is told of one alone, so
    /// that nothing is said of it.
    #[test]
    fn a_blend_holds_of_each_element_what_its_parents_bring() {
        let chemistry = |text: &str| text.parse::<Chemistry>().expect("a chemistry");
        let (rich, poor) = (chemistry("Al 10; Fe 3"), chemistry("Al 6"));
        let kg = |kg: i64| Milligrams(kg * 1_000_000);
        let blend = Chemistry::of_blend(&[(kg(3), &rich), (kg(1), &poor)]);
        assert_eq!(blend.to_string(), "Al 9");
        assert_eq!(Chemistry::of_blend(&[]), Chemistry::default());
    }

    proptest! {
        #[test]
        fn any_chemistry_is_read_as_it_is_written(
            figures in prop::collection::btree_map(0_usize..118, (0..=WHOLE_PPM, 0..=WHOLE_PPM, any::<[bool; 3]>()), 0..8),
        ) {
            let all = figures.into_iter().map(|(at, (a, b, [min, max, found]))| {
                let element = Element(SYMBOLS.split_whitespace().nth(at).expect("118 of them"));
                let within = Within { min: min.then_some(a.min(b)), max: max.then_some(a.max(b)) };
                let found = (found || within.is_open()).then_some(a);
                (element, Stated { within, found })
            });
            let chemistry = Chemistry(all.collect());
            prop_assert_eq!(chemistry.to_string().parse(), Ok(chemistry));
        }
    }
}
