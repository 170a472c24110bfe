//! The outer structure of a JPEG file: its segments, by ITU-T T.81, annex B.

/// Whether the file has its end marker after its picture. A decoder fills what is missing with grey and
/// says nothing.
pub fn is_whole(bytes: &[u8]) -> bool {
    let Some(scan) = segments(bytes).and_then(|segments| segments.last().copied()) else {
        return false;
    };
    // In the picture's own data 0xff is always followed by 0 or a restart marker.
    bytes[scan.end..]
        .windows(2)
        .any(|pair| pair == [MARKER, END])
}

/// The same picture, byte for byte, without what is said about it: no Exif, no XMP, no comment, nothing
/// after the end. Colour profile and colour transform stay, since the picture is shown by them.
///
/// None if it is no JPEG file.
pub fn without_metadata(bytes: &[u8]) -> Option<Vec<u8>> {
    let segments = segments(bytes)?;
    let scan = segments.last()?;
    let mut kept = vec![MARKER, START];
    for segment in &segments {
        let is_profile =
            segment.kind == APP2 && bytes[segment.start + 4..].starts_with(b"ICC_PROFILE\0");
        let told = matches!(segment.kind, APP0..=APP15 | COMMENT);
        if !told || is_profile || segment.kind == APP14 {
            kept.extend_from_slice(&bytes[segment.start..segment.end]);
        }
    }
    let picture = &bytes[scan.end..];
    let end = picture.windows(2).position(|pair| pair == [MARKER, END])?;
    kept.extend_from_slice(&picture[..end + 2]);
    Some(kept)
}

#[derive(Debug, Clone, Copy)]
struct Segment {
    kind: u8,
    /// Where its marker starts.
    start: usize,
    /// Behind its last byte.
    end: usize,
}

/// The segments up to and with the head of the first scan.
fn segments(bytes: &[u8]) -> Option<Vec<Segment>> {
    if !bytes.starts_with(&[MARKER, START]) {
        return None;
    }
    let mut segments = Vec::new();
    let mut at = 2;
    loop {
        let [marker, kind] = *bytes.get(at..at + 2)? else {
            return None;
        };
        if marker != MARKER {
            return None;
        }
        // A marker may be preceded by any number of fill bytes.
        if kind == MARKER {
            at += 1;
            continue;
        }
        let [high, low] = *bytes.get(at + 2..at + 4)? else {
            return None;
        };
        let end = at + 2 + usize::from(u16::from_be_bytes([high, low]));
        if end < at + 4 || end > bytes.len() {
            return None;
        }
        segments.push(Segment {
            kind,
            start: at,
            end,
        });
        if kind == SCAN {
            return Some(segments);
        }
        at = end;
    }
}

const MARKER: u8 = 0xff;
const START: u8 = 0xd8;
const END: u8 = 0xd9;
const SCAN: u8 = 0xda;
const COMMENT: u8 = 0xfe;
const APP0: u8 = 0xe0;
const APP2: u8 = 0xe2;
const APP14: u8 = 0xee;
const APP15: u8 = 0xef;

#[cfg(test)]
mod tests {
    use super::*;

    /// Start, JFIF, Exif, a profile, a comment, a scan of three bytes, end, and a tail.
    fn file() -> Vec<u8> {
        [
            &b"\xff\xd8"[..],
            b"\xff\xe0\x00\x04JF",
            b"\xff\xe1\x00\x08Exif\0\0",
            b"\xff\xe2\x00\x0fICC_PROFILE\0\x01",
            b"\xff\xee\x00\x04Ad",
            b"\xff\xfe\x00\x05hi!",
            b"\xff\xda\x00\x02\x01\xff\x00\xff\xd9",
            b"<html>",
        ]
        .concat()
    }

    #[test]
    fn what_is_said_about_a_picture_goes_and_the_picture_stays() {
        let kept = without_metadata(&file()).expect("a JPEG file");
        let expected = [
            &b"\xff\xd8"[..],
            b"\xff\xe2\x00\x0fICC_PROFILE\0\x01",
            b"\xff\xee\x00\x04Ad",
            b"\xff\xda\x00\x02\x01\xff\x00\xff\xd9",
        ]
        .concat();
        assert_eq!(kept, expected);
    }

    #[test]
    fn a_file_cut_anywhere_is_not_whole() {
        let file = file();
        let end = file.len() - b"<html>".len();
        assert!(is_whole(&file[..end]));
        for cut in 0..end {
            assert!(!is_whole(&file[..cut]), "cut at {cut}");
        }
    }
}
