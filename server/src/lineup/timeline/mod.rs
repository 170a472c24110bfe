//! The timeline of a line-up as a drawing: cell, stations, people, power, and what is back when.
//!
//! Bars carry place numbers, never names; what does not fit a label stands beside or above its
//! bar; nights are folded. The table beside it says the same in words.

mod axis;
mod bars;
mod foot;
mod gather;
mod people;
mod power;

use axis::Axis;
use gather::Data;

use crate::drawing::width;

/// A drawing, ready for its template.
pub struct Timeline {
    pub width: i64,
    pub height: i64,
    pub title: String,
    pub shapes: Vec<Shape>,
}

/// One mark of a drawing.
pub enum Shape {
    Path {
        class: &'static str,
        stroke: &'static str,
        d: String,
    },
    Rect {
        class: &'static str,
        x: f64,
        y: f64,
        w: f64,
        h: f64,
        title: String,
    },
    Text {
        class: &'static str,
        x: f64,
        y: f64,
        text: String,
    },
}

pub use gather::{gather, gather_pair};

/// Where the lanes begin, right of their names.
const LEFT: i64 = 84;
/// Where the first lane begins, under the days.
const TOP: f64 = 24.0;

/// Draws what was gathered, so many pixels wide.
pub fn draw(data: &Data, wide: i64) -> Timeline {
    let axis = Axis::new(data.start, data.end, &data.shifts, LEFT, wide);
    let lanes = Lanes::stack(data, &axis);
    let mut canvas = Canvas {
        shapes: Vec::new(),
        wide: axis::pixels(wide),
    };
    canvas.nights(&axis, &lanes);
    canvas.lane_rules(data, &lanes);
    canvas.days(data, &axis);
    for lane in 0..data.lanes.len() {
        bars::draw(&mut canvas, data, &axis, &lanes, lane);
    }
    bars::idle(&mut canvas, data, &axis, &lanes);
    if !data.is_pair() {
        people::draw(&mut canvas, data, &axis, &lanes);
        power::draw(&mut canvas, data, &axis, &lanes);
    }
    for (n, back) in data.back.iter().enumerate() {
        people::back(&mut canvas, back, &axis, lanes.back(data, n));
    }
    let height = foot::draw(&mut canvas, data, &axis, &lanes);
    Timeline {
        width: wide,
        height,
        title: data.title.clone(),
        shapes: canvas.shapes,
    }
}

/// Where each lane stands. Those after the stations are People, Power and Back; where two orders are shown,
/// Back of each.
struct Lanes {
    top: Vec<f64>,
    high: Vec<f64>,
    /// For each lane, the row of each of its spans: spans that overlap stand above each other.
    rows: Vec<Vec<usize>>,
    bottom: f64,
}

impl Lanes {
    fn stack(data: &Data, axis: &Axis) -> Self {
        let mut lanes = Lanes {
            top: Vec::new(),
            high: Vec::new(),
            rows: Vec::new(),
            bottom: TOP,
        };
        for lane in 0..data.lanes.len() {
            let (rows, deep) = rows(data, lane);
            let high = match lane {
                _ if data.is_cell(lane) && bars::needs_strip(data, axis, lane) => 56.0,
                _ if data.is_cell(lane) => 38.0,
                _ if deep <= 1 => 27.0,
                _ => 6.0 + 20.0 * bars::count(deep),
            };
            lanes.add(high, rows);
        }
        if !data.is_pair() {
            let people = 7.0 * axis::pixels(data.most_people()) + 6.0;
            lanes.add(people.max(27.0), Vec::new());
            lanes.add(28.0, Vec::new());
        }
        for _ in &data.back {
            lanes.add(27.0, Vec::new());
        }
        lanes
    }

    fn add(&mut self, high: f64, rows: Vec<usize>) {
        self.top.push(self.bottom);
        self.high.push(high);
        self.rows.push(rows);
        self.bottom += high;
    }

    const fn people(&self) -> usize {
        self.top.len() - 3
    }

    const fn power(&self) -> usize {
        self.top.len() - 2
    }

    /// Top and bottom of the lane of returns of the nth order.
    fn back(&self, data: &Data, n: usize) -> [f64; 2] {
        let lane = self.top.len() - data.back.len() + n;
        [self.top[lane], self.top[lane] + self.high[lane]]
    }
}

/// The row of each span of a lane, and how many rows there are.
fn rows(data: &Data, lane: usize) -> (Vec<usize>, usize) {
    let mut ends: Vec<i64> = Vec::new();
    let rows = data
        .spans_of(lane)
        .map(|span| match ends.iter().position(|end| *end <= span.from) {
            Some(row) => {
                ends[row] = span.to;
                row
            }
            None => {
                ends.push(span.to);
                ends.len() - 1
            }
        })
        .collect();
    (rows, ends.len())
}

/// What has been drawn so far.
struct Canvas {
    shapes: Vec<Shape>,
    wide: f64,
}

impl Canvas {
    fn path(&mut self, class: &'static str, stroke: &'static str, d: String) {
        self.shapes.push(Shape::Path { class, stroke, d });
    }

    fn rect(&mut self, class: &'static str, [x, y, w, h]: [f64; 4], title: impl Into<String>) {
        self.shapes.push(Shape::Rect {
            class,
            x,
            y,
            w,
            h,
            title: title.into(),
        });
    }

    fn text(&mut self, class: &'static str, x: f64, y: f64, text: impl Into<String>) {
        self.shapes.push(Shape::Text {
            class,
            x,
            y,
            text: text.into(),
        });
    }

    fn nights(&mut self, axis: &Axis, lanes: &Lanes) {
        for (from, to) in &axis.nights {
            let (left, right) = (axis.x(*from), axis.x(*to));
            if right - left < 3.0 {
                continue;
            }
            let mut y = TOP + 6.5;
            let mut d = String::new();
            while y < lanes.bottom - 2.5 {
                d.push_str(&format!("M{left} {y}H{right}"));
                y += 6.0;
            }
            self.path("hair-line", "1", d);
        }
    }

    fn lane_rules(&mut self, data: &Data, lanes: &Lanes) {
        let wide = self.wide;
        for top in &lanes.top[1..] {
            self.path("tl-lane", "1", format!("M0 {}H{wide}", top + 0.5));
        }
        self.path(
            "tl-rule",
            "3",
            format!("M0 {}H{wide}M0 {}H{wide}", TOP + 0.5, lanes.bottom + 0.5),
        );
        let names = data
            .lanes
            .iter()
            .map(String::as_str)
            .chain(if data.is_pair() {
                ["Back", gather::OTHER].iter().copied()
            } else {
                ["People", "Power", "Back"].iter().copied()
            });
        for (lane, name) in names.enumerate() {
            let middle = if data.is_cell(lane) {
                lanes.high[lane] - 19.0
            } else {
                lanes.high[lane] / 2.0
            };
            let class = if lane == 0 { "strong" } else { "" };
            self.text(
                class,
                0.0,
                lanes.top[lane] + middle + 5.5,
                fitted(name, 15.0, lane == 0, axis::pixels(LEFT) - 6.0),
            );
        }
    }

    /// The name of each day where it begins, in full where there is room, else the weekday, else none.
    fn days(&mut self, data: &Data, axis: &Axis) {
        let starts: Vec<(f64, &String)> = data
            .days
            .iter()
            .map(|(at, name)| (axis.x(*at), name))
            .collect();
        for (n, (x, name)) in starts.iter().enumerate() {
            let next = starts.get(n + 1).map_or(self.wide, |(x, _)| *x);
            let short = name.split(' ').next().unwrap_or_default();
            if let Some(text) = [name.as_str(), short]
                .into_iter()
                .find(|t| width(t, 15.0, true) <= next - x - 8.0)
            {
                self.text("strong", *x, 15.0, text);
            }
        }
    }
}

/// As much of a text as fits.
fn fitted(text: &str, px: f64, bold: bool, room: f64) -> String {
    let mut text = text.to_owned();
    while width(&text, px, bold) > room && text.pop().is_some() {}
    text
}
