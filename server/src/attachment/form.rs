//! The form with files, and the reason for taking one off.

use axum::extract::multipart::{MultipartError, MultipartRejection};
use axum::extract::{FromRequest, Multipart, Request};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

use crate::error::AppError;
use crate::form::{FieldErrors, Posted, optional_text, text};

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
    /// The field of the form that it was chosen in.
    pub field: String,
    /// Cleaned: shown, and used for nothing else.
    pub name: String,
    pub bytes: Vec<u8>,
}

impl AddForm {
    pub async fn read(sent: Result<Multipart, MultipartRejection>) -> Result<AddForm, AppError> {
        let sent = sent.map_err(|_| AppError::Unreadable {
            status: StatusCode::UNSUPPORTED_MEDIA_TYPE,
            detail: "this address takes a form with files, sent as multipart/form-data".to_owned(),
        })?;
        let (mut fields, files) = parts(sent).await?;
        let caption = match fields.remove("caption") {
            Some(Value::String(caption)) => caption,
            _ => String::new(),
        };
        Ok(AddForm { caption, files })
    }

    /// The caption; it may be empty.
    pub fn parse(&self) -> Result<String, FieldErrors> {
        let mut errors = FieldErrors::default();
        if self.files.is_empty() {
            errors.add("files", "choose a photo or a PDF file first");
        }
        if let Some(text) = too_many(&self.files) {
            errors.add("files", text);
        }
        let caption = errors.check("caption", optional_text(&self.caption, 200));
        match caption {
            Some(caption) if errors.is_empty() => Ok(caption.unwrap_or_default()),
            _ => Err(errors),
        }
    }
}

/// A form of single fields to which photos or papers may be added, each in the field `files` or that of a section.
/// One sent
/// without files by a program, as an ordinary form, is the same.
pub struct WithFiles<T> {
    pub form: T,
    pub files: Vec<SentFile>,
}

impl<T, S> FromRequest<S> for WithFiles<T>
where
    T: DeserializeOwned,
    S: Send + Sync,
{
    type Rejection = AppError;

    async fn from_request(request: Request, state: &S) -> Result<Self, AppError> {
        let media_type = request.headers().get(CONTENT_TYPE);
        let has_files = media_type.is_some_and(|kind| kind.as_bytes().starts_with(MULTIPART));
        if !has_files {
            let Posted(form) = Posted::from_request(request, state).await?;
            let files = Vec::new();
            return Ok(WithFiles { form, files });
        }
        let sent = Multipart::from_request(request, state).await;
        let sent = sent.map_err(|_| unreadable())?;
        let (fields, files) = parts(sent).await?;
        let form = serde_json::from_value(Value::Object(fields)).map_err(|_| unreadable())?;
        Ok(WithFiles { form, files })
    }
}

const MULTIPART: &[u8] = b"multipart/form-data";

/// The fields of a form, the last of each name, and its files.
async fn parts(mut sent: Multipart) -> Result<(Map<String, Value>, Vec<SentFile>), AppError> {
    let (mut fields, mut files) = (Map::new(), Vec::new());
    while let Some(field) = sent.next_field().await.map_err(broken)? {
        match field.name().map(str::to_owned) {
            Some(at) if is_files(&at) => {
                let name = clean_name(field.file_name().unwrap_or_default());
                let bytes = field.bytes().await.map_err(broken)?.to_vec();
                let field = at;
                files.push(SentFile { field, name, bytes });
            }
            Some(name) => {
                let text = field.text().await.map_err(broken)?;
                fields.insert(name, Value::String(text));
            }
            None => {}
        }
    }
    // A form whose file field was left alone sends one file without name and content.
    files.retain(|file| !(file.bytes.is_empty() && file.name == NAMELESS));
    Ok((fields, files))
}

/// Whether a field holds files: 'files', or that of a section, as `l0_files`.
fn is_files(field: &str) -> bool {
    field == "files" || field.ends_with("_files")
}

/// What is wrong with sending so many files at once.
pub fn too_many(files: &[SentFile]) -> Option<String> {
    (files.len() > FILES_MAX).then(|| {
        format!(
            "{} files are too many at once; choose at most {FILES_MAX}",
            files.len()
        )
    })
}

fn unreadable() -> AppError {
    AppError::Unreadable {
        status: StatusCode::BAD_REQUEST,
        detail: "the form with files cannot be read".to_owned(),
    }
}

pub fn broken(_: MultipartError) -> AppError {
    unreadable()
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
