use askama::Template;
use mendpost_core::people::Role;

use super::Signature;
use crate::form::FieldErrors;
use crate::page::Layout;

/// What a form asks of who signs.
#[derive(Debug, Clone)]
pub struct Ask {
    /// The words that are signed.
    pub statement: &'static str,
    pub name: String,
    pub role: Role,
    pub secret: Secret,
    /// What was wrong with the last try; empty if nothing was.
    pub error: String,
}

/// By what who signs shows who they are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Secret {
    /// The demonstration asks for nothing.
    Nothing,
    Passphrase,
    PinOrPassphrase,
}

/// A person's PIN on this device.
#[derive(Template)]
#[template(path = "signature/pin.html")]
pub(super) struct PinPage {
    pub page: Layout,
    /// When it was set; none if there is none.
    pub made: Option<i64>,
    /// Too many wrong tries.
    pub dead: bool,
    pub demonstration: bool,
    pub errors: FieldErrors,
}

/// Everything that waits for a further signature.
#[derive(Template)]
#[template(path = "signature/list.html")]
pub(super) struct ListPage {
    pub page: Layout,
    pub rows: Vec<Row>,
}

pub(super) struct Row {
    pub path: String,
    pub act: String,
    pub by: String,
    pub since_ms: i64,
}

/// One thing that several people sign.
#[derive(Template)]
#[template(path = "signature/one.html")]
pub(super) struct OnePage {
    pub page: Layout,
    pub answer: String,
    pub reason: String,
    pub path: String,
    pub pairs: Vec<(&'static str, String)>,
    pub subject_path: String,
    pub signatures: Vec<Signature>,
    pub form: Form,
    pub may_withdraw: bool,
    pub errors: FieldErrors,
}

/// Who may sign at this page now.
pub(super) enum Form {
    /// It is done or withdrawn.
    None,
    /// The person who is signed in.
    Own(Ask),
    /// Somebody else, by name: the person who is signed in has signed, or may not.
    Other {
        statement: &'static str,
        name: String,
        demonstration: bool,
        why: String,
    },
}
