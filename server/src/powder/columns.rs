//! Lots as layers: one column for each powder on one base line and one scale, so that heights
//! compare. The lot to be opened next lies at the bottom.

use crate::drawing::{Canvas, Drawing, px};
use crate::page::whole;

/// One powder.
pub struct Column {
    pub name: String,
    /// Under the name, the first line larger.
    pub below: Vec<String>,
    /// From the bottom.
    pub layers: Vec<Layer>,
}

/// One lot.
pub struct Layer {
    pub number: String,
    pub grams: i64,
    pub committed_g: i64,
    pub fill: Fill,
    /// Its date comes up within the line-up.
    pub expires: bool,
    /// The first one is bold in the lot that is opened next.
    pub facts: Vec<String>,
    pub next: bool,
}

/// How a layer is filled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fill {
    /// Level lines up to what is committed.
    Committed,
    Hold,
    Quarantine,
    Rejected,
}

/// The drawing, so many pixels wide, the fullest column `tall` pixels high.
pub fn draw(columns: &[Column], wide: i64, tall: f64) -> Drawing {
    let count = i64::try_from(columns.len()).unwrap_or(1).max(1);
    let most = (wide / LEAST_PITCH).clamp(1, count);
    let rows = (count + most - 1) / most;
    let per_row = (count + rows - 1) / rows;
    let pitch = px(wide) / px(per_row);
    let fullest = columns.iter().map(Column::grams).max().unwrap_or(0).max(1);
    let scale = tall / px(fullest);
    let mut canvas = Canvas::default();
    let mut top = 0.0;
    for row in columns.chunks(usize::try_from(per_row).unwrap_or(1)) {
        let stacks: Vec<Stack<'_>> = row.iter().map(|c| Stack::of(c, scale)).collect();
        let high = stacks.iter().map(|s| s.high).fold(0.0, f64::max);
        let base = top + high.ceil() + 8.0;
        for (place, stack) in (0_i64..).zip(&stacks) {
            stack.draw(&mut canvas, (px(place) * pitch).round(), base);
        }
        canvas.path("lot-base", format!("M0 {base}H{wide}"));
        top = base + foot(row);
    }
    Drawing {
        id: format!("lots-{wide}"),
        width: wide,
        height: crate::drawing::whole_px(top - 4.0),
        title: "Lots of each powder, grams on hand; the tables below have the same figures"
            .to_owned(),
        marks: canvas.marks,
    }
}

/// From a base line to the next row: names, and two lines or more below them.
fn foot(row: &[Column]) -> f64 {
    let lines = row.iter().map(|column| column.below.len()).max();
    let lines = lines.unwrap_or(0).max(2);
    40.0 + 20.0 * px(i64::try_from(lines).unwrap_or(2))
}

/// A powder gets at least so many pixels.
const LEAST_PITCH: i64 = 220;
/// Where labels begin, from the left edge of the layers.
pub const LABEL_LEFT: f64 = 100.0;
const THINNEST: f64 = 12.0;
const GAP: f64 = 3.0;
const WIDTHS: [f64; 8] = [84.0, 80.0, 82.0, 78.0, 81.0, 77.0, 79.0, 76.0];

impl Column {
    fn grams(&self) -> i64 {
        self.layers.iter().map(|l| l.grams).sum()
    }
}

impl Layer {
    fn label_high(&self) -> f64 {
        let more = i64::try_from(self.facts.len()).unwrap_or(1) - 1;
        44.0 + 20.0 * px(more.max(0))
    }
}

/// A column laid out: for each layer its foot, thickness, and the bottom of its label, as heights
/// above the base line.
struct Stack<'a> {
    column: &'a Column,
    spots: Vec<[f64; 3]>,
    high: f64,
}

impl<'a> Stack<'a> {
    fn of(column: &'a Column, scale: f64) -> Self {
        let (mut foot, mut label, mut spots) = (0.0, 4.0, Vec::new());
        for layer in &column.layers {
            let thick = (px(layer.grams) * scale).round().max(THINNEST);
            let high = layer.label_high();
            let bottom = f64::max(label, foot + thick / 2.0 - high / 2.0);
            spots.push([foot, thick, bottom]);
            foot += thick + GAP;
            label = bottom + high;
        }
        let high = f64::max(foot, label);
        Stack {
            column,
            spots,
            high,
        }
    }

    fn draw(&self, canvas: &mut Canvas, x: f64, base: f64) {
        let layers = self.column.layers.iter().zip(WIDTHS.into_iter().cycle());
        for ((layer, wide), [foot, thick, label]) in layers.zip(&self.spots) {
            let frame = [x, base - 2.0 - foot - thick, wide, *thick];
            fill(canvas, layer, frame);
            if layer.expires {
                canvas.path("ink", saw(frame));
            }
            let top = base - label - layer.label_high();
            write(canvas, layer, x + LABEL_LEFT, top);
        }
        canvas.text("strong body", x, base + 25.0, self.column.name.clone());
        for (line, text) in (0_i64..).zip(&self.column.below) {
            let class = if line == 0 { "body" } else { "" };
            canvas.text(class, x, base + 49.0 + 20.0 * px(line), text.clone());
        }
    }
}

fn write(canvas: &mut Canvas, layer: &Layer, x: f64, top: f64) {
    canvas.text("strong body", x, top + 18.0, layer.number.clone());
    let after = crate::drawing::width(&layer.number, 18.0, true).max(58.0) + 6.0;
    canvas.text("body", x + after, top + 18.0, whole(layer.grams));
    for (line, fact) in (0_i64..).zip(&layer.facts) {
        let class = if layer.next && line == 0 {
            "strong"
        } else {
            ""
        };
        canvas.text(class, x, top + 38.0 + 20.0 * px(line), fact.clone());
    }
}

/// Draws a layer in its box, by how it is filled.
pub fn fill(canvas: &mut Canvas, layer: &Layer, [x, y, w, h]: [f64; 4]) {
    match layer.fill {
        Fill::Hold => canvas.path("hatch", rising([x + 2.0, y + 2.0, w - 4.0, h - 4.0])),
        Fill::Quarantine => canvas.path("specks", dots([x, y, w, h])),
        Fill::Rejected => canvas.path(
            "cross",
            format!("M{x} {y}L{} {}M{} {y}L{x} {}", x + w, y + h, x + w, y + h),
        ),
        Fill::Committed if layer.committed_g > 0 => {
            let share = px(layer.committed_g) / px(layer.grams.max(1));
            canvas.path("hatch", level_lines([x, y, w, h], share.min(1.0)));
        }
        Fill::Committed => {}
    }
    canvas.rect("lot", [x + 1.5, y + 1.5, w - 3.0, h - 3.0]);
}

/// Level lines 5 apart from the foot, as high as the share that is committed.
fn level_lines([x, y, w, h]: [f64; 4], share: f64) -> String {
    let lines = (h * share / 5.0).round().max(1.0);
    let (mut d, mut n) = (String::new(), 0.0);
    while n < lines && 5.75 + 5.0 * n < h - 3.0 {
        d.push_str(&format!(
            "M{} {}h{}",
            x + 3.0,
            y + h - 5.75 - 5.0 * n,
            w - 6.0
        ));
        n += 1.0;
    }
    d
}

/// Lines that rise to the right, cut to the box.
fn rising([x, y, w, h]: [f64; 4]) -> String {
    let (mut d, mut c) = (String::new(), 9.0);
    while c < w + h {
        let (x1, y1) = if c <= h { (0.0, c) } else { (c - h, h) };
        let (x2, y2) = if c <= w { (c, 0.0) } else { (w, c - w) };
        d.push_str(&format!(
            "M{:.1} {:.1}L{:.1} {:.1}",
            x + x1,
            y + y1,
            x + x2,
            y + y2
        ));
        c += 12.73;
    }
    d
}

/// Rows 4 apart, every second one shifted; the dash of their class makes the dots.
fn dots([x, y, w, h]: [f64; 4]) -> String {
    let (mut d, mut down, mut shift) = (String::new(), 6.0, 0.0);
    while down <= h - 3.0 {
        d.push_str(&format!(
            "M{} {}H{}",
            x + 6.0 + shift,
            y + down,
            x + w - 5.0
        ));
        down += 4.0;
        shift = 4.0 - shift;
    }
    d
}

/// Teeth at the right edge.
fn saw([x, y, w, h]: [f64; 4]) -> String {
    let teeth = (h / 9.0).round().max(1.0);
    let high = h / teeth;
    let (mut d, mut n) = (String::new(), 0.0);
    while n < teeth {
        let half = high / 2.0;
        d.push_str(&format!(
            "M{} {:.2}l9 {half:.2}l-9 {half:.2}z",
            x + w,
            y + high * n
        ));
        n += 1.0;
    }
    d
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::Mark;

    fn column(grams: &[i64]) -> Column {
        Column {
            name: "316L".to_owned(),
            below: vec!["free 0 g".to_owned()],
            layers: grams
                .iter()
                .map(|grams| Layer {
                    number: "L0417".to_owned(),
                    grams: *grams,
                    committed_g: 0,
                    fill: Fill::Committed,
                    expires: false,
                    facts: vec!["free".to_owned()],
                    next: false,
                })
                .collect(),
        }
    }

    fn frames(drawing: &Drawing) -> Vec<[f64; 4]> {
        let rects = drawing.marks.iter().filter_map(|mark| match mark {
            Mark::Rect { x, y, w, h, .. } => Some([*x, *y, *w, *h]),
            _ => None,
        });
        rects.collect()
    }

    /// The fullest column, 10 000 g, is 252 high: 5 000 g are 126, 1 000 g are 25.
    #[test]
    fn heights_compare_across_columns() {
        let drawing = draw(&[column(&[5_000, 5_000]), column(&[1_000])], 1232, 252.0);
        let high: Vec<f64> = frames(&drawing)
            .iter()
            .map(|[_, _, _, h]| h + 3.0)
            .collect();
        assert_eq!(high, [126.0, 126.0, 25.0]);
    }

    /// 1232 / 220 gives room for five; at 752 three stand in a row, so five make 3 and 2.
    #[test]
    fn a_narrow_sheet_breaks_the_row() {
        let columns: Vec<Column> = (0..5).map(|_| column(&[1_000])).collect();
        let lefts = |wide| -> Vec<f64> {
            let frames = frames(&draw(&columns, wide, 200.0));
            frames.iter().map(|[x, ..]| x - 1.5).collect()
        };
        assert_eq!(lefts(1232), [0.0, 246.0, 493.0, 739.0, 986.0]);
        assert_eq!(lefts(752), [0.0, 251.0, 501.0, 0.0, 251.0]);
    }

    /// A third line under a name has 20 pixels of its own.
    #[test]
    fn a_third_line_has_its_room() {
        let two = column(&[1_000]);
        let mut three = column(&[1_000]);
        three.below = ["free 0 g", "largest 0 g", "kept back 9 g"]
            .map(str::to_owned)
            .to_vec();
        let high = |it| draw(&[it], 1232, 252.0).height;
        assert_eq!(high(three), high(two) + 20);
    }

    /// Six lots of next to nothing are 12 thick each, but every label keeps its 44.
    #[test]
    fn labels_never_overlap() {
        let drawing = draw(&[column(&[10_000, 10, 10, 10, 10, 10])], 1232, 252.0);
        let mut numbers: Vec<f64> = drawing
            .marks
            .iter()
            .filter_map(|mark| match mark {
                Mark::Text { y, text, .. } if text == "L0417" => Some(*y),
                _ => None,
            })
            .collect();
        numbers.reverse();
        assert!(
            numbers.windows(2).all(|pair| pair[1] - pair[0] >= 44.0),
            "{numbers:?}"
        );
        assert!(numbers[0] >= 18.0, "the topmost stands inside the drawing");
    }
}
