//! The form that gives a part its STL file.

use axum::extract::Multipart;
use axum::extract::multipart::MultipartRejection;
use axum::http::StatusCode;
use mendpost_core::shape::Unit;

use crate::attachment::{NAMELESS, broken, clean_name};
use crate::error::AppError;
use crate::form::{FieldErrors, choice, decimal};

/// What was sent.
#[derive(Debug)]
pub struct ShapeForm {
    pub unit: String,
    pub allowance: String,
    /// Name, cleaned, and bytes.
    pub file: Option<(String, Vec<u8>)>,
}

impl Default for ShapeForm {
    fn default() -> Self {
        ShapeForm {
            unit: String::new(),
            allowance: "1".to_owned(),
            file: None,
        }
    }
}

impl ShapeForm {
    pub async fn read(sent: Result<Multipart, MultipartRejection>) -> Result<ShapeForm, AppError> {
        let mut sent = sent.map_err(|_| AppError::Unreadable {
            status: StatusCode::UNSUPPORTED_MEDIA_TYPE,
            detail: "this address takes a form with a file, sent as multipart/form-data".to_owned(),
        })?;
        let mut form = ShapeForm::default();
        while let Some(field) = sent.next_field().await.map_err(broken)? {
            match field.name() {
                Some("unit") => form.unit = field.text().await.map_err(broken)?,
                Some("allowance") => form.allowance = field.text().await.map_err(broken)?,
                Some("files") => {
                    let name = clean_name(field.file_name().unwrap_or_default());
                    let bytes = field.bytes().await.map_err(broken)?.to_vec();
                    form.file = Some((name, bytes));
                }
                _ => {}
            }
        }
        // A form whose file field was left alone sends one file without name and content.
        form.file = form
            .file
            .filter(|(name, bytes)| !(bytes.is_empty() && name == NAMELESS));
        Ok(form)
    }

    /// Unit, and allowance in micrometres.
    pub fn parse(&self) -> Result<(Unit, i64), FieldErrors> {
        let mut errors = FieldErrors::default();
        if self.file.is_none() {
            errors.add("files", "choose the part’s STL file first");
        }
        let unit = if self.unit.is_empty() {
            errors.add("unit", "choose the unit: the file does not say");
            None
        } else {
            errors.check("unit", choice::<Unit>(&self.unit))
        };
        let allowance = decimal(&self.allowance, 3, 0..=ALLOWANCE_MAX_UM);
        let allowance = errors.check("allowance", allowance);
        match unit.zip(allowance) {
            Some(given) if errors.is_empty() => Ok(given),
            _ => Err(errors),
        }
    }
}

const ALLOWANCE_MAX_UM: i64 = 20_000;
