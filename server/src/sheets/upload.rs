//! The form that sends sheets: as files to look at what they would do, or as the text that was looked at.

use std::collections::BTreeMap;

use axum::extract::Multipart;
use axum::extract::multipart::MultipartRejection;
use axum::http::StatusCode;
use sha2::{Digest, Sha256};

use super::kind::Kind;
use crate::attachment::broken;
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::seed::SeedFiles;

/// What was sent.
#[derive(Debug, Default)]
pub struct Upload {
    /// By the sheet's own file name, whatever the sender called it. UTF-8 text has no byte order mark and
    /// single line feeds, so that it is the same after a browser has sent it back.
    files: SeedFiles,
    /// SHA-256 of each sheet's text, by file.
    hashes: BTreeMap<&'static str, String>,
    /// Of the sheets as they are kept, not as they came: a browser sends each line end as two.
    bytes: usize,
    workbook: Option<&'static str>,
    /// What was shown, as the preview's form sends it back.
    pub shown: String,
    /// Why something asks for less from now on.
    pub reason: String,
}

impl Upload {
    pub async fn read(
        kind: Kind,
        sent: Result<Multipart, MultipartRejection>,
    ) -> Result<Upload, AppError> {
        let mut sent = sent.map_err(|_| AppError::Unreadable {
            status: StatusCode::UNSUPPORTED_MEDIA_TYPE,
            detail: "this address takes a form with files, sent as multipart/form-data".to_owned(),
        })?;
        let mut upload = Upload::default();
        while let Some(field) = sent.next_field().await.map_err(broken)? {
            let name = field.name().unwrap_or_default().to_owned();
            if name == "shown" {
                upload.shown = field.text().await.map_err(broken)?;
            } else if name == "reason" {
                upload.reason = field.text().await.map_err(broken)?;
            } else if let Some(sheet) = kind.sheets().iter().find(|s| field_name(s.file) == name) {
                let is_file_left_out = field.file_name() == Some("");
                let bytes = field.bytes().await.map_err(broken)?;
                if !(is_file_left_out && bytes.is_empty()) {
                    upload.take(sheet.file, &bytes);
                }
            }
        }
        Ok(upload)
    }

    fn take(&mut self, file: &'static str, bytes: &[u8]) {
        if WORKBOOKS.iter().any(|start| bytes.starts_with(start)) {
            self.workbook = Some(file);
        }
        let kept = match std::str::from_utf8(bytes) {
            Ok(text) => {
                let text = text.strip_prefix('\u{feff}').unwrap_or(text);
                let text = text.replace("\r\n", "\n").replace('\r', "\n");
                text.into_bytes()
            }
            Err(_) => bytes.to_vec(),
        };
        self.bytes += kept.len();
        self.hashes.insert(file, hex(&Sha256::digest(&kept)));
        self.files.set(file, kept);
    }

    /// What is wrong before anything is read of it.
    pub fn check(&self, kind: Kind) -> FieldErrors {
        let mut errors = FieldErrors::default();
        let first = kind.sheets()[0].file;
        if self.files.iter().next().is_none() {
            errors.add(field_name(first), "choose a file first");
        }
        if let Some(file) = self.workbook {
            errors.add(
                field_name(file),
                "this is a workbook; save its sheet as CSV with the character set UTF-8, and send that",
            );
        }
        if self.bytes > BYTES_MAX {
            let given = self.bytes.div_ceil(1024);
            errors.add(
                field_name(first),
                format!(
                    "{given} KiB are too much at once; send at most 1024 KiB, in several parts"
                ),
            );
        }
        errors
    }

    pub fn files(&self) -> &SeedFiles {
        &self.files
    }

    /// Field and text of each sheet, for the preview's form.
    pub fn texts(&self) -> Vec<(&'static str, String)> {
        let known = Kind::ALL.iter().flat_map(|kind| kind.sheets());
        known
            .filter_map(|sheet| Some((field_name(sheet.file), self.files.text(sheet.file)?)))
            .collect()
    }

    /// SHA-256 of each sheet's text, by file.
    pub const fn hashes(&self) -> &BTreeMap<&'static str, String> {
        &self.hashes
    }

    /// Hash and text of each sheet.
    pub fn by_hash(&self) -> impl Iterator<Item = (&str, String)> {
        let hashes = self.hashes.iter();
        hashes.filter_map(|(file, hash)| Some((hash.as_str(), self.files.text(file)?)))
    }
}

/// The field of a form by which a sheet is sent.
pub fn field_name(file: &'static str) -> &'static str {
    file.strip_suffix(".csv").unwrap_or(file)
}

pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

const BYTES_MAX: usize = 1 << 20;

/// How the files of spreadsheet programs begin: a ZIP archive (ECMA-376, ISO/IEC 26300), or the compound
/// file of older ones (MS-CFB).
const WORKBOOKS: [&[u8]; 2] = [b"PK\x03\x04", b"\xd0\xcf\x11\xe0"];
