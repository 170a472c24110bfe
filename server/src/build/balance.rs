//! What became of a build's powder, drawn as layers; and what nobody found, beside its two lines.

use mendpost_core::powder::MassBalance;

use crate::drawing::{Canvas, Drawing, px, whole_px};
use crate::page::grams_exact;
use crate::powder::columns::{Fill, Layer, fill};

const WIDE: i64 = 560;
const TALL: f64 = 220.0;
const THINNEST: f64 = 12.0;
const GAP: f64 = 3.0;
const LABEL: f64 = 26.0;

/// The layers from the foot: the part, its coupons, what came back, what was swept up, and what nobody found.
pub fn draw(balance: &MassBalance, swept: bool) -> Drawing {
    let unexplained = balance.unexplained().0;
    let last = match (swept, unexplained < 0) {
        (false, _) => "not weighed yet, or lost",
        (true, false) => "unexplained",
        (true, true) => "found too much",
    };
    let layers = [
        ("part", balance.part.0, Fill::Committed),
        ("coupons", balance.coupon.0, Fill::Committed),
        ("left in the feeder", balance.returned.0, Fill::Quarantine),
        ("swept up", balance.swept.0, Fill::Quarantine),
        (last, unexplained.abs(), Fill::Hold),
    ];
    let all: i64 = layers.iter().map(|it| it.1).sum();
    let scale = TALL / px(all.max(1));
    let mut canvas = Canvas::default();
    let thick = |mass: i64| {
        if mass == 0 {
            0.0
        } else {
            (px(mass) * scale).max(THINNEST)
        }
    };
    // Each label beside its layer, and none on another: they are pushed up where layers are thin.
    let (mut foot, mut label, mut spots) = (0.0, 0.0, Vec::new());
    for (word, mass, look) in layers.iter().filter(|it| it.1 > 0) {
        let high = thick(*mass);
        let bottom = f64::max(label, foot + high / 2.0 - LABEL / 2.0);
        spots.push((*word, *mass, *look, foot, high, bottom));
        foot += high + GAP;
        label = bottom + LABEL;
    }
    let base = f64::max(foot, label).ceil() + 6.0;
    for (n, (word, mass, look, foot, high, bottom)) in (0_i64..).zip(&spots) {
        let inset = px(n % 2) * 3.0;
        let layer = Layer {
            number: String::new(),
            grams: mass / 1000,
            committed_g: if *look == Fill::Committed {
                mass / 1000
            } else {
                0
            },
            fill: *look,
            expires: false,
            facts: Vec::new(),
            next: false,
        };
        fill(
            &mut canvas,
            &layer,
            [inset, base - 2.0 - foot - high, 120.0 - 2.0 * inset, *high],
        );
        let text = base - bottom - 8.0;
        canvas.text("strong body", 140.0, text, grams_exact(*mass));
        canvas.text("body", 260.0, text, (*word).to_owned());
    }
    canvas.path("lot-base", format!("M0 {base}H{WIDE}"));
    canvas.text(
        "body",
        0.0,
        base + 24.0,
        format!("{} drawn", grams_exact(balance.drawn.0)),
    );
    Drawing {
        id: "balance".to_owned(),
        width: WIDE,
        height: whole_px(base + 32.0),
        title: "What became of the powder; the table beside it has the same figures".to_owned(),
        marks: canvas.marks,
    }
}
