//! STL files: told by their content, read with limits, and written anew.

use std::io::Cursor;

use mendpost_core::shape::{Mesh, Point, ShapeError, TRIANGLES_MAX, Unit};
use stl_io::{Normal, Triangle, Vertex, create_stl_reader, write_stl};
use thiserror::Error;

/// The most bytes of a file as sent: some 200 000 triangles in binary, some 40 000 in text.
pub const FILE_LIMIT: usize = 10 * 1024 * 1024;

/// Why a file is not taken: reads on after the file's name.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum Fault {
    #[error("is empty; save it again, and choose it again")]
    Empty,
    #[error(
        "has {size} bytes; at most {FILE_LIMIT} are taken: save it as a binary STL file, or coarser"
    )]
    TooLarge { size: usize },
    #[error(
        "is no STL file, or did not arrive whole: a text one starts with 'solid' and has facets, and a \
         binary one is as long as its count of triangles says; save it as STL, and send it again"
    )]
    NotStl,
    #[error(
        "is a text STL file that cannot be read after {triangles} triangles: it is damaged, or did not \
         arrive whole; save it again, as a binary one if there is a choice"
    )]
    Damaged { triangles: usize },
    #[error(transparent)]
    Shape(#[from] ShapeError),
}

/// Reads triangles, in millimetres and in single precision as the file has them.
///
/// # Errors
/// What is wrong with the file, and what to do. Nothing is taken into memory beside the file before its
/// kind and count are known.
pub fn read(bytes: Vec<u8>, unit: Unit) -> Result<Vec<[Point; 3]>, Fault> {
    if bytes.is_empty() {
        return Err(Fault::Empty);
    }
    if bytes.len() > FILE_LIMIT {
        return Err(Fault::TooLarge { size: bytes.len() });
    }
    let plain = match counted(&bytes) {
        Some(count) if count > TRIANGLES_MAX => return Err(ShapeError::TooMany { count }.into()),
        Some(_) => binary(bytes),
        None if is_text(&bytes) => text(&bytes),
        None => return Err(Fault::NotStl),
    };
    let damaged = |triangles| Fault::Damaged { triangles };
    let mut source = Cursor::new(plain);
    let reader = create_stl_reader(&mut source).map_err(|_| damaged(0))?;
    let mut triangles = Vec::new();
    for triangle in reader {
        // After a fault the reader would go on: the first ends it.
        let Triangle { vertices, .. } = triangle.map_err(|_| damaged(triangles.len()))?;
        if triangles.len() == TRIANGLES_MAX {
            let count = triangles.len() + 1;
            return Err(ShapeError::TooMany { count }.into());
        }
        triangles.push(vertices.map(|vertex| vertex.0.map(|x| in_mm(x, unit))));
    }
    Ok(triangles)
}

const HEAD: usize = 80;
const COUNT_END: usize = HEAD + 4;
const EACH: usize = 50;

/// How many triangles a binary file has, by its length and by the count in its head alike; none if it is
/// no binary file.
fn counted(bytes: &[u8]) -> Option<usize> {
    let count: [u8; 4] = bytes.get(HEAD..COUNT_END)?.try_into().ok()?;
    let count = usize::try_from(u32::from_le_bytes(count)).ok()?;
    let length = count.checked_mul(EACH)?.checked_add(COUNT_END)?;
    (length == bytes.len()).then_some(count)
}

/// Some programs begin the head of a binary file with 'solid', by which the reader takes it for text.
fn binary(mut bytes: Vec<u8>) -> Vec<u8> {
    bytes[..HEAD].fill(0);
    bytes
}

fn is_text(bytes: &[u8]) -> bool {
    let head = bytes.get(..1024).unwrap_or(bytes).to_ascii_lowercase();
    let begins = head.trim_ascii_start().starts_with(b"solid");
    begins
        && head
            .windows(5)
            .any(|word| word == b"facet" || word == b"endso")
}

/// One solid in small letters: names and letters differ from program to program, several solids may
/// follow each other, and the reader takes only 'solid ' and 'endsolid' as they are. A file whose last
/// line is not 'endsolid' has none here either, so that one cut short is told.
fn text(bytes: &[u8]) -> Vec<u8> {
    let mut plain = b"solid part\n".to_vec();
    let mut ended = false;
    for line in bytes.split(|byte| *byte == b'\n') {
        let line = line.trim_ascii().to_ascii_lowercase();
        if line.is_empty() {
            continue;
        }
        ended = line.starts_with(b"endsolid");
        if !ended && !line.starts_with(b"solid") {
            plain.extend_from_slice(&line);
            plain.push(b'\n');
        }
    }
    if ended {
        plain.extend_from_slice(b"endsolid\n");
    }
    plain
}

/// Rounded to single precision again, as it is stored.
fn in_mm(x: f32, unit: Unit) -> f64 {
    f64::from(single(f64::from(x) * unit.mm()))
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "rounds; beyond its range it is infinite, which no mesh takes"
)]
fn single(x: f64) -> f32 {
    x as f32
}

/// A binary file of a mesh, in millimetres: nothing but its triangles and where they look.
pub fn write(mesh: &Mesh) -> Result<Vec<u8>, std::io::Error> {
    let triangles = mesh.faces().map(|(corners, across)| Triangle {
        normal: Normal::new(across.map(single)),
        vertices: corners.map(|corner| Vertex::new(corner.map(single))),
    });
    let mut bytes = Vec::with_capacity(COUNT_END + triangles.len() * EACH);
    write_stl(&mut bytes, triangles)?;
    Ok(bytes)
}

#[cfg(test)]
#[path = "stl/tests.rs"]
mod tests;
