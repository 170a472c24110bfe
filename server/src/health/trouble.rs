use axum::http::StatusCode;

/// Why a statement failed, when the reason is the disk or another program, not the statement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trouble {
    Full,
    WriteProtected,
    /// The disk answered with an error.
    Failing,
    Damaged,
    CannotOpen,
    Locked,
}

impl Trouble {
    /// What SQLite's result code means; none when it is no trouble of this sort.
    ///
    /// Source: SQLite, 'Result and Error Codes' (rescode.html): the low byte of an extended code is
    /// the primary one.
    pub fn of(error: &sqlx::Error) -> Option<Trouble> {
        let code: u32 = error.as_database_error()?.code()?.parse().ok()?;
        match code & 0xff {
            5 | 6 => Some(Trouble::Locked),
            8 => Some(Trouble::WriteProtected),
            10 => Some(Trouble::Failing),
            11 | 26 => Some(Trouble::Damaged),
            13 => Some(Trouble::Full),
            14 => Some(Trouble::CannotOpen),
            _ => None,
        }
    }

    /// A sentence.
    pub fn what(self) -> &'static str {
        match self {
            Trouble::Full => "The disk that holds the data is full.",
            Trouble::WriteProtected => "The data are write-protected.",
            Trouble::Failing => "The disk that holds the data answered with an error.",
            Trouble::Damaged => "The database is damaged.",
            Trouble::CannotOpen => "A file of the database cannot be opened.",
            Trouble::Locked => "Another program holds the database.",
        }
    }

    /// Sentences that say what to do.
    pub fn remedy(self) -> &'static str {
        match self {
            Trouble::Full => "Remove or move away other files on that disk, then do it again.",
            Trouble::WriteProtected => {
                "Make the data folder and the files in it writable for the account that runs \
                 Mendpost, then do it again."
            }
            Trouble::Failing => {
                "Make a copy on another disk now, with: mendpost backup --data DIR --to FOLDER. Then \
                 have this disk looked at."
            }
            Trouble::Damaged => {
                "Stop the service and restore the newest good copy, with: mendpost restore --data DIR \
                 --from FILE --replace. The Backup page lists the copies."
            }
            Trouble::CannotOpen => {
                "See that the data folder is still there and that the account that runs Mendpost may \
                 use it, then do it again."
            }
            Trouble::Locked => "Close that program, then do it again.",
        }
    }

    /// What is certain of the change that ran into it.
    pub fn outcome(self) -> &'static str {
        match self {
            // The error may have come after the last byte was written.
            Trouble::Failing => {
                "If this was to change something, look whether it was done before you repeat it."
            }
            _ => "Nothing was changed.",
        }
    }

    pub fn status(self) -> StatusCode {
        match self {
            Trouble::Full => StatusCode::INSUFFICIENT_STORAGE,
            _ => StatusCode::SERVICE_UNAVAILABLE,
        }
    }
}
