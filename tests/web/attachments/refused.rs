//! What is refused: by its content, by its size, by what is missing.

use axum::http::StatusCode;
use image::{ImageFormat, Rgb, RgbImage};
use lopdf::dictionary;
use mendpost_tests::{App, SentFile};

use super::{ON_REQUEST, add, crew, encoded, file, jpeg, kept, pdf};

async fn assert_refused(app: &mut App, name: &str, bytes: &[u8], why: &str) {
    let answer = add(app, name, bytes).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{why}");
    let error = answer
        .field_error("files")
        .expect("a fault beside the field");
    assert!(error.contains(why), "{error}");
    assert!(
        answer.contains("value=\"crack at the hub\""),
        "what was typed is kept"
    );
    assert_eq!(kept(app).await, (0, 0, 0), "{why}");
}

#[tokio::test]
async fn what_is_no_picture_or_paper_is_refused_and_named() {
    let mut app = crew().await;
    let whole = jpeg();
    let script = dictionary! { "S" => "JavaScript", "JS" => lopdf::Object::string_literal("x()") };
    for (name, bytes, why) in [
        (
            "p.jpg",
            &b"<!doctype html><script>x()</script>"[..],
            "“p.jpg” is a web page; taken are JPEG",
        ),
        (
            "p.svg",
            b"<svg xmlns='http://www.w3.org/2000/svg' onload='x()'/>",
            "is an SVG drawing",
        ),
        ("p.jpg", b"#!/bin/sh\nrm -r /\n", "is a text"),
        ("p.png", b"GIF89a\x01\0\x01\0", "is a GIF picture"),
        ("p.jpg", b"\0\0\0\x18ftypheic", "is a HEIC picture"),
        ("p.jpg", b"", "is empty"),
        ("p.jpg", &whole[..whole.len() / 2], "did not arrive whole"),
        (
            "p.pdf",
            &pdf(1, Some(("OpenAct", script.into()))),
            "holds scripts",
        ),
        ("p.pdf", &pdf(51, None), "has 51 pages; at most 50"),
    ] {
        assert_refused(&mut app, name, bytes, why).await;
    }
}

/// A header that says 50 000 by 50 000; its checksum is that of the header, worked out with zlib's
/// `crc32(b'IHDR' + data)`.
#[tokio::test]
async fn a_picture_that_would_unpack_to_gigabytes_is_refused() {
    let mut app = crew().await;
    let bomb = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\xc3\x50\0\0\xc3\x50\x08\x02\0\0\0CRC!\
                 \0\0\0\x0cIDAT\x78\x9c\x63\0\0\0\x02\0\x01\xe5\x27\xde\xfc\0\0\0\0IEND\xae\x42\x60\x82";
    let mut bomb = bomb.to_vec();
    bomb[29..33].copy_from_slice(&BOMB_CRC.to_be_bytes());
    assert_refused(&mut app, "p.png", &bomb, "has 50000 by 50000 pixels").await;
}

const BOMB_CRC: u32 = 0xc4cdaa9d;

/// A file over 10 MiB is told beside the field; a form over 12 MiB is not read to its end.
#[tokio::test]
async fn what_is_too_large_is_refused_with_its_limit() {
    let mut app = crew().await;
    assert_refused(
        &mut app,
        "p.jpg",
        &vec![0xff; 11 * MIB],
        "is 11.0 MiB; one file may have at most 10",
    )
    .await;
    let answer = add(&mut app, "p.jpg", &vec![0xff; 13 * MIB]).await;
    assert_eq!(answer.status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(answer.contains("at most 12 MiB"), "{}", answer.body);
    assert_eq!(kept(&app).await, (0, 0, 0));
}

const MIB: usize = 1024 * 1024;

/// Noise packs badly: 1400 by 1400 of it are over 3 MB as JPEG, more than any other form may send.
#[tokio::test]
async fn a_photo_of_several_megabytes_is_taken() {
    let mut app = crew().await;
    let mut seed = 1_u32;
    let noise = RgbImage::from_fn(1400, 1400, |_, _| {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let [a, b, c, _] = seed.to_be_bytes();
        Rgb([a, b, c])
    });
    let sent = encoded(&noise.into(), ImageFormat::Png);
    assert!(sent.len() > 3 * MIB);
    let answer = add(&mut app, "noise.png", &sent).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
}

#[tokio::test]
async fn nothing_chosen_and_too_much_typed_is_said_beside_the_field() {
    let mut app = crew().await;
    let empty = SentFile {
        name: "",
        media_type: "application/octet-stream",
        bytes: b"",
    };
    let answer = app.post_files(ON_REQUEST, &[], &[empty]).await;
    assert_eq!(
        answer.field_error("files"),
        Some("choose a photo or a PDF file first")
    );
    let long = "x".repeat(201);
    let answer = app
        .post_files(ON_REQUEST, &[("caption", &long)], &[file("p.jpg", &jpeg())])
        .await;
    assert_eq!(
        answer.field_error("caption"),
        Some("201 characters are too many; use at most 200")
    );
    let answer = app.post(ON_REQUEST, &[("caption", "x")]).await;
    assert_eq!(answer.status, StatusCode::UNSUPPORTED_MEDIA_TYPE);
    assert_eq!(kept(&app).await, (0, 0, 0));
}
