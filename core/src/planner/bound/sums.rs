//! What whole needs can take together of an amount: sums of some of them.

/// So many sums of each need are told apart, times needs; of more of them, all that there is counts.
const MOST: usize = 1 << 24;

/// The most that some of these needs, sorted, take together of so much.
pub(super) fn most_taken(needs: &[i64], there: i64) -> i64 {
    let fitting = &needs[..needs.partition_point(|need| *need <= there)];
    let part = fitting.iter().fold(0, |part, need| gcd(part, *need));
    if part == 0 {
        return 0;
    }
    let parts = usize::try_from(there / part).unwrap_or(usize::MAX);
    if parts > MOST / fitting.len() {
        return there;
    }
    let mut reached = Sums::none(parts);
    for need in fitting {
        reached.add(usize::try_from(need / part).unwrap_or(usize::MAX));
    }
    i64::try_from(reached.most()).unwrap_or(i64::MAX) * part
}

/// Which sums up to a largest are reached, a bit for each.
struct Sums {
    bits: Vec<u64>,
    largest: usize,
}

impl Sums {
    /// None but 0.
    fn none(largest: usize) -> Self {
        let mut bits = vec![0; largest / 64 + 1];
        bits[0] = 1;
        Self { bits, largest }
    }

    /// Reaches also what is so much more than what is reached.
    fn add(&mut self, more: usize) {
        let (words, bits) = (more / 64, more % 64);
        for at in (words..self.bits.len()).rev() {
            let mut moved = self.bits[at - words] << bits;
            if bits > 0 && at > words {
                moved |= self.bits[at - words - 1] >> (64 - bits);
            }
            self.bits[at] |= moved;
        }
    }

    fn most(&self) -> usize {
        let reached = |sum: &usize| self.bits[sum / 64] >> (sum % 64) & 1 == 1;
        (0..=self.largest).rev().find(reached).unwrap_or(0)
    }
}

fn gcd(one: i64, other: i64) -> i64 {
    if other == 0 {
        one
    } else {
        gcd(other, one % other)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of needs of 40, 40 and 70, a lot of 100 serves two with 80, one of 75 only the largest, and one of 30
    /// none; of all three 150 at the most.
    #[test]
    fn what_is_taken_is_a_sum_of_whole_needs() {
        let needs = [40, 40, 70];
        let taken = [100, 75, 30, 1000].map(|there| most_taken(&needs, there));
        assert_eq!(taken, [80, 70, 0, 150]);
        assert_eq!(most_taken(&[], 50), 0);
    }

    /// 100, 101 and 103, with sums that lie across the words of the bits: 100 + 103 below 204, and
    /// 101 + 103 from there on.
    #[test]
    fn sums_are_told_apart_beyond_a_word() {
        let needs = [100, 101, 103];
        assert_eq!(most_taken(&needs, 203), 203);
        assert_eq!(most_taken(&needs, 202), 201);
        assert_eq!(most_taken(&needs, 300), 204);
        assert_eq!(most_taken(&needs, 304), 304);
    }

    /// Of needs without a common part not all sums of a large amount are told apart: it counts in full.
    #[test]
    fn much_counts_in_full() {
        assert_eq!(most_taken(&[7, 9], 20), 16);
        assert_eq!(most_taken(&[7, 9], 1_000_000_000), 1_000_000_000);
    }
}
