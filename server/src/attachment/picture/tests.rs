use image::{ImageFormat, Rgba};

use super::*;

/// Red on the left half, blue on the right: 40 wide, 20 high.
fn halves() -> RgbImage {
    RgbImage::from_fn(40, 20, |x, _| if x < 20 { RED } else { BLUE })
}

const RED: Rgb<u8> = Rgb([220, 20, 20]);
const BLUE: Rgb<u8> = Rgb([20, 20, 220]);

fn encoded(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Vec::new();
    picture
        .write_to(&mut Cursor::new(&mut bytes), format)
        .expect("it can be encoded");
    bytes
}

/// A JPEG file with an Exif segment behind its start: one entry, tag 0x0112 (Exif 2.32, table 4), and
/// some text that must not be found again.
fn with_orientation(jpeg: &[u8], orientation: u8) -> Vec<u8> {
    let mut exif = b"Exif\0\0MM\0\x2a\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0".to_vec();
    exif.extend([orientation, 0, 0, 0, 0, 0, 0]);
    exif.extend(b"GPSLatitude 9 S, taken by telephone 7");
    let length = u16::try_from(exif.len() + 2).expect("a short segment");
    [
        &jpeg[..2],
        b"\xff\xe1",
        &length.to_be_bytes(),
        &exif,
        &jpeg[2..],
    ]
    .concat()
}

fn decoded(bytes: &[u8]) -> RgbImage {
    image::load_from_memory(bytes)
        .expect("it can be read again")
        .to_rgb8()
}

/// JPEG is not exact; red is still far from blue.
fn is_like(found: Rgb<u8>, wanted: Rgb<u8>) -> bool {
    found
        .0
        .iter()
        .zip(wanted.0)
        .all(|(a, b)| a.abs_diff(b) < 40)
}

/// Exif 2.32, tag 274: 6 says that the first row of what is stored is the right side of what was seen,
/// so the picture is turned a quarter to the right: the left half, red, comes to the top.
#[test]
fn a_picture_is_turned_as_the_camera_was_held_and_says_nothing_else() {
    let plain = encoded(&halves().into(), ImageFormat::Jpeg);
    for (orientation, size, first, last) in [
        (1, (40, 20), RED, BLUE),
        (3, (40, 20), BLUE, RED),
        (6, (20, 40), RED, BLUE),
        (8, (20, 40), BLUE, RED),
    ] {
        let sent = with_orientation(&plain, orientation);
        let (stored, shape) = make(&sent, Format::Jpeg).expect("a whole picture");
        let picture = decoded(&stored);
        assert_eq!(picture.dimensions(), size, "{orientation}");
        assert!(is_like(*picture.get_pixel(2, 2), first), "{orientation}");
        let corner = picture.get_pixel(size.0 - 3, size.1 - 3);
        assert!(is_like(*corner, last), "{orientation}");
        for word in [&b"Exif"[..], b"GPS", b"telephone"] {
            assert!(!stored.windows(word.len()).any(|found| found == word));
        }
        let Shape::Picture { thumbnail, .. } = shape else {
            panic!("a picture");
        };
        assert_eq!(decoded(&thumbnail).dimensions(), size);
        assert!(!thumbnail.windows(4).any(|found| found == b"Exif"));
    }
}

/// 3000 by 1000 becomes 2560 by 853, since 1000 · 2560 / 3000 = 853.3; its thumbnail 320 by 107.
#[test]
fn a_large_picture_is_shrunk_to_its_long_side() {
    let sent = encoded(&RgbImage::new(3000, 1000).into(), ImageFormat::Jpeg);
    let (stored, shape) = make(&sent, Format::Jpeg).expect("a whole picture");
    assert_eq!(decoded(&stored).dimensions(), (2560, 853));
    let Shape::Picture {
        width,
        height,
        thumbnail,
        ..
    } = shape
    else {
        panic!("a picture");
    };
    assert_eq!((width, height), (2560, 853));
    assert_eq!(decoded(&thumbnail).dimensions(), (320, 107));
}

/// A strip of 4000 by 1 keeps at least one row.
#[test]
fn a_strip_stays_a_picture() {
    let sent = encoded(&RgbImage::new(4000, 1).into(), ImageFormat::Png);
    let (stored, _) = make(&sent, Format::Png).expect("a whole picture");
    assert_eq!(decoded(&stored).dimensions(), (2560, 1));
}

/// Lines on a clear ground stay PNG, pixel for pixel, on white; what is said in the file goes.
#[test]
fn a_drawing_is_kept_without_loss() {
    let drawing = RgbaImage::from_fn(60, 30, |x, y| {
        Rgba(if x == 2 * y { [0, 0, 0, 255] } else { [0; 4] })
    });
    let plain = encoded(&drawing.into(), ImageFormat::Png);
    // RFC 2083, 4.2.7: a text chunk, here behind signature and header, 8 + 25 bytes.
    let text = b"\0\0\0\x0bAuthor\0Anna";
    let chunk = [&text[..4], b"tEXt", &text[4..], b"\0\0\0\0"].concat();
    let sent = [&plain[..33], &with_crc(chunk), &plain[33..]].concat();
    let (stored, shape) = make(&sent, Format::Png).expect("a whole picture");
    assert_eq!(shape.media_type(), "image/png");
    assert!(!stored.windows(4).any(|found| found == b"Anna"));
    let on_white = RgbImage::from_fn(60, 30, |x, y| Rgb([if x == 2 * y { 0 } else { 255 }; 3]));
    assert_eq!(decoded(&stored), on_white);
}

/// CRC-32 over type and data, as RFC 2083, 3.4 has it.
fn with_crc(mut chunk: Vec<u8>) -> Vec<u8> {
    let end = chunk.len() - 4;
    let mut crc = u32::MAX;
    for byte in &chunk[4..end] {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 {
                (crc >> 1) ^ 0xedb8_8320
            } else {
                crc >> 1
            };
        }
    }
    chunk[end..].copy_from_slice(&(!crc).to_be_bytes());
    chunk
}

/// Noise does not pack: as PNG 500 by 500 of it take some 750 KB.
#[test]
fn a_photo_sent_as_png_becomes_jpeg() {
    let mut seed = 1_u32;
    let noise = RgbImage::from_fn(500, 500, |_, _| {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let [a, b, c, _] = seed.to_be_bytes();
        Rgb([a, b, c])
    });
    let (_, shape) =
        make(&encoded(&noise.into(), ImageFormat::Png), Format::Png).expect("a picture");
    assert_eq!(shape.media_type(), "image/jpeg");
}

/// Half of black over white is grey: 255 · (255 − 128) / 255 = 127.
#[test]
fn what_is_transparent_is_shown_on_white() {
    let clear = RgbaImage::from_pixel(4, 4, Rgba([0, 0, 0, 128]));
    assert_eq!(*on_white(&clear).get_pixel(0, 0), Rgb([127; 3]));
}

#[test]
fn webp_is_taken() {
    let sent = encoded(&halves().into(), ImageFormat::WebP);
    let (stored, _) = make(&sent, Format::WebP).expect("a whole picture");
    assert_eq!(decoded(&stored).dimensions(), (40, 20));
}

#[test]
fn a_cut_file_is_damaged_wherever_it_is_cut() {
    for (format, word) in [
        (ImageFormat::Jpeg, Format::Jpeg),
        (ImageFormat::Png, Format::Png),
        (ImageFormat::WebP, Format::WebP),
    ] {
        let whole = encoded(&halves().into(), format);
        // The last bytes of a PNG file are its end chunk, which says nothing.
        for kept in [1, 2, 3].map(|quarter| whole.len() * quarter / 4) {
            let fault = make(&whole[..kept], word).expect_err("a part of a picture");
            let kind = word.word();
            assert_eq!(fault, Fault::Damaged { kind }, "{kept} of {}", whole.len());
        }
    }
}

/// A PNG file may say that it has 50 000 by 50 000 pixels and hold none: 7.5 GB would be unpacked. The
/// header's checksum is right, so that nothing but its size is at fault.
#[test]
fn a_picture_that_unpacks_to_gigabytes_is_refused_before_it_is_unpacked() {
    let plain = encoded(&halves().into(), ImageFormat::Png);
    for (width, height) in [(50_000_u32, 50_000_u32), (30_000, 100), (9000, 9000)] {
        let mut header = plain[8..33].to_vec();
        header[8..12].copy_from_slice(&width.to_be_bytes());
        header[12..16].copy_from_slice(&height.to_be_bytes());
        let sent = [&plain[..8], &with_crc(header), &plain[33..]].concat();
        let fault = make(&sent, Format::Png).expect_err("too large");
        assert_eq!(fault, Fault::TooManyPixels { width, height });
    }
    let text = Fault::TooManyPixels {
        width: 9000,
        height: 9000,
    };
    assert_eq!(
        text.to_string(),
        "has 9000 by 9000 pixels; at most 64 million in all are unpacked, and 20000 on a side"
    );
}
