//! The text of a CSV file as records: what parts its cells, and on which line of the spreadsheet each
//! record stands.

use super::guard;
use csv::{ReaderBuilder, StringRecord};

/// What parts the cells of a file, told by its header line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Separator {
    Comma,
    /// As spreadsheet programs save where decimals have a comma.
    Semicolon,
    Tab,
}

impl Separator {
    const ALL: [Separator; 3] = [Separator::Comma, Separator::Semicolon, Separator::Tab];

    pub(crate) const fn character(self) -> char {
        match self {
            Separator::Comma => ',',
            Separator::Semicolon => ';',
            Separator::Tab => '\t',
        }
    }

    pub(crate) const fn word(self) -> &'static str {
        match self {
            Separator::Comma => "comma",
            Separator::Semicolon => "semicolon",
            Separator::Tab => "tab",
        }
    }

    /// What parts the decimals of a figure in such a file.
    pub(crate) const fn decimal_mark(self) -> char {
        match self {
            Separator::Comma | Separator::Tab => '.',
            Separator::Semicolon => ',',
        }
    }

    /// By which the header line is parted most often; a comma if by none.
    fn of(text: &str) -> Separator {
        let header = text
            .lines()
            .map(|line| line.trim_start_matches('"').trim())
            .find(|line| !line.is_empty() && !line.starts_with('#'))
            .unwrap_or_default();
        let count = |separator: &Separator| header.matches(separator.character()).count();
        // The last of equals would win: a comma must.
        let found = Separator::ALL.into_iter().rev().max_by_key(count);
        found.unwrap_or(Separator::Comma)
    }
}

/// A record and its line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Record {
    pub(crate) line: u64,
    pub(crate) cells: Vec<String>,
}

/// The records of a text, without remarks (a first cell that begins with `#`) and without rows in which
/// nothing is given. Cells are trimmed and bare of guards.
///
/// The line is the one that a spreadsheet program shows: a line break within a cell begins no line.
pub(crate) fn records(text: &str) -> (Separator, Vec<Record>) {
    // One kind of line end, and one at the end, so that lines can be counted by them.
    let text = text.replace("\r\n", "\n").replace('\r', "\n") + "\n";
    let separator = Separator::of(&text);
    let delimiter = u8::try_from(separator.character()).unwrap_or(b',');
    let mut reader = ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes());
    let mut records = Vec::new();
    let mut record = StringRecord::new();
    let mut breaks_within = 0;
    while reader.read_record(&mut record).is_ok_and(|more| more) {
        let breaks: usize = record.iter().map(|cell| cell.matches('\n').count()).sum();
        breaks_within += u64::try_from(breaks).unwrap_or_default();
        let cells: Vec<String> = record
            .iter()
            .map(|cell| guard::take_off(cell.trim()).to_owned())
            .collect();
        let is_remark = cells.first().is_some_and(|cell| cell.starts_with('#'));
        if !is_remark && cells.iter().any(|cell| !cell.is_empty()) {
            // After a record the reader stands on the line behind it.
            let line = reader.position().line() - 1 - breaks_within;
            records.push(Record { line, cells });
        }
    }
    (separator, records)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(text: &str) -> Vec<(u64, Vec<String>)> {
        let (_, records) = records(text);
        records.into_iter().map(|r| (r.line, r.cells)).collect()
    }

    /// Remark on line 1, header on 2, nothing on 3, a row on 4, a cell of two lines on 5, a row on 6: as
    /// a spreadsheet program numbers them, with any line end.
    #[test]
    fn lines_are_those_of_the_spreadsheet() {
        let text = "# a, remark\ncode,name\n,\nA,one\nB,\"two\nlines\"\nC,three";
        let expected: Vec<(u64, Vec<String>)> = [
            (2, ["code", "name"]),
            (4, ["A", "one"]),
            (5, ["B", "two\nlines"]),
            (6, ["C", "three"]),
        ]
        .map(|(line, cells)| (line, cells.map(str::to_owned).to_vec()))
        .to_vec();
        for end in ["\n", "\r\n", "\r"] {
            assert_eq!(lines(&text.replace('\n', end)), expected, "{end:?}");
        }
        assert_eq!(lines(""), []);
    }

    /// A spreadsheet program puts a remark with a comma in it between quotes.
    #[test]
    fn a_quoted_remark_is_one_too() {
        assert_eq!(lines("\"# a, remark\",\ncode,name\n")[0].0, 2);
    }

    #[test]
    fn the_header_tells_what_parts_the_cells() {
        for (text, separator) in [
            ("code,name\nA,b;c;d;e\n", Separator::Comma),
            ("code;name\nA;1,5\n", Separator::Semicolon),
            ("# a, b, c\n\"code\";\"name\"\n", Separator::Semicolon),
            ("code\tname\n", Separator::Tab),
            ("code\n", Separator::Comma),
            ("", Separator::Comma),
        ] {
            assert_eq!(records(text).0, separator, "{text}");
        }
    }
}
