//! One powder's course: what was drawn, what the order will draw, when it runs out, what comes.

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use mendpost_core::situation::instant;

use crate::drawing::{Canvas, Drawing, px, width};
use crate::page::whole;

/// What is drawn. Levels are grams that may be drawn.
pub struct Scene {
    pub title: String,
    pub zone: Tz,
    pub now: DateTime<Utc>,
    /// The last moment of interest.
    pub last: DateTime<Utc>,
    pub past: Vec<(DateTime<Utc>, i64)>,
    pub plan: Vec<(DateTime<Utc>, i64)>,
    /// The same, if each draw takes what it most likely does.
    pub likely: Vec<(DateTime<Utc>, i64)>,
    /// Lots as they stand now, the one used last first.
    pub strata: Vec<(String, i64)>,
    /// Place, end of the draw, what is left.
    pub falls: Vec<(usize, DateTime<Utc>, i64)>,
    /// When it runs out, the words for it, and what is left.
    pub out: Option<(DateTime<Utc>, String, String)>,
    pub deliveries: Vec<(DateTime<Utc>, String)>,
    pub now_words: String,
}

/// Midnight two days ago: where the drawing begins.
pub fn first_moment(zone: Tz, now: DateTime<Utc>) -> DateTime<Utc> {
    midnight(zone, now, -2)
}

/// The drawing, so many pixels wide.
pub fn draw(scene: &Scene, wide: i64) -> Drawing {
    let sheet = Sheet::new(scene, wide);
    let mut canvas = Canvas::default();
    sheet.axis(&mut canvas);
    sheet.strata(&mut canvas);
    canvas.path("stock-past", sheet.line(&scene.past, BASE));
    canvas.path("stock-likely", sheet.line(&scene.likely, BASE - 4.0));
    canvas.path("stock-plan", sheet.line(&scene.plan, BASE - 4.0));
    canvas.path("lot-base", format!("M{LEFT} {BASE}H{wide}"));
    sheet.days(&mut canvas);
    sheet.falls(&mut canvas);
    sheet.run_out(&mut canvas);
    sheet.deliveries_and_now(&mut canvas);
    Drawing {
        id: format!("drawdown-{wide}"),
        width: wide,
        height: crate::drawing::whole_px(BASE) + 30,
        title: scene.title.clone(),
        marks: canvas.marks,
    }
}

const LEFT: f64 = 84.0;
const TOP: f64 = 32.0;
const HIGH: f64 = 150.0;
const BASE: f64 = TOP + HIGH;
/// Days drawn at most, two of them past.
const MOST_DAYS: i64 = 10;
const STEPS: [i64; 10] = [
    500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000, 100_000, 200_000, 500_000,
];

fn midnight(zone: Tz, moment: DateTime<Utc>, days: i64) -> DateTime<Utc> {
    let day = moment.with_timezone(&zone).date_naive() + TimeDelta::days(days);
    instant(zone, day.and_time(chrono::NaiveTime::MIN))
}

/// The scales.
struct Sheet<'a> {
    scene: &'a Scene,
    wide: f64,
    start: DateTime<Utc>,
    end: DateTime<Utc>,
    step: i64,
    most: i64,
    per_gram: f64,
}

impl<'a> Sheet<'a> {
    fn new(scene: &'a Scene, wide: i64) -> Self {
        let start = first_moment(scene.zone, scene.now);
        let last = midnight(scene.zone, scene.last.max(scene.now), 2);
        let end = last.min(midnight(scene.zone, start, MOST_DAYS));
        let levels = scene.past.iter().chain(&scene.plan);
        let seen = levels.filter(|(at, _)| *at <= end).map(|(_, grams)| *grams);
        let most = seen.max().unwrap_or(0);
        let step = STEPS
            .into_iter()
            .find(|step| most <= 3 * step)
            .unwrap_or(1_000_000);
        let top = f64::max(px(most) * 1.04, px(step));
        Sheet {
            scene,
            wide: px(wide),
            start,
            end,
            step,
            most,
            per_gram: (HIGH - 4.0) / top,
        }
    }

    fn x(&self, at: DateTime<Utc>) -> f64 {
        let share =
            px((at - self.start).num_seconds()) / px((self.end - self.start).num_seconds().max(1));
        (LEFT + (self.wide - LEFT) * share.clamp(0.0, 1.0)).round()
    }

    fn y(&self, grams: i64) -> f64 {
        (BASE - px(grams) * self.per_gram).round()
    }

    fn now(&self) -> f64 {
        self.x(self.scene.now)
    }

    fn axis(&self, canvas: &mut Canvas) {
        let mut grams = 0;
        while grams <= self.most {
            canvas.text(
                "end",
                LEFT - 10.0,
                self.y(grams) + 5.0,
                format!("{} g", whole(grams)),
            );
            if grams > 0 {
                let d = format!("M{} {}.5H{}", self.now(), self.y(grams), self.wide);
                canvas.path("tl-lane", d);
            }
            grams += self.step;
        }
        canvas.path("frame", format!("M{LEFT} {TOP}V{BASE}"));
    }

    fn strata(&self, canvas: &mut Canvas) {
        let mut sum = 0;
        for (name, grams) in &self.scene.strata {
            sum += grams;
            canvas.path("frame", format!("M{LEFT} {}H{}", self.y(sum), self.now()));
            if px(*grams) * self.per_gram >= 22.0 {
                canvas.text("", LEFT + 12.0, self.y(sum - grams / 2) + 5.0, name.clone());
            }
        }
    }

    /// A line through levels, cut at the end of the drawing and never below `lowest`.
    fn line(&self, levels: &[(DateTime<Utc>, i64)], lowest: f64) -> String {
        let mut points: Vec<(DateTime<Utc>, i64)> = Vec::new();
        for (at, grams) in levels {
            if *at > self.end {
                points.extend(points.last().copied().map(|(from, held)| {
                    let share =
                        px((self.end - from).num_seconds()) / px((*at - from).num_seconds().max(1));
                    (
                        self.end,
                        held + crate::drawing::whole_px(px(grams - held) * share),
                    )
                }));
                break;
            }
            points.push((*at, *grams));
        }
        let steps = points.iter().enumerate().map(|(n, (at, grams))| {
            let letter = if n == 0 { 'M' } else { 'L' };
            format!("{letter}{} {}", self.x(*at), self.y(*grams).min(lowest))
        });
        steps.collect()
    }

    fn days(&self, canvas: &mut Canvas) {
        let mut day = self.start;
        while day < self.end {
            let next = midnight(self.scene.zone, day, 1);
            let (x, after) = (self.x(day), self.x(next));
            canvas.path("frame", format!("M{} {BASE}v7", x + 1.0));
            let local = day.with_timezone(&self.scene.zone);
            let room = f64::min(after - x - 8.0, self.wide - x - 6.0);
            let names = [
                local.format("%a %-d").to_string(),
                local.format("%a").to_string(),
            ];
            if let Some(name) = names.into_iter().find(|n| width(n, 15.0, false) <= room) {
                canvas.text("", x + 6.0, BASE + 22.0, name);
            }
            day = next;
        }
    }

    /// The place number beside each draw, where it does not touch the one before.
    fn falls(&self, canvas: &mut Canvas) {
        let out_at = self.scene.out.as_ref().map(|(at, ..)| *at);
        let mut taken = (f64::MIN, 0.0);
        for (place, at, left) in &self.scene.falls {
            if Some(*at) == out_at || *at > self.end {
                continue;
            }
            let number = place.to_string();
            let wide = if number.len() == 1 { 22.0 } else { 34.0 };
            let (x, y) = (self.x(*at) + 4.0, self.y(*left) - 32.0);
            let clash = x < taken.0 + 2.0 && (y - taken.1).abs() < 24.0;
            if clash || x + wide > self.wide {
                continue;
            }
            taken = (x + wide, y);
            canvas.rect("ground", [x - 1.0, y - 1.0, wide + 2.0, 24.0]);
            canvas.rect("frame", [x, y, wide - 2.0, 22.0]);
            canvas.text("strong middle", x - 1.0 + wide / 2.0, y + 16.5, number);
        }
    }

    fn run_out(&self, canvas: &mut Canvas) {
        let Some((at, words, reason)) = self.scene.out.as_ref().filter(|(at, ..)| *at <= self.end)
        else {
            return;
        };
        let x = self.x(*at);
        let coming = self.scene.deliveries.iter().map(|(when, _)| self.x(*when));
        let next = coming.filter(|d| *d > x).fold(self.wide, f64::min);
        let room = next - x - 16.0;
        let words = cut(words, 18.0, true, room);
        let reason = cut(reason, 15.0, false, room);
        let long = f64::max(width(words, 18.0, true), width(reason, 15.0, false));
        let (left, classes) = if long <= room {
            (x + 4.0, ["out clear", "clear", "8"])
        } else {
            (x - long - 12.0, ["out clear end", "clear end", "-8"])
        };
        let edge = if classes[2] == "8" { x + 8.0 } else { x - 8.0 };
        canvas.rect(
            "ground",
            [left.round(), BASE - 73.0, long.ceil() + 8.0, 48.0],
        );
        canvas.path(
            "run-out",
            format!("M{}.5 {}V{}", x, BASE - 46.0, BASE - 2.0),
        );
        canvas.text(classes[0], edge, BASE - 54.0, words);
        canvas.text(classes[1], edge, BASE - 32.0, reason);
    }

    fn deliveries_and_now(&self, canvas: &mut Canvas) {
        let now = self.now();
        let shown = self
            .scene
            .deliveries
            .iter()
            .filter(|(at, _)| *at <= self.end);
        let first = shown
            .clone()
            .next()
            .map(|(at, words)| (self.x(*at), width(words, 15.0, true)));
        let all = self.scene.now_words.as_str();
        let long = width(all, 15.0, true);
        let fits = first.is_none_or(|(x, words)| now + 8.0 + long + 24.0 + words < x);
        let words = if fits {
            all
        } else {
            all.split(',').next().unwrap_or(all)
        };
        let mut taken = now + 8.0 + width(words, 15.0, true);
        for (at, text) in shown {
            let (x, long) = (self.x(*at), width(text, 15.0, true));
            canvas.path("tl-delivery", format!("M{x}.5 {}V{BASE}", TOP - 22.0));
            if x - 8.0 - long >= taken + 24.0 {
                canvas.text("strong clear end", x - 8.0, TOP - 12.0, text.clone());
                taken = x;
            } else if x + 9.0 + long <= self.wide {
                canvas.text("strong clear", x + 9.0, TOP - 12.0, text.clone());
                taken = x + 9.0 + long;
            }
        }
        canvas.path("tl-now", format!("M{now}.5 {}V{}", TOP - 22.0, BASE - 2.0));
        canvas.text("now clear", now + 8.0, TOP - 12.0, words);
    }
}

/// The whole text if there is room, else what stands before its first comma.
fn cut(text: &str, size: f64, bold: bool, room: f64) -> &str {
    if width(text, size, bold) <= room {
        text
    } else {
        text.split(',').next().unwrap_or(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::Mark;

    fn at(minute: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::minutes(minute)
    }

    fn scene() -> Scene {
        let day = 1440;
        Scene {
            title: String::new(),
            zone: Tz::UTC,
            now: at(2 * day + 720),
            last: at(5 * day),
            past: vec![(at(0), 10_000), (at(2 * day + 720), 10_000)],
            plan: vec![
                (at(2 * day + 720), 10_000),
                (at(3 * day), 10_000),
                (at(3 * day + 120), 4_000),
                (at(20 * day), 4_000),
            ],
            likely: vec![],
            strata: vec![],
            falls: vec![(1, at(3 * day + 120), 4_000)],
            out: None,
            deliveries: vec![],
            now_words: "now 10 000 g".to_owned(),
        }
    }

    /// From day 0 to day 7, two days past the last moment, over 1232 - 84 px: a day is 164 px. Now,
    /// two and a half days on, stands at 84 + 410 = 494. 10 000 g are 1 / 1.04 of 146 px: y = 182 - 140.
    #[test]
    fn time_and_grams_have_one_scale_each() {
        let scene = scene();
        let sheet = Sheet::new(&scene, 1232);
        assert!((sheet.now() - 494.0).abs() < 0.1, "{}", sheet.now());
        assert!((sheet.y(10_000) - 42.0).abs() < 0.1, "{}", sheet.y(10_000));
        assert!(sheet.line(&scene.plan, BASE).ends_with("L1232 126"));
    }

    #[test]
    fn nothing_is_written_outside_the_drawing() {
        let mut scene = scene();
        scene.out = Some((
            at(4 * 1440),
            "runs out Sat 12:30, with place 7".to_owned(),
            "nothing left".to_owned(),
        ));
        scene.deliveries = vec![(at(5 * 1440), "supply boat Mon 10:00, +12 000 g".to_owned())];
        for wide in [752, 1232] {
            for mark in draw(&scene, wide).marks {
                let Mark::Text { class, x, text, .. } = mark else {
                    continue;
                };
                let size = if class.starts_with("out") { 18.0 } else { 15.0 };
                let long = width(&text, size, true);
                let (left, right) = if class.ends_with("end") {
                    (x - long, x)
                } else {
                    (x, x + long)
                };
                let (left, right) = if class.contains("middle") {
                    (x - long / 2.0, x + long / 2.0)
                } else {
                    (left, right)
                };
                assert!(
                    left >= 0.0 && right <= px(wide),
                    "'{text}' from {left} to {right} of {wide}"
                );
            }
        }
    }
}
