//! A figure's SVG as a PNG, with the embedded typeface only: opaque, and with a palette where 256 colours are enough.

use super::palette::indexed;
use super::{Figure, FigureError, PNG_WIDTH};
use crate::report::typeface;
use png::{BitDepth, ColorType, DeflateCompression, Encoder, EncodingError, Filter};
use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{Options, Tree};
use std::sync::{Arc, OnceLock};

/// Paper around the drawing, in points of the page.
const MARGIN: f32 = 14.0;

pub(super) fn png_of(figure: &Figure) -> Result<Vec<u8>, FigureError> {
    let failed = |reason: String| FigureError::Png { name: figure.name.clone(), reason };
    let tree = Tree::from_str(&figure.svg, options()).map_err(|error| failed(error.to_string()))?;
    let scale = PNG_WIDTH as f32 / (tree.size().width() + 2.0 * MARGIN);
    let height = ((tree.size().height() + 2.0 * MARGIN) * scale).ceil() as u32;
    let mut pixels = Pixmap::new(PNG_WIDTH, height).ok_or_else(|| failed(format!("{PNG_WIDTH} by {height} pixels")))?;
    pixels.fill(Color::WHITE);
    let place = Transform::from_translate(MARGIN, MARGIN).post_scale(scale, scale);
    resvg::render(&tree, place, &mut pixels.as_mut());
    encoded(pixels.data(), (PNG_WIDTH, height)).map_err(|error| failed(error.to_string()))
}

/// `pixels`: four bytes each, red, green, blue and an opacity that is full everywhere.
///
/// One byte a pixel, unfiltered, packs quickest and smallest: a figure is mostly runs of one colour.
fn encoded(pixels: &[u8], (width, height): (u32, u32)) -> Result<Vec<u8>, EncodingError> {
    let mut png = Vec::new();
    let mut encoder = Encoder::new(&mut png, width, height);
    encoder.set_depth(BitDepth::Eight);
    encoder.set_filter(Filter::NoFilter);
    encoder.set_deflate_compression(DeflateCompression::Level(1));
    let image = match indexed(pixels, width as usize) {
        Some(image) => {
            encoder.set_color(ColorType::Indexed);
            encoder.set_palette(image.palette);
            image.places
        }
        None => {
            encoder.set_color(ColorType::Rgb);
            pixels.chunks_exact(4).flat_map(|pixel| pixel.iter().take(3).copied()).collect()
        }
    };
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&image)?;
    writer.finish()?;
    Ok(png)
}

fn options() -> &'static Options<'static> {
    static OPTIONS: OnceLock<Options<'static>> = OnceLock::new();
    OPTIONS.get_or_init(|| Options {
        font_family: typeface::FAMILY.to_string(),
        fontdb: Arc::new(typeface::for_drawing()),
        ..Options::default()
    })
}
