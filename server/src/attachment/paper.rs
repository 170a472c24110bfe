//! Papers: PDF files, written anew without what acts, without metadata, without earlier versions.

use lopdf::xref::XrefRecovery;
use lopdf::{Dictionary, Document, LoadOptions, Object};

use super::check::{Fault, Shape};
use super::jpeg;

/// Pages of one paper: a certificate has a few, a handbook does not belong here.
pub const PAGES_MAX: usize = 50;

/// The stored bytes of a paper, and its shape.
pub fn make(bytes: &[u8]) -> Result<(Vec<u8>, Shape), Fault> {
    let sent = Document::load_mem_with_options(
        bytes,
        LoadOptions::with_max_decompressed_size(UNPACKED_MAX),
    )
    .map_err(|_| DAMAGED)?;
    if sent.trailer.has(b"Encrypt") || sent.was_encrypted() {
        return Err(Fault::Locked);
    }
    // Its table of contents had to be guessed: pages may be missing, and nobody would know.
    if sent.xref_recovery == Some(XrefRecovery::Reconstructed) {
        return Err(DAMAGED);
    }
    let mut paper = reachable(sent)?;
    if let Some(what) = paper.objects.values().find_map(acts) {
        return Err(Fault::Holds { what });
    }
    let pages = paper.page_iter().take(PAGES_MAX * 100).count();
    match pages {
        0 => return Err(DAMAGED),
        1..=PAGES_MAX => {}
        _ => return Err(Fault::TooManyPages { pages }),
    }
    paper.objects.values_mut().for_each(strip);
    // What only metadata led to goes too.
    paper.prune_objects();
    paper.renumber_objects();
    let mut stored = Vec::new();
    paper.save_to(&mut stored).map_err(|_| DAMAGED)?;
    if stored.len() > STORED_MAX {
        return Err(Fault::TooLarge { size: stored.len() });
    }
    Ok((stored, Shape::Paper { pages }))
}

const DAMAGED: Fault = Fault::Damaged {
    kind: "a PDF paper",
};

/// What one packed list of objects may unpack to.
const UNPACKED_MAX: usize = 16 * 1024 * 1024;

/// As the table of attachments has it.
const STORED_MAX: usize = 16 * 1024 * 1024;

/// Only what the pages lead to, under a head of our own: no earlier versions, no document information,
/// no free text in the first line.
fn reachable(sent: Document) -> Result<Document, Fault> {
    let root = sent.trailer.get(b"Root").map_err(|_| DAMAGED)?.clone();
    let mut paper = Document::with_version("1.7");
    paper.trailer.set("Root", root);
    paper.max_id = sent.max_id;
    paper.objects = sent.objects;
    strip_keys(paper.catalog_mut().map_err(|_| DAMAGED)?, &OPENING);
    paper.prune_objects();
    Ok(paper)
}

/// What a viewer does by itself on opening; to jump to a page is harmless, and not needed.
const OPENING: [&[u8]; 2] = [b"OpenAction", b"AA"];

/// What is said about a paper or a part of it, and when and by which program it was made.
const METADATA: [&[u8]; 3] = [b"Metadata", b"PieceInfo", b"LastModified"];

/// What acts in a PDF file, by the names of ISO 32000-1, sections 7.11.4 and 12.6, wherever a name
/// stands: as a key, as a value, or as an object of its own that others refer to.
const ACTING: [(&[u8], &str); 17] = [
    (b"JS", "scripts"),
    (b"JavaScript", "scripts"),
    (b"XFA", "a form with scripts"),
    (b"Launch", "an act that starts a program"),
    (b"EF", "files within the file"),
    (b"EmbeddedFile", "files within the file"),
    (b"EmbeddedFiles", "files within the file"),
    (b"FileAttachment", "files within the file"),
    (b"SubmitForm", "an act that sends data elsewhere"),
    (b"ImportData", "an act that reads other files"),
    (b"GoToR", "an act that opens other files"),
    (b"GoToE", "an act that opens other files"),
    (b"Movie", "film or sound"),
    (b"Sound", "film or sound"),
    (b"Rendition", "film or sound"),
    (b"RichMedia", "film or sound"),
    (b"3D", "a model in space"),
];

/// What acts in an object. Objects nest at most a hundred deep: the reader refuses deeper ones.
fn acts(object: &Object) -> Option<&'static str> {
    let of_name = |name: &[u8]| {
        let found = ACTING.iter().find(|(acting, _)| *acting == name);
        found.map(|(_, what)| *what)
    };
    let of_pairs = |pairs: &Dictionary| {
        pairs
            .iter()
            .find_map(|(key, value)| of_name(key).or_else(|| acts(value)))
    };
    match object {
        Object::Name(name) => of_name(name),
        Object::Array(items) => items.iter().find_map(acts),
        Object::Dictionary(pairs) => of_pairs(pairs),
        Object::Stream(stream) => of_pairs(&stream.dict),
        _ => None,
    }
}

/// Takes metadata out of an object, and out of the photo that it may be.
fn strip(object: &mut Object) {
    match object {
        Object::Array(items) => items.iter_mut().for_each(strip),
        Object::Dictionary(pairs) => strip_pairs(pairs),
        Object::Stream(stream) => {
            strip_pairs(&mut stream.dict);
            if is_photo(&stream.dict)
                && let Some(photo) = jpeg::without_metadata(&stream.content)
            {
                stream.set_content(photo);
            }
        }
        _ => {}
    }
}

fn strip_pairs(pairs: &mut Dictionary) {
    strip_keys(pairs, &METADATA);
    pairs.iter_mut().for_each(|(_, value)| strip(value));
}

fn strip_keys(pairs: &mut Dictionary, keys: &[&[u8]]) {
    for key in keys {
        pairs.remove(key);
    }
}

/// Whether a stream is a JPEG file as it stands: its one filter is that of JPEG.
fn is_photo(pairs: &Dictionary) -> bool {
    let is_dct = |filter: &Object| matches!(filter.as_name(), Ok(b"DCTDecode"));
    match pairs.get(b"Filter") {
        Ok(Object::Array(filters)) => filters.len() == 1 && filters.iter().all(is_dct),
        Ok(filter) => is_dct(filter),
        Err(_) => false,
    }
}

#[cfg(test)]
#[path = "paper/tests.rs"]
mod tests;
