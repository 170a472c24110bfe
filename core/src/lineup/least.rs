/// The least whole number above `short` that is enough, by halves; `enough` is, and more than enough always is.
pub(super) fn least(short: i64, enough: i64, is_enough: impl Fn(i64) -> bool) -> i64 {
    let (mut short, mut enough) = (short, enough);
    while enough - short > 1 {
        let middle = short + (enough - short) / 2;
        if is_enough(middle) {
            enough = middle;
        } else {
            short = middle;
        }
    }
    enough
}
