/// Minutes, as closed stretches `(first, last)`: sorted, and no two of them overlap or touch.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Spans(Vec<(i64, i64)>);

impl Spans {
    /// The minutes of any of these stretches; one whose last minute is before its first has none.
    pub fn of(stretches: impl IntoIterator<Item = (i64, i64)>) -> Self {
        let mut all: Vec<_> = stretches.into_iter().filter(|(a, b)| a <= b).collect();
        all.sort_unstable();
        let mut joined: Vec<(i64, i64)> = Vec::new();
        for (first, last) in all {
            match joined.last_mut() {
                Some(before) if first <= before.1.saturating_add(1) => {
                    before.1 = before.1.max(last);
                }
                _ => joined.push((first, last)),
            }
        }
        Self(joined)
    }

    /// The minutes that are in both.
    pub fn and(&self, other: &Self) -> Self {
        let (mut at, mut both) = (0, Vec::new());
        for (first, last) in &self.0 {
            while other.0.get(at).is_some_and(|span| span.1 < *first) {
                at += 1;
            }
            let meeting = other.0[at..].iter().take_while(|span| span.0 <= *last);
            both.extend(meeting.map(|span| (span.0.max(*first), span.1.min(*last))));
        }
        Self(both)
    }

    /// The first minutes of stretches of so many minutes that lie within.
    pub fn room_for(&self, minutes: i64) -> Self {
        let starts = self
            .0
            .iter()
            .map(|(first, last)| (*first, last + 1 - minutes));
        Self(starts.filter(|(first, last)| first <= last).collect())
    }

    /// The same stretches so many minutes later.
    pub fn later(&self, minutes: i64) -> Self {
        let moved = self
            .0
            .iter()
            .map(|(first, last)| (first + minutes, last + minutes));
        Self(moved.collect())
    }

    /// Without the minutes of these stretches `(from, to)`, `to` exclusive.
    pub fn without(&self, closed: &[(i64, i64)]) -> Self {
        let closed = Self::of(closed.iter().map(|(from, to)| (*from, to - 1)));
        let mut open = Vec::new();
        for (first, last) in &self.0 {
            let mut from = *first;
            for span in closed
                .0
                .iter()
                .filter(|span| span.1 >= *first && span.0 <= *last)
            {
                open.push((from, span.0 - 1));
                from = span.1 + 1;
            }
            open.push((from, *last));
        }
        Self::of(open)
    }

    pub fn iter(&self) -> impl Iterator<Item = (i64, i64)> {
        self.0.iter().copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 0 to 9 and 20 to 29 with 5 to 24: 5 to 9 and 20 to 24. Of these each has 5 minutes, so that 4 fit
    /// at two minutes each.
    #[test]
    fn spans_meet_and_have_room() {
        let both = Spans::of([(20, 29), (0, 4), (5, 9)]).and(&Spans::of([(5, 24)]));
        assert_eq!(both, Spans::of([(5, 9), (20, 24)]));
        assert_eq!(both.room_for(4), Spans::of([(5, 6), (20, 21)]));
        assert_eq!(both.room_for(6), Spans::of([]));
    }

    /// 0 to 99 without 10 to 19 and without 90 onwards.
    #[test]
    fn closed_minutes_are_cut_out() {
        let open = Spans::of([(0, 99)]).without(&[(90, 200), (10, 20)]);
        assert_eq!(open, Spans::of([(0, 9), (20, 89)]));
    }
}
