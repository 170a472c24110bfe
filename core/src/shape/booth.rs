use crate::catalogue::Envelope;

/// How a part of this size, in millimetres as drawn, lies in a space.
///
/// Which of its sides (0 for x, 1 for y, 2 for z) goes along the space's length, width and height; none if
/// no turn by right angles fits. As drawn if it fits so; else turned about the upright, else laid down. A part that would fit only
/// askew is said not to fit.
#[must_use]
pub fn lies_in(size_mm: [f64; 3], space_mm: Envelope) -> Option<[usize; 3]> {
    const TURNS: [[usize; 3]; 6] = [
        [0, 1, 2],
        [1, 0, 2],
        [0, 2, 1],
        [2, 0, 1],
        [1, 2, 0],
        [2, 1, 0],
    ];
    #[expect(clippy::cast_precision_loss, reason = "a booth is far smaller")]
    let space = space_mm.map(|mm| mm as f64);
    TURNS.into_iter().find(|turn| {
        turn.iter()
            .zip(space)
            .all(|(side, room)| size_mm[*side] <= room)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_drawn_comes_before_turned_and_turned_before_laid_down() {
        let space = [1000, 500, 300];
        assert_eq!(lies_in([900.0, 400.0, 300.0], space), Some([0, 1, 2]));
        assert_eq!(lies_in([400.0, 900.0, 300.0], space), Some([1, 0, 2]));
        // 900 mm upright: laid down along the length.
        assert_eq!(lies_in([400.0, 300.0, 900.0], space), Some([2, 0, 1]));
        assert_eq!(lies_in([900.0, 400.0, 301.0], space), None);
        assert_eq!(lies_in([900.0, 301.0, 301.0], space), None);
    }
}
