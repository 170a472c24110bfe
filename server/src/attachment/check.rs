//! What a sent file is, judged by its bytes alone, and what is wrong with it.

use std::fmt;

use sha2::{Digest, Sha256};
use thiserror::Error;

use super::{paper, picture};

/// The most bytes of one file as sent.
pub const FILE_LIMIT: usize = 10 * 1024 * 1024;

/// A photo or paper as it will be stored: made anew from what was sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ready {
    pub hash: AttachmentHash,
    pub bytes: Vec<u8>,
    pub shape: Shape,
}

/// What a stored file is and how large it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Shape {
    Picture {
        /// `image/jpeg` or `image/png`.
        media_type: &'static str,
        width: u32,
        height: u32,
        /// A small JPEG.
        thumbnail: Vec<u8>,
    },
    Paper {
        pages: usize,
    },
}

impl Shape {
    pub fn media_type(&self) -> &'static str {
        match self {
            Shape::Picture { media_type, .. } => media_type,
            Shape::Paper { .. } => "application/pdf",
        }
    }
}

/// SHA-256 of stored bytes: the name of a photo or paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct AttachmentHash(pub [u8; 32]);

impl AttachmentHash {
    pub fn of(bytes: &[u8]) -> Self {
        AttachmentHash(Sha256::digest(bytes).into())
    }

    /// Reads the 64 small hexadecimal figures that [`fmt::Display`] writes, and nothing else.
    pub fn read(text: &str) -> Option<Self> {
        if text.len() != 64 {
            return None;
        }
        let mut hash = [0; 32];
        for (byte, pair) in hash.iter_mut().zip(text.as_bytes().chunks_exact(2)) {
            let [high, low] = [figure(pair[0])?, figure(pair[1])?];
            *byte = high * 16 + low;
        }
        Some(AttachmentHash(hash))
    }
}

impl fmt::Display for AttachmentHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

fn figure(letter: u8) -> Option<u8> {
    match letter {
        b'0'..=b'9' => Some(letter - b'0'),
        b'a'..=b'f' => Some(letter - b'a' + 10),
        _ => None,
    }
}

/// Why a file is not taken: reads on after the file's name.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum Fault {
    #[error("is empty; choose it again, or take the photo again")]
    Empty,
    #[error("is {mib}.{tenth} MiB; one file may have at most {} MiB", FILE_LIMIT / 1024 / 1024, mib = .size / MIB, tenth = .size % MIB * 10 / MIB)]
    TooLarge { size: usize },
    #[error("is {found}; taken are JPEG, PNG and WebP pictures and PDF papers")]
    NotTaken { found: &'static str },
    #[error(
        "starts as {kind} and cannot be read to its end: it is damaged, or did not arrive whole; \
         send it again, or photograph it"
    )]
    Damaged { kind: &'static str },
    #[error(
        "has {width} by {height} pixels; at most {} million in all are unpacked, and {} on a side",
        picture::PIXELS_MAX / 1_000_000,
        picture::SIDE_MAX
    )]
    TooManyPixels { width: u32, height: u32 },
    #[error("is locked by a passphrase; save it without one, or photograph its pages")]
    Locked,
    #[error("holds {what}; print it into a new PDF, or photograph its pages")]
    Holds { what: &'static str },
    #[error(
        "has {pages} pages; at most {} are taken: add those that matter",
        paper::PAGES_MAX
    )]
    TooManyPages { pages: usize },
}

const MIB: usize = 1024 * 1024;

/// Makes a file ready to be stored. Takes a second or so for a large photo: not on an async thread.
///
/// # Errors
/// What is wrong with it, and what to do.
pub fn make(bytes: &[u8]) -> Result<Ready, Fault> {
    if bytes.is_empty() {
        return Err(Fault::Empty);
    }
    if bytes.len() > FILE_LIMIT {
        return Err(Fault::TooLarge { size: bytes.len() });
    }
    let (bytes, shape) = match Kind::of(bytes) {
        Kind::Jpeg => picture::make(bytes, picture::Format::Jpeg)?,
        Kind::Png => picture::make(bytes, picture::Format::Png)?,
        Kind::WebP => picture::make(bytes, picture::Format::WebP)?,
        Kind::Pdf => paper::make(bytes)?,
        Kind::Other(found) => return Err(Fault::NotTaken { found }),
    };
    Ok(Ready {
        hash: AttachmentHash::of(&bytes),
        bytes,
        shape,
    })
}

/// What a file is by its first bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Jpeg,
    Png,
    WebP,
    Pdf,
    /// What it is in words, to say so.
    Other(&'static str),
}

impl Kind {
    /// Signatures by the formats' own standards: JPEG (ITU-T T.81), PNG (RFC 2083), WebP (RFC 9649),
    /// PDF (ISO 32000); those of what is refused from memory.
    fn of(bytes: &[u8]) -> Kind {
        let starts = |magic: &[u8]| bytes.starts_with(magic);
        let brand = bytes.get(4..12).unwrap_or_default();
        if starts(b"\xff\xd8\xff") {
            Kind::Jpeg
        } else if starts(b"\x89PNG\r\n\x1a\n") {
            Kind::Png
        } else if starts(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
            Kind::WebP
        } else if starts(b"%PDF-") {
            Kind::Pdf
        } else if [b"ftyphei", b"ftyphev", b"ftypmif", b"ftypmsf"]
            .iter()
            .any(|heif| brand.starts_with(*heif))
        {
            Kind::Other("a HEIC picture (set the telephone's camera to its most compatible format)")
        } else if brand.starts_with(b"ftypavif") {
            Kind::Other("an AVIF picture")
        } else if brand.starts_with(b"ftyp") {
            Kind::Other("a film")
        } else if starts(b"GIF8") {
            Kind::Other("a GIF picture")
        } else if starts(b"II*\0") || starts(b"MM\0*") {
            Kind::Other("a TIFF or raw picture")
        } else if starts(b"BM") {
            Kind::Other("a BMP picture")
        } else if starts(b"PK\x03\x04") {
            Kind::Other("a packed or office file")
        } else if starts(b"\x7fELF") || starts(b"MZ") {
            Kind::Other("a program")
        } else {
            Kind::Other(text(bytes).unwrap_or("of a kind that is not known here"))
        }
    }
}

/// What kind of text it is, if it is one.
fn text(bytes: &[u8]) -> Option<&'static str> {
    let head = bytes.get(..1024).unwrap_or(bytes);
    if head
        .iter()
        .any(|byte| *byte < 0x20 && !b"\t\n\x0c\r".contains(byte))
    {
        return None;
    }
    let head = String::from_utf8_lossy(head).to_lowercase();
    Some(if head.contains("<svg") {
        "an SVG drawing"
    } else if head.contains("<html") || head.contains("<script") || head.contains("<!doctype") {
        "a web page"
    } else if std::str::from_utf8(bytes).is_ok() {
        "a text"
    } else {
        return None;
    })
}

#[cfg(test)]
#[path = "check/tests.rs"]
mod tests;
