/// The orders looked at already, to tell such as have done the same as another and have nothing ready sooner.
///
/// A table of chains, each entry behind others whose keys fall into the same place.
pub(super) struct Memo {
    /// The first entry of each chain.
    heads: Vec<u32>,
    entries: Vec<Entry>,
    times: Vec<i32>,
}

/// What an order has done, as numbers that differ if that differs: by job, and of all supplies together.
pub(super) type Key = (u128, u64);

struct Entry {
    key: Key,
    next: u32,
    /// Where its times begin, and how many they are.
    from: usize,
    count: usize,
}

const NONE: u32 = u32::MAX;
const HEADS: usize = 1 << 20;
/// So many orders, and times of them, are remembered at most, so that memory suffices.
const ENTRIES: usize = 1_000_000;
const MOST: usize = 15_000_000;

impl Default for Memo {
    fn default() -> Self {
        Self {
            heads: vec![NONE; HEADS],
            entries: Vec::new(),
            times: Vec::new(),
        }
    }
}

impl Memo {
    /// Forgets everything.
    pub fn clear(&mut self) {
        for entry in self.entries.drain(..) {
            self.heads[place(entry.key)] = NONE;
        }
        self.times.clear();
    }

    /// Whether no order seen before has done the same and has everything ready no later; if so this one is
    /// remembered.
    pub fn is_new(&mut self, key: Key, times: &[i32]) -> bool {
        let head = place(key);
        let mut at = self.heads[head];
        while at != NONE {
            let entry = &mut self.entries[usize::try_from(at).unwrap_or(0)];
            if entry.key == key {
                let seen = &mut self.times[entry.from..entry.from + entry.count];
                if no_later(seen, times) {
                    return false;
                }
                if no_later(times, seen) {
                    seen.copy_from_slice(times);
                    return true;
                }
            }
            at = entry.next;
        }
        if self.entries.len() < ENTRIES && self.times.len() + times.len() <= MOST {
            self.entries.push(Entry {
                key,
                next: self.heads[head],
                from: self.times.len(),
                count: times.len(),
            });
            self.heads[head] = u32::try_from(self.entries.len() - 1).unwrap_or(NONE);
            self.times.extend_from_slice(times);
        }
        true
    }
}

fn no_later(a: &[i32], b: &[i32]) -> bool {
    a.iter().zip(b).all(|(a, b)| a <= b)
}

/// One of `HEADS` places, the same for the same key.
fn place((key, rest): Key) -> usize {
    let spread = (key ^ u128::from(rest)).wrapping_mul(0x9E37_79B9_7F4A_7C15_F39C_C060_5CED_C835);
    usize::try_from(spread >> 108).unwrap_or(0)
}
