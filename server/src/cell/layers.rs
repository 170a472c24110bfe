//! Columns of layers on one base line, each layer with its words beside it.

use crate::drawing::{Canvas, Drawing, px, whole_px};

/// One column.
pub struct Column {
    pub name: String,
    /// Under the name; what is marked stands bold.
    pub below: Vec<(String, bool)>,
    /// From the bottom.
    pub layers: Vec<Layer>,
    /// A line above the layers at so much, with its words.
    pub target: Option<(i64, String)>,
}

/// One layer.
pub struct Layer {
    /// Its thickness, in the unit of the drawing.
    pub amount: i64,
    pub fill: Fill,
    pub bold: String,
    pub text: String,
    /// The second line, where the column is too narrow for one; may be empty.
    pub caption: String,
}

/// How a layer is filled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fill {
    Ready,
    Done,
    Waits,
    Lost,
}

/// What a drawing is called, how large it may be, and how wide a column is at least.
pub struct Sheet {
    pub id: &'static str,
    pub title: String,
    pub wide: i64,
    pub tall: f64,
    pub pitch: i64,
}

/// The drawing: the fullest column is `tall` pixels high, all on one scale.
pub fn draw(columns: &[Column], sheet: Sheet) -> Drawing {
    let count = i64::try_from(columns.len()).unwrap_or(1).max(1);
    let per_row = (sheet.wide / sheet.pitch).clamp(1, count);
    let pitch = px(sheet.wide) / px(per_row);
    let fullest = columns.iter().map(Column::amount).max().unwrap_or(0).max(1);
    let scale = sheet.tall / px(fullest);
    let mut canvas = Canvas::default();
    let mut top = 0.0;
    for row in columns.chunks(usize::try_from(per_row).unwrap_or(1)) {
        let one_line = pitch >= ONE_LINE;
        let stacks = row.iter().map(|c| Stack::of(c, scale, one_line));
        let stacks: Vec<Stack<'_>> = stacks.collect();
        let base = top + stacks.iter().map(|s| s.high).fold(0.0, f64::max).ceil() + 8.0;
        for (place, stack) in (0_i64..).zip(&stacks) {
            stack.draw(&mut canvas, (px(place) * pitch).round(), base);
        }
        canvas.path("lot-base", format!("M0 {base}H{}", sheet.wide));
        let lines = row.iter().map(|c| c.below.len()).max().unwrap_or(0);
        top = base + 36.0 + 20.0 * px(i64::try_from(lines).unwrap_or(0)) + 12.0;
    }
    Drawing {
        id: format!("{}-{}", sheet.id, sheet.wide),
        width: sheet.wide,
        height: whole_px(top - 12.0),
        title: sheet.title,
        marks: canvas.marks,
    }
}

/// From this width of a column on, a layer's words stand in one line.
const ONE_LINE: f64 = 600.0;
const THINNEST: f64 = 12.0;
const GAP: f64 = 3.0;
/// A layer at its full width, and where its words begin: room between them for a line from a thin
/// layer to its words, which may stand higher.
const WIDE: [f64; 2] = [88.0, 120.0];
const LABEL_LEFT: [f64; 2] = [118.0, 160.0];
/// Width and left edge of one layer after another, as shares of the full width.
const PASSES: [(f64, f64); 6] = [
    (1.0, 0.0),
    (0.93, 0.04),
    (0.97, 0.01),
    (0.90, 0.06),
    (0.95, 0.02),
    (0.88, 0.05),
];

impl Column {
    fn amount(&self) -> i64 {
        let sum: i64 = self.layers.iter().map(|l| l.amount).sum();
        self.target.as_ref().map_or(sum, |(at, _)| sum.max(*at))
    }
}

impl Layer {
    const fn label_high(&self, one_line: bool) -> f64 {
        if one_line || self.caption.is_empty() {
            26.0
        } else {
            46.0
        }
    }
}

/// A column laid out: for each layer its foot, thickness, and the bottom of its label, as heights
/// above the base line.
struct Stack<'a> {
    column: &'a Column,
    spots: Vec<[f64; 3]>,
    target: Option<f64>,
    high: f64,
    one_line: bool,
}

impl<'a> Stack<'a> {
    fn of(column: &'a Column, scale: f64, one_line: bool) -> Self {
        let (mut foot, mut label, mut spots) = (0.0, 4.0, Vec::new());
        for layer in &column.layers {
            let thick = (px(layer.amount) * scale).round().max(THINNEST);
            let high = layer.label_high(one_line);
            let bottom = f64::max(label, foot + thick / 2.0 - high / 2.0);
            spots.push([foot, thick, bottom]);
            foot += thick + GAP;
            label = bottom + high;
        }
        let sum: i64 = column.layers.iter().map(|l| l.amount).sum();
        let target = column
            .target
            .as_ref()
            .map(|(at, _)| (foot + px(at - sum) * scale).round().max(4.0));
        let high = f64::max(foot, label).max(target.map_or(0.0, |y| y.max(label) + 26.0));
        Stack {
            column,
            spots,
            target,
            high,
            one_line,
        }
    }

    fn draw(&self, canvas: &mut Canvas, x: f64, base: f64) {
        let layers = self.column.layers.iter().zip(PASSES.into_iter().cycle());
        let (full, words_left) = (
            WIDE[usize::from(self.one_line)],
            x + LABEL_LEFT[usize::from(self.one_line)],
        );
        let mut label_top = base;
        for ((layer, (wide, left)), [foot, thick, label]) in layers.zip(&self.spots) {
            let frame = [
                x + full * left,
                base - 2.0 - foot - thick,
                full * wide,
                *thick,
            ];
            fill(canvas, layer.fill, frame);
            label_top = base - label - layer.label_high(self.one_line);
            let (edge, middle) = (frame[0] + frame[2] + 2.0, frame[1] + frame[3] / 2.0);
            let (words, line) = (words_left - 6.0, label_top + 12.0);
            canvas.path(
                "hair-line",
                format!("M{edge} {middle}L{} {line}H{words}", words - 8.0),
            );
            write(canvas, layer, [words_left, label_top], self.one_line);
        }
        if let (Some(height), Some((_, words))) = (self.target, &self.column.target) {
            let y = base - height;
            canvas.path("lot-base", format!("M{x} {y}h{}", full + 8.0));
            canvas.text(
                "",
                words_left,
                (y + 5.0).min(label_top - 4.0),
                words.clone(),
            );
        }
        canvas.text("strong body", x, base + 25.0, self.column.name.clone());
        for (line, (text, strong)) in (0_i64..).zip(&self.column.below) {
            let class = if *strong { "strong" } else { "" };
            canvas.text(class, x, base + 47.0 + 20.0 * px(line), text.clone());
        }
    }
}

fn write(canvas: &mut Canvas, layer: &Layer, [x, top]: [f64; 2], one_line: bool) {
    canvas.text("strong body", x, top + 18.0, layer.bold.clone());
    let after = crate::drawing::width(&layer.bold, 18.0, true) + 8.0;
    let class = if one_line { "body" } else { "" };
    canvas.text(class, x + after, top + 18.0, layer.text.clone());
    if layer.caption.is_empty() {
        return;
    }
    if one_line {
        let text = crate::drawing::width(&layer.text, 18.0, false);
        let gap = if layer.text.is_empty() { 0.0 } else { 12.0 };
        canvas.text(
            "",
            x + after + text + gap,
            top + 18.0,
            layer.caption.clone(),
        );
    } else {
        canvas.text("", x, top + 38.0, layer.caption.clone());
    }
}

fn fill(canvas: &mut Canvas, fill: Fill, [x, y, w, h]: [f64; 4]) {
    match fill {
        Fill::Done => canvas.rect("ink", [x, y, w, h]),
        Fill::Ready => canvas.rect("frame heavy", [x + 1.75, y + 1.75, w - 3.5, h - 3.5]),
        Fill::Waits => canvas.rect("dots", [x + 1.5, y + 1.5, w - 3.0, h - 3.0]),
        Fill::Lost => {
            canvas.rect("frame", [x + 1.0, y + 1.0, w - 2.0, h - 2.0]);
            let (right, foot) = (x + w - 1.0, y + h - 1.0);
            let (x, y) = (x + 1.0, y + 1.0);
            canvas.path(
                "cross",
                format!("M{x} {y}L{right} {foot}M{right} {y}L{x} {foot}"),
            );
        }
    }
}
