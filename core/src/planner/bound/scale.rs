/// The bound counts loss in small parts, so that prices can be whole numbers; what is scaled is rounded down.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale(i32);

/// The bits of the largest loss, scaled.
pub(super) const BITS: i32 = 36;

impl Scale {
    /// Fine enough, and so coarse that a loss of `worst` is still far below what can be counted.
    pub fn for_loss(worst: i64) -> Self {
        let bits = 64 - i32::try_from(worst.max(0).leading_zeros()).unwrap_or(0);
        Self(BITS - bits)
    }

    pub fn down(self, loss: i64) -> i64 {
        if self.0 >= 0 {
            loss << self.0
        } else {
            loss >> -self.0
        }
    }

    /// The least loss that is not below: a loss is a whole number.
    pub fn up(self, scaled: i128) -> i64 {
        let loss = if self.0 >= 0 {
            -(-scaled >> self.0)
        } else {
            scaled << -self.0
        };
        let beyond = if loss > 0 { i64::MAX } else { 0 };
        i64::try_from(loss).unwrap_or(beyond)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A loss of 1000 has 10 bits, so that parts of 1/2^26 count; a third of it is 333.33, and no whole loss
    /// below 334 reaches that.
    #[test]
    fn a_part_of_a_loss_is_no_loss() {
        let scale = Scale::for_loss(1000);
        let third = i128::from(scale.down(1000)) / 3;
        assert_eq!(scale.down(1), 1 << 26);
        assert_eq!(scale.up(third), 334);
        assert_eq!(scale.up(i128::from(scale.down(333))), 333);
    }

    /// A loss of 40 bits is counted in sixteens, rounded down.
    #[test]
    fn a_large_loss_is_counted_coarsely() {
        let scale = Scale::for_loss((1 << 40) - 1);
        assert_eq!(scale.down(47), 2);
        assert_eq!(scale.up(2), 32);
    }
}
