//! A drawing as a list of marks, which one template turns into SVG.

/// A drawing, ready for its template.
pub struct Drawing {
    /// Its name on the page, unlike that of any other.
    pub id: String,
    pub width: i64,
    pub height: i64,
    /// What it shows, for those who do not see it.
    pub title: String,
    pub marks: Vec<Mark>,
}

/// One mark of a drawing; its class says how it looks.
pub enum Mark {
    Path {
        class: &'static str,
        d: String,
    },
    Rect {
        class: &'static str,
        x: f64,
        y: f64,
        w: f64,
        h: f64,
    },
    Text {
        class: &'static str,
        x: f64,
        y: f64,
        text: String,
    },
}

/// What has been drawn so far.
#[derive(Default)]
pub struct Canvas {
    pub marks: Vec<Mark>,
}

impl Canvas {
    pub fn path(&mut self, class: &'static str, d: String) {
        if !d.is_empty() {
            self.marks.push(Mark::Path { class, d });
        }
    }

    pub fn rect(&mut self, class: &'static str, [x, y, w, h]: [f64; 4]) {
        self.marks.push(Mark::Rect { class, x, y, w, h });
    }

    pub fn text(&mut self, class: &'static str, x: f64, y: f64, text: impl Into<String>) {
        let text = text.into();
        self.marks.push(Mark::Text { class, x, y, text });
    }
}
