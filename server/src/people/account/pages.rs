use askama::Template;
use mendpost_core::people::{Act, Role, may};

use crate::form::FieldErrors;
use crate::page::Layout;
use crate::people::codes::Code;
use crate::people::device;
use crate::people::session::Open;

#[derive(Template)]
#[template(path = "people/account.html")]
pub struct AccountPage {
    pub page: Layout,
    pub name: String,
    pub number: i64,
    pub role: Role,
    pub sessions: Vec<SessionRow>,
    /// Unused recovery codes.
    pub codes_left: i64,
    pub errors: FieldErrors,
    pub demonstration: bool,
}

impl AccountPage {
    fn answer(&self) -> (&'static str, String) {
        let sessions = match self.sessions.len() {
            1 => "One session is open".to_owned(),
            many => format!("{many} sessions are open"),
        };
        if !self.demonstration && self.codes_left == 0 {
            let why = "None is left: if the passphrase is lost, only a lead can let you in again.";
            return ("Make recovery codes.", why.to_owned());
        }
        if self.sessions.len() > 1 {
            return ("End what you do not use.", format!("{sessions}."));
        }
        if self.demonstration {
            return ("Leave it so.", format!("{sessions}."));
        }
        let codes = codes(self.codes_left);
        ("Leave it so.", format!("{sessions}, and {codes} left."))
    }

    fn acts(&self) -> String {
        let mine: Vec<String> = Act::ALL
            .iter()
            .filter(|act| may(self.role, **act))
            .map(ToString::to_string)
            .collect();
        mine.join(", ")
    }

    /// Whether making codes is the next act.
    fn no_codes(&self) -> bool {
        self.codes_left == 0
    }

    fn codes_line(&self) -> String {
        match self.codes_left {
            0 => "No recovery code is left.".to_owned(),
            left => {
                let codes = codes(left);
                let capital = codes.chars().next().map(|first| first.to_ascii_uppercase());
                let rest = codes.chars().skip(1);
                let line: String = capital.into_iter().chain(rest).collect();
                format!("{line} left.")
            }
        }
    }
}

/// The page that is shown once.
#[derive(Template)]
#[template(path = "people/recovery-codes.html")]
pub struct RecoveryCodesPage {
    pub page: Layout,
    pub name: String,
    pub codes: Vec<Code>,
}

/// A session on a page.
pub struct SessionRow {
    /// The hash that the database holds, in hexadecimal figures.
    pub key: String,
    pub device: String,
    pub since: i64,
    pub last_used: i64,
    /// The one that the page was asked for in.
    pub this: bool,
}

/// Sessions as rows; `this` is the key of the one in front of the page, which comes first.
pub fn rows(open: Vec<Open>, this: &[u8]) -> Vec<SessionRow> {
    let row = |open: Open| SessionRow {
        this: open.key == this,
        key: hex(&open.key),
        device: device::words(&open.user_agent),
        since: open.since,
        last_used: open.last_used,
    };
    let mut rows: Vec<SessionRow> = open.into_iter().map(row).collect();
    rows.sort_by_key(|row| !row.this);
    rows
}

fn codes(left: i64) -> String {
    match left {
        1 => "one recovery code is".to_owned(),
        many => format!("{many} recovery codes are"),
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
