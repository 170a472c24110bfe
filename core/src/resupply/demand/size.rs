//! How much one failure takes, on a lattice.

use crate::gas::range::whole_up;
use statrs::function::gamma::gamma_lr;

/// Chances of 0, 1, 2 ... steps for a size of the mean and standard deviation given, in steps.
///
/// Without a spread it is that size, rounded up. Else it is a gamma distribution, on the lattice so that its
/// mean stays the same (local moment matching; Gerber 1982, from memory): the chance of n steps is
/// `2 L(n) - L(n - 1) - L(n + 1)`, with L(d) the mean of the size cut off at d.
pub(super) fn chances(mean: f64, sd: f64) -> Vec<f64> {
    if sd <= 0.0 {
        let steps = usize::try_from(whole_up(mean)).unwrap_or(0);
        let mut chances = vec![0.0; steps + 1];
        chances[steps] = 1.0;
        return chances;
    }
    let shape = (mean / sd).powi(2);
    let scale = mean / shape;
    let cut = |d: f64| {
        let x = d / scale;
        mean * gamma_lr(shape + 1.0, x) + d * (1.0 - gamma_lr(shape, x))
    };
    let (mut before, mut at, mut n) = (0.0, 0.0, 0.0);
    let mut chances = Vec::new();
    // What lies beyond the last step belongs to it.
    let far = mean + 40.0 * (sd + scale);
    while mean - at > 1e-12 * mean && n <= far {
        let next = cut(n + 1.0);
        let chance = if n == 0.0 {
            1.0 - next
        } else {
            2.0 * at - before - next
        };
        chances.push(chance.max(0.0));
        (before, at, n) = (at, next, n + 1.0);
    }
    let sum: f64 = chances.iter().sum();
    chances.push((1.0 - sum).max(0.0));
    chances
}
