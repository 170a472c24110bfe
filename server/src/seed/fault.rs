//! What is wrong with the seed files, and where.

use std::cell::RefCell;
use std::fmt;

/// One fault: where it is, and what is wrong there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeedFault {
    /// The file.
    pub file: String,
    /// The line, from 1; none if the fault is that something is missing from the file as a whole.
    pub line: Option<u64>,
    /// The column of a CSV file, or the key of a TOML file.
    pub column: Option<String>,
    /// What was given, what is allowed.
    pub what: String,
}

impl fmt::Display for SeedFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(line) = self.line {
            write!(f, ", line {line}")?;
        }
        if let Some(column) = &self.column {
            write!(f, ", {column}")?;
        }
        write!(f, ": {}", self.what)
    }
}

/// The faults found so far; every reader adds to the same list, so that all are told at once.
#[derive(Debug, Default)]
pub(crate) struct Faults(RefCell<Vec<SeedFault>>);

impl Faults {
    pub(crate) fn add(&self, fault: SeedFault) {
        self.0.borrow_mut().push(fault);
    }

    /// A fault of a file as a whole.
    pub(crate) fn in_file(&self, file: &str, what: impl fmt::Display) {
        self.add(SeedFault {
            file: file.to_owned(),
            line: None,
            column: None,
            what: what.to_string(),
        });
    }

    pub(crate) fn in_line(&self, file: &str, line: u64, what: impl fmt::Display) {
        self.add(SeedFault {
            file: file.to_owned(),
            line: Some(line),
            column: None,
            what: what.to_string(),
        });
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.0.borrow().is_empty()
    }

    /// All of them, by file and line.
    pub(crate) fn into_sorted(self) -> Vec<SeedFault> {
        let mut faults = self.0.into_inner();
        faults.sort_by(|a, b| (&a.file, a.line).cmp(&(&b.file, b.line)));
        faults
    }
}
