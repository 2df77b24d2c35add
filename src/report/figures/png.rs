//! A figure's SVG as a PNG, with the embedded typeface only.

use super::{Figure, FigureError, PNG_WIDTH};
use crate::report::typeface;
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
    pixels.encode_png().map_err(|error| failed(error.to_string()))
}

fn options() -> &'static Options<'static> {
    static OPTIONS: OnceLock<Options<'static>> = OnceLock::new();
    OPTIONS.get_or_init(|| Options {
        font_family: typeface::FAMILY.to_string(),
        fontdb: Arc::new(typeface::for_drawing()),
        ..Options::default()
    })
}
