//! How much room is left on the disk that holds the data.

use std::path::Path;

use crate::page::Notice;

/// Warns below 2 GB or a tenth of the disk, whichever comes first.
///
/// Common practice, no source: a copy of the data must still fit, and other programs fill disks faster
/// than this one.
pub fn notice(folder: &Path) -> Option<Notice> {
    let space = of(folder)?;
    space.is_short().then(|| {
        let left = tenths(space.free);
        let text = format!(
            "{left} GB of {} GB are free on the disk that holds the data. Remove or move away other \
             files: when it is full, nothing can be saved.",
            tenths(space.total)
        );
        Notice::waits("The disk is nearly full.", text)
    })
}

/// Room on the disk that holds the data, in megabytes; none where that cannot be asked.
pub fn free_mb(folder: &Path) -> Option<i64> {
    let space = of(folder)?;
    i64::try_from(space.free / 1_000_000).ok()
}

/// Room on a disk, in bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Space {
    free: u64,
    total: u64,
}

const GB: u64 = 1_000_000_000;

impl Space {
    fn is_short(self) -> bool {
        self.free < 2 * GB || self.free < self.total / 10
    }
}

/// What an ordinary account may still write there.
#[cfg(unix)]
fn of(folder: &Path) -> Option<Space> {
    let found = rustix::fs::statvfs(folder).ok()?;
    Some(Space {
        free: found.f_bavail.saturating_mul(found.f_frsize),
        total: found.f_blocks.saturating_mul(found.f_frsize),
    })
}

#[cfg(not(unix))]
fn of(_: &Path) -> Option<Space> {
    None
}

/// Rounded down, with one decimal.
fn tenths(bytes: u64) -> String {
    let tenths = bytes / (GB / 10);
    format!("{}.{}", tenths / 10, tenths % 10)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of 16 GB: 2 GB are both limits' edge and enough; 1.9 GB are too little. Of 500 GB a tenth is 50.
    #[test]
    fn both_limits_warn() {
        let space = |free, total| Space { free, total };
        assert!(!space(2 * GB, 16 * GB).is_short());
        assert!(space(2 * GB - 1, 16 * GB).is_short());
        assert!(space(49 * GB, 500 * GB).is_short());
        assert!(!space(50 * GB, 500 * GB).is_short());
        assert_eq!(tenths(1_999_999_999), "1.9");
    }

    /// The same figure as `df` gives: `df -B1 --output=size /`, to the byte.
    #[cfg(target_os = "linux")]
    #[test]
    fn the_size_is_what_df_says() {
        let told = std::process::Command::new("df")
            .args(["-B1", "--output=size", "/"])
            .output()
            .expect("df runs");
        let told = String::from_utf8_lossy(&told.stdout).into_owned();
        let size = told.lines().last().expect("a figure").trim().to_owned();
        let found = of(Path::new("/")).expect("a disk");
        assert_eq!(found.total.to_string(), size);
        assert!(found.free <= found.total);
    }
}
