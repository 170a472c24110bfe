//! Pictures: decoded, turned upright, shrunk and encoded anew, so that nothing but pixels is left.

use std::io::Cursor;

use image::codecs::jpeg::{JpegDecoder, JpegEncoder};
use image::codecs::png::{CompressionType, FilterType as PngFilter, PngDecoder, PngEncoder};
use image::codecs::webp::WebPDecoder;
use image::imageops::FilterType;
use image::{DynamicImage, ImageDecoder, ImageError, Limits, Rgb, RgbImage, RgbaImage};

use super::check::{Fault, Shape};
use super::jpeg;

/// Pixels of a picture as sent: a few telephones take 50 million.
pub const PIXELS_MAX: u64 = 64_000_000;

/// Pixels on one side of a picture as sent.
pub const SIDE_MAX: u32 = 20_000;

/// What a decoder may take beside the file: four bytes for each pixel.
const UNPACKED_MAX: u64 = PIXELS_MAX * 4;

/// The long side as stored: a scale beside the damage can still be read.
const LONG_SIDE: u32 = 2560;

/// The long side of a thumbnail.
const THUMBNAIL_SIDE: u32 = 320;

/// A drawing with few colours is kept without loss up to this size; a photo is never so small.
const DRAWING_MAX: usize = 512 * 1024;

const QUALITY: u8 = 85;
const THUMBNAIL_QUALITY: u8 = 75;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    Jpeg,
    Png,
    WebP,
}

impl Format {
    fn word(self) -> &'static str {
        match self {
            Format::Jpeg => "a JPEG picture",
            Format::Png => "a PNG picture",
            Format::WebP => "a WebP picture",
        }
    }
}

/// The stored bytes of a picture, and their shape.
pub fn make(bytes: &[u8], format: Format) -> Result<(Vec<u8>, Shape), Fault> {
    let damaged = |_: ImageError| Fault::Damaged {
        kind: format.word(),
    };
    let picture = match format {
        Format::Jpeg if !jpeg::is_whole(bytes) => {
            return Err(Fault::Damaged {
                kind: format.word(),
            });
        }
        Format::Jpeg => upright(
            JpegDecoder::new(Cursor::new(bytes)).map_err(damaged)?,
            format,
        )?,
        // Its profile is unpacked with its head.
        Format::Png => upright(
            PngDecoder::with_limits(Cursor::new(bytes), limits()).map_err(damaged)?,
            format,
        )?,
        Format::WebP => upright(
            WebPDecoder::new(Cursor::new(bytes)).map_err(damaged)?,
            format,
        )?,
    };
    let thumbnail = encode_jpeg(&shrunk(&picture, THUMBNAIL_SIDE), THUMBNAIL_QUALITY)?;
    let (width, height) = (picture.width(), picture.height());
    let drawing = match format {
        Format::Jpeg => None,
        Format::Png | Format::WebP => Some(encode_png(&picture)?),
    };
    let (media_type, bytes) = match drawing {
        Some(drawing) if drawing.len() <= DRAWING_MAX => ("image/png", drawing),
        _ => ("image/jpeg", encode_jpeg(&picture, QUALITY)?),
    };
    let shape = Shape::Picture {
        media_type,
        width,
        height,
        thumbnail,
    };
    Ok((bytes, shape))
}

/// Sides and pixels are checked by [`upright`], which can say what they are.
fn limits() -> Limits {
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(UNPACKED_MAX);
    limits
}

/// Decoded within the limits, shrunk, and turned as the camera was held. What the picture says of its
/// size is checked before anything is unpacked.
fn upright(mut decoder: impl ImageDecoder, format: Format) -> Result<DynamicImage, Fault> {
    let damaged = |_: ImageError| Fault::Damaged {
        kind: format.word(),
    };
    let (width, height) = decoder.dimensions();
    let pixels = u64::from(width) * u64::from(height);
    let too_many = Fault::TooManyPixels { width, height };
    if pixels > PIXELS_MAX || width.max(height) > SIDE_MAX || decoder.total_bytes() > UNPACKED_MAX {
        return Err(too_many);
    }
    decoder.set_limits(limits()).map_err(|_| too_many)?;
    let orientation = decoder.orientation().map_err(damaged)?;
    let picture = DynamicImage::from_decoder(decoder).map_err(damaged)?;
    // Eight bits a channel; grey is stored as colour, which costs next to nothing.
    let picture = if picture.has_alpha() {
        DynamicImage::from(on_white(&picture.into_rgba8()))
    } else {
        DynamicImage::from(picture.into_rgb8())
    };
    let mut picture = match picture.width().max(picture.height()) > LONG_SIDE {
        true => shrunk(&picture, LONG_SIDE),
        false => picture,
    };
    picture.apply_orientation(orientation);
    Ok(picture)
}

/// Never larger than it was.
fn shrunk(picture: &DynamicImage, long_side: u32) -> DynamicImage {
    let side = long_side.min(picture.width().max(picture.height()));
    picture.resize(side, side, FilterType::CatmullRom)
}

/// Browsers show what is transparent on black or on white, and black lines on black are not seen.
fn on_white(picture: &RgbaImage) -> RgbImage {
    RgbImage::from_fn(picture.width(), picture.height(), |x, y| {
        let [red, green, blue, alpha] = picture.get_pixel(x, y).0;
        let mixed = |channel: u8| {
            let sum = u16::from(channel) * u16::from(alpha) + 255 * (255 - u16::from(alpha));
            u8::try_from(sum / 255).unwrap_or(u8::MAX)
        };
        Rgb([mixed(red), mixed(green), mixed(blue)])
    })
}

fn encode_jpeg(picture: &DynamicImage, quality: u8) -> Result<Vec<u8>, Fault> {
    let mut bytes = Vec::new();
    picture
        .write_with_encoder(JpegEncoder::new_with_quality(&mut bytes, quality))
        .map_err(|_| NOT_ENCODED)?;
    Ok(bytes)
}

fn encode_png(picture: &DynamicImage) -> Result<Vec<u8>, Fault> {
    let mut bytes = Vec::new();
    let encoder = PngEncoder::new_with_quality(
        Cursor::new(&mut bytes),
        CompressionType::Default,
        PngFilter::Adaptive,
    );
    picture
        .write_with_encoder(encoder)
        .map_err(|_| NOT_ENCODED)?;
    Ok(bytes)
}

/// Pixels in memory can be encoded; a picture of no pixels was refused by its decoder.
const NOT_ENCODED: Fault = Fault::Damaged { kind: "a picture" };

#[cfg(test)]
#[path = "picture/tests.rs"]
mod tests;
