//! Drawing from distributions, the same for a seed on every machine.

use std::f64::consts::TAU;

use fastrand::Rng;

use super::doubts::Share;

/// A source of random figures that depends on the numbers given alone.
pub(super) struct Source(Rng);

impl Source {
    /// Another source for other numbers: of a run, of a job in it, so that what is drawn for one thing does
    /// not depend on what was drawn for others before.
    ///
    /// The mixing is the end of splitmix64 (Steele, Lea & Flood, 'Fast splittable pseudorandom number
    /// generators', 2014; from memory).
    pub fn of(numbers: &[u64]) -> Self {
        let mixed = numbers.iter().fold(0_u64, |mixed, number| {
            let mut z = mixed
                .wrapping_add(*number)
                .wrapping_add(0x9E37_79B9_7F4A_7C15);
            z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            z ^ (z >> 31)
        });
        Self(Rng::with_seed(mixed))
    }

    /// From 0 up to, not including, 1.
    pub fn unit(&mut self) -> f64 {
        self.0.f64()
    }

    /// Of mean 0 and deviation 1 (Box & Muller 1958).
    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (TAU * self.unit()).cos()
    }

    /// Of median 1; `spread` is the standard deviation of its logarithm.
    pub fn factor(&mut self, spread: f64) -> f64 {
        (spread * self.normal()).exp()
    }

    pub fn share(&mut self, share: Share) -> f64 {
        let (ones, zeros) = (self.gamma(share.ones), self.gamma(share.zeros));
        let sum = ones + zeros;
        if sum > 0.0 { ones / sum } else { share.mean() }
    }

    /// Of this shape and scale 1.
    ///
    /// Marsaglia & Tsang, 'A simple method for generating gamma variables', ACM Transactions on Mathematical
    /// Software 26 (2000), with their step from a shape below 1 to one above; from memory.
    fn gamma(&mut self, shape: f64) -> f64 {
        if shape < 1.0 {
            let below = (1.0 - self.unit()).powf(1.0 / shape);
            return self.gamma(shape + 1.0) * below;
        }
        let d = shape - 1.0 / 3.0;
        let c = 1.0 / (9.0 * d).sqrt();
        loop {
            let x = self.normal();
            let v = (1.0 + c * x).powi(3);
            if v > 0.0 && (1.0 - self.unit()).ln() < 0.5 * x * x + d - d * v + d * v.ln() {
                return d * v;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moments(mut draw: impl FnMut(&mut Source) -> f64) -> (f64, f64) {
        let mut source = Source::of(&[1, 2]);
        let drawn: Vec<f64> = (0..100_000).map(|_| draw(&mut source)).collect();
        let mean = drawn.iter().sum::<f64>() / 100_000.0;
        let squares = drawn.iter().map(|x| (x - mean).powi(2)).sum::<f64>();
        (mean, (squares / 100_000.0).sqrt())
    }

    /// Beta of 9 and 1: mean 9 / 10, variance 9 x 1 / (10^2 x 11) = 0.00818, deviation 0.0905. Of 0.5 and
    /// 0.5: mean 1/2, variance 0.25 / (1 x 2) = 0.125, deviation 0.3536. The mean of 100 000 is off by
    /// 0.0011 at one deviation; 4 are allowed.
    #[test]
    fn shares_have_the_mean_and_spread_of_the_beta_distribution() {
        for (ones, zeros, mean, sd) in [(9.0, 1.0, 0.9, 0.0905), (0.5, 0.5, 0.5, 0.3536)] {
            let share = Share::after(ones, zeros);
            let (drawn, spread) = moments(|source| source.share(share));
            assert!((drawn - mean).abs() < 0.0045, "{drawn} is not {mean}");
            assert!((spread - sd).abs() < 0.002, "{spread} is not {sd}");
        }
        let (mean, sd) = moments(|source| source.share(Share::about(0.7, 0.04)));
        assert!((mean - 0.7).abs() < 0.001 && (sd - 0.04).abs() < 0.001);
    }

    /// The logarithm is normal: mean 0, deviation 0.2; so half of all are above 1, and one in six
    /// (15.9 of 100) above e^0.2.
    #[test]
    fn factors_have_their_median_at_one() {
        let (mean, sd) = moments(|source| source.factor(0.2).ln());
        assert!(mean.abs() < 0.003 && (sd - 0.2).abs() < 0.002);
        let (above, _) = moments(|source| f64::from(source.factor(0.2) > 0.2_f64.exp()));
        assert!((above - 0.159).abs() < 0.005, "{above}");
    }

    /// A certain share stays what it is, and other numbers give other draws.
    #[test]
    fn a_certain_share_is_drawn_as_it_is() {
        let (mean, sd) = moments(|source| source.share(Share::about(0.8, 0.0)));
        assert!((mean - 0.8).abs() < 1e-4 && sd < 2e-4);
        let first = |numbers: &[u64]| Source::of(numbers).unit().to_bits();
        assert_eq!(first(&[1, 2]), first(&[1, 2]));
        assert_ne!(first(&[1, 2]), first(&[2, 1]));
        assert_ne!(first(&[1, 2]), first(&[1, 3]));
    }
}
