//! Reads the squares of labels again, by a decoder that shares nothing with what drew them.

use image::GrayImage;
use rqrr::PreparedImage;

/// What each square of a page says, in the page's order, read from the modules that its path draws.
pub fn of_page(page: &str) -> Vec<String> {
    let squares = page.split("<svg class=\"square\"").skip(1);
    squares.map(of_svg).collect()
}

/// What the squares in a picture say, as a camera would find them.
pub fn of_picture(picture: &GrayImage) -> Vec<String> {
    let mut prepared = PreparedImage::prepare_from_greyscale(
        usize::try_from(picture.width()).expect("a picture's width"),
        usize::try_from(picture.height()).expect("a picture's height"),
        |x, y| {
            let at = |length: usize| u32::try_from(length).expect("a picture's length");
            picture.get_pixel(at(x), at(y)).0[0]
        },
    );
    let grids = prepared.detect_grids();
    grids
        .iter()
        .map(|grid| grid.decode().expect("a square that can be read").1)
        .collect()
}

fn of_svg(square: &str) -> String {
    let side = super::between(square, "viewBox=\"0 0 ", " ").expect("a side");
    let side: u32 = side.parse().expect("a number of modules");
    let path = super::between(square, "<path d=\"", "\"").expect("a path");
    let mut picture = GrayImage::from_pixel(side * SCALE, side * SCALE, image::Luma([255]));
    for (x, y, length) in path.split('M').skip(1).map(run) {
        for dark_x in x * SCALE..(x + length) * SCALE {
            for dark_y in y * SCALE..(y + 1) * SCALE {
                picture.put_pixel(dark_x, dark_y, image::Luma([0]));
            }
        }
    }
    let mut read = of_picture(&picture);
    assert_eq!(read.len(), 1, "one square in {path}");
    read.remove(0)
}

/// Pixels along a module.
const SCALE: u32 = 4;

/// Where a run of dark modules begins, and how long it is: '6 4h7v1h-7z' is seven from (6, 4) on.
fn run(drawn: &str) -> (u32, u32, u32) {
    let number = |text: &str| text.parse().expect("a whole number of modules");
    let (at, rest) = drawn.split_once('h').expect("a rectangle");
    let (x, y) = at.split_once(' ').expect("a place");
    let (length, back) = rest.split_once("v1h-").expect("one module high");
    assert_eq!(back, format!("{length}z"), "a closed rectangle");
    (number(x), number(y), number(length))
}
