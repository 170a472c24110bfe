//! What was read of a shape, in words.

use mendpost_core::catalogue::Part;
use mendpost_core::lineup::recipes_of;
use mendpost_core::shape::{Figures, lies_in};
use mendpost_core::situation::Situation;

use crate::page::whole;
use crate::words::kilograms;
use crate::words::work::sentence;

/// Micrometres as '25.4 mm'.
pub fn millimetres(um: i64) -> String {
    format!("{} mm", tenths((um + 50).div_euclid(100)))
}

/// Sides in micrometres as '300 x 40 x 25.4 mm'.
fn sides(um: [i64; 3]) -> String {
    let [x, y, z] = um.map(|um| tenths((um + 50).div_euclid(100)));
    format!("{x} x {y} x {z} mm")
}

fn tenths(tenths: i64) -> String {
    match tenths.rem_euclid(10) {
        0 => whole(tenths.div_euclid(10)),
        rest => format!("{}.{rest}", whole(tenths.div_euclid(10))),
    }
}

/// Cubic millimetres as '12.3 cm³', square ones as '12.3 cm²'.
fn centimetres(value: i64, per_cm: i64, unit: &str) -> String {
    format!(
        "{} {unit}",
        tenths((value * 10 + per_cm / 2).div_euclid(per_cm))
    )
}

const AXES: [&str; 3] = ["x", "y", "z"];

/// What it measures.
pub fn measures(situation: &Situation, figures: &Figures) -> Vec<(&'static str, String)> {
    let volume = |mm3: Option<i64>| {
        mm3.map_or_else(
            || "none can be said: it is not closed".to_owned(),
            |mm3| centimetres(mm3, 1000, "cm³"),
        )
    };
    let booth = situation.cell.booth_mm;
    let cylinder = figures.cylinder(booth);
    let around = figures.around_um[cylinder.axis];
    let long = figures.size_um[cylinder.axis];
    vec![
        ("Box", format!("{}, as drawn", sides(figures.size_um))),
        ("In the booth", in_booth(figures, booth)),
        (
            "Cylinder",
            format!(
                "{} across, {} long, along {}",
                millimetres(around),
                millimetres(long),
                AXES[cylinder.axis]
            ),
        ),
        ("Volume", volume(figures.volume_mm3)),
        ("Surface", centimetres(figures.surface_mm2, 100, "cm²")),
        (
            "Allowance",
            format!(
                "{} more for {} all over",
                volume(figures.layer_mm3),
                millimetres(figures.allowance_um)
            ),
        ),
    ]
}

fn in_booth(figures: &Figures, booth_mm: [i64; 3]) -> String {
    match lies_in(figures.size_mm(), booth_mm) {
        Some([0, 1, 2]) => "fits as drawn".to_owned(),
        Some([1, 0, 2]) => "fits turned about the upright, y along its length".to_owned(),
        Some([long, wide, high]) => format!(
            "fits laid down: {} along its length, {} along its width, {} upright",
            AXES[long], AXES[wide], AXES[high]
        ),
        None => "does not fit, turned by right angles".to_owned(),
    }
}

/// What it weighs in each metal that is known: powder, and finished and as sprayed.
pub fn masses(situation: &Situation, figures: &Figures) -> Vec<(String, String)> {
    let powders = situation.powders.iter();
    let known = powders.filter_map(|powder| {
        let [finished, sprayed] = grams(figures, powder.solid?.density_kg_m3)?;
        let text = format!("{}, sprayed {}", kilograms(finished), kilograms(sprayed));
        Some((sentence(&powder.name), text))
    });
    known.collect()
}

#[expect(clippy::cast_precision_loss, reason = "densities are small")]
fn grams(figures: &Figures, density_kg_m3: i64) -> Option<[i64; 2]> {
    figures.grams(density_kg_m3 as f64).ok().flatten()
}

/// What is wrong with the mesh.
pub fn faults(figures: &Figures) -> Vec<String> {
    let mut faults = Vec::new();
    let mut told = |count: usize, one: &str, more: &str, follows: &str| {
        if count > 0 {
            let what = if count == 1 { one } else { more };
            faults.push(format!("{} {what}: {follows}", number(count)));
        }
    };
    told(
        figures.open,
        "edge is open",
        "edges are open",
        "the surface has a hole, so it has no volume and no mass. Close it where it was drawn.",
    );
    told(
        figures.turned,
        "edge has its faces turned against each other",
        "edges have their faces turned against each other",
        "some faces look inward, so it has no volume. Turn them where it was drawn.",
    );
    told(
        figures.crowded,
        "edge has more than two faces",
        "edges have more than two faces",
        "bodies touch there, or faces are double. Join them where it was drawn.",
    );
    if figures.crossings > 0 {
        faults.push(crossings(figures));
    } else if figures.more_crossings {
        faults.push(
            "It is too tangled to be looked over: faces may go through each other.".to_owned(),
        );
    }
    if figures.inside_out {
        faults.push("It was drawn inside out, and is turned.".to_owned());
    }
    faults
}

fn crossings(figures: &Figures) -> String {
    let at_least = if figures.more_crossings {
        "At least "
    } else {
        ""
    };
    let place = figures.crossing_um.unwrap_or_default().map(millimetres);
    let pairs = if figures.crossings == 1 {
        "pair of faces goes"
    } else {
        "pairs of faces go"
    };
    format!(
        "{at_least}{} {pairs} through each other, first near x {}, y {}, z {}: what bodies share counts \
         twice. Unite them where it was drawn.",
        number(figures.crossings),
        place[0],
        place[1],
        place[2]
    )
}

fn number(count: usize) -> String {
    i64::try_from(count).map(whole).unwrap_or_default()
}

/// How many parts in a hundred the catalogue may differ.
const DIFFERS_PERCENT: i64 = 5;

fn differs(one: i64, other: i64) -> bool {
    (one - other).abs() * 100 > other.abs() * DIFFERS_PERCENT
}

/// What the catalogue says otherwise.
pub fn disagreements(situation: &Situation, part: &Part, figures: &Figures) -> Vec<String> {
    let mut told = Vec::new();
    let (mut drawn, mut listed) = (figures.size_um, part.envelope_mm.map(|mm| mm * 1000));
    drawn.sort_unstable();
    listed.sort_unstable();
    // The catalogue has the part as sprayed; a site may list it finished.
    let apart = |(drawn, listed): (i64, i64)| {
        let sprayed = drawn + 2 * figures.allowance_um;
        (listed < drawn && differs(listed, drawn)) || (listed > sprayed && differs(listed, sprayed))
    };
    if drawn.into_iter().zip(listed).any(apart) {
        told.push(format!(
            "The catalogue says {}, and the shape measures {}. Check the unit; else put the catalogue \
             right.",
            crate::words::size(part.envelope_mm),
            sides(figures.size_um)
        ));
    }
    told.extend(mass_differs(situation, part, figures));
    told
}

/// Against the metals of its recipes; of several, it may weigh anything between the lightest and the
/// heaviest.
fn mass_differs(situation: &Situation, part: &Part, figures: &Figures) -> Option<String> {
    let recipes = recipes_of(situation, part);
    let sprays = recipes.iter().flat_map(|recipe| recipe.sprays());
    let metals = sprays.map(|spray| {
        let powder = situation.powders.iter().find(|p| p.code == spray.powder);
        let [finished, _] = grams(figures, powder?.solid?.density_kg_m3)?;
        Some(finished)
    });
    let masses: Vec<i64> = metals.collect::<Option<_>>()?;
    let (least, most) = (*masses.iter().min()?, *masses.iter().max()?);
    let apart = (part.mass_g < least && differs(part.mass_g, least))
        || (part.mass_g > most && differs(part.mass_g, most));
    let weighs = if least == most {
        kilograms(least)
    } else {
        format!("{} to {}", kilograms(least), kilograms(most))
    };
    apart.then(|| {
        format!(
            "The catalogue says {}, and the shape weighs {weighs} in the metal of its recipes. A hollow \
             casting, or a core that is not sprayed, may be why; else put the catalogue right.",
            kilograms(part.mass_g)
        )
    })
}
