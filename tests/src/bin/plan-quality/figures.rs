//! Figures for people, and what the kernel says of this process.

use std::fs;

/// By how many per cent of `known` a figure is over it.
#[expect(clippy::cast_precision_loss, reason = "a figure for people")]
pub fn over(figure: i64, known: i64) -> f64 {
    100.0 * (figure - known) as f64 / known.max(1) as f64
}

#[expect(clippy::cast_precision_loss, reason = "a figure for people")]
pub fn mean(figures: &[f64]) -> f64 {
    figures.iter().sum::<f64>() / figures.len().max(1) as f64
}

pub fn most(figures: &[f64]) -> f64 {
    figures.iter().copied().fold(0.0, f64::max)
}

/// A row of a Markdown table.
pub fn row(cells: &[String]) {
    println!("| {} |", cells.join(" | "));
}

/// The head of a Markdown table: the first column holds names, the others figures.
pub fn head(columns: &[&str]) {
    let figures = columns.iter().skip(1).map(|_| " ---: |");
    println!("| {} |", columns.join(" | "));
    println!("| --- |{}", figures.collect::<String>());
}

/// Processor time of this process so far, by the kernel's hundredths.
pub fn cpu_seconds() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let behind_name = stat.rsplit_once(')').map_or("", |(_, rest)| rest);
    let fields = behind_name.split_whitespace().skip(11).take(2);
    let hundredths = fields.filter_map(|field| field.parse::<f64>().ok());
    hundredths.sum::<f64>() / 100.0
}

/// Lets the kernel measure the peak of memory anew from here on, where it allows that; else the peak is the
/// whole process's.
pub fn forget_peak_memory() {
    // Since Linux 4.0; see proc(5), clear_refs.
    let _ = fs::write("/proc/self/clear_refs", "5");
}

/// The most memory that this process has held, in MiB.
pub fn peak_memory() -> Option<u64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    let kib: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib / 1024)
}
