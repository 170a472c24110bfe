//! The form with files, and the reason for taking one off.

use axum::extract::Multipart;
use axum::extract::multipart::{MultipartError, MultipartRejection};
use axum::http::StatusCode;
use serde::Deserialize;

use crate::error::AppError;
use crate::form::{FieldErrors, optional_text, text};

/// Files of one form.
pub const FILES_MAX: usize = 10;

/// What was sent.
#[derive(Debug, Default)]
pub struct AddForm {
    pub caption: String,
    pub files: Vec<SentFile>,
}

#[derive(Debug)]
pub struct SentFile {
    /// Cleaned: shown, and used for nothing else.
    pub name: String,
    pub bytes: Vec<u8>,
}

impl AddForm {
    pub async fn read(sent: Result<Multipart, MultipartRejection>) -> Result<AddForm, AppError> {
        let mut sent = sent.map_err(|_| AppError::Unreadable {
            status: StatusCode::UNSUPPORTED_MEDIA_TYPE,
            detail: "this address takes a form with files, sent as multipart/form-data".to_owned(),
        })?;
        let mut form = AddForm::default();
        while let Some(field) = sent.next_field().await.map_err(broken)? {
            match field.name() {
                Some("caption") => form.caption = field.text().await.map_err(broken)?,
                Some("files") => {
                    let name = clean_name(field.file_name().unwrap_or_default());
                    let bytes = field.bytes().await.map_err(broken)?.to_vec();
                    form.files.push(SentFile { name, bytes });
                }
                _ => {}
            }
        }
        // A form whose file field was left alone sends one file without name and content.
        form.files
            .retain(|file| !(file.bytes.is_empty() && file.name == NAMELESS));
        Ok(form)
    }

    /// The caption; it may be empty.
    pub fn parse(&self) -> Result<String, FieldErrors> {
        let mut errors = FieldErrors::default();
        if self.files.is_empty() {
            errors.add("files", "choose a photo or a PDF file first");
        }
        if self.files.len() > FILES_MAX {
            let text = format!(
                "{} files are too many at once; choose at most {FILES_MAX}",
                self.files.len()
            );
            errors.add("files", text);
        }
        let caption = errors.check("caption", optional_text(&self.caption, 200));
        match caption {
            Some(caption) if errors.is_empty() => Ok(caption.unwrap_or_default()),
            _ => Err(errors),
        }
    }
}

pub fn broken(_: MultipartError) -> AppError {
    AppError::Unreadable {
        status: StatusCode::BAD_REQUEST,
        detail: "the form with files cannot be read".to_owned(),
    }
}

pub const NAMELESS: &str = "no name";

const NAME_MAX: usize = 100;

/// A file's name without folders, control and direction marks, at most 100 characters long.
pub fn clean_name(sent: &str) -> String {
    let last = sent.rsplit(['/', '\\']).next().unwrap_or_default();
    let shown: String = last.chars().filter(|letter| !is_unseen(*letter)).collect();
    let words: Vec<&str> = shown.split_whitespace().collect();
    let name: String = words.join(" ").chars().take(NAME_MAX).collect();
    match name.trim() {
        "" => NAMELESS.to_owned(),
        name => name.to_owned(),
    }
}

/// Letters that show as nothing, or turn the text around them: a name must look as it is.
fn is_unseen(letter: char) -> bool {
    (letter.is_control() && !letter.is_whitespace())
        || matches!(letter, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}')
}

/// Why a photo or paper is taken off.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct TakeOffForm {
    pub reason: String,
}

impl TakeOffForm {
    pub fn parse(&self) -> Result<String, FieldErrors> {
        let mut errors = FieldErrors::default();
        errors
            .check("reason", text(&self.reason, 200))
            .ok_or(errors)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_cleaned_of_all_that_is_not_name() {
        for (sent, shown) in [
            ("IMG_2034.jpg", "IMG_2034.jpg"),
            ("/etc/passwd", "passwd"),
            ("C:\\photos\\pump.jpg", "pump.jpg"),
            ("../../pump.jpg", "pump.jpg"),
            ("a\tb\r\n\0c.jpg", "a b c.jpg"),
            // A right-to-left mark would show 'gpj.exe' as 'exe.jpg'.
            ("pump\u{202e}gpj.exe", "pumpgpj.exe"),
            ("Насос \"один\".jpg", "Насос \"один\".jpg"),
            ("", "no name"),
            ("folder/", "no name"),
            ("\u{feff}\u{200b}", "no name"),
        ] {
            assert_eq!(clean_name(sent), shown, "{sent:?}");
        }
        assert_eq!(clean_name(&"ü".repeat(300)).chars().count(), 100);
    }
}
