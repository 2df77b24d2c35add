//! What every figure shares: title, subtitle, source, text alternative, and the canvas between them.

use super::labels::lines;
use super::pen::{Align, BLACK, FINE, Face, GREY, Pen};
use super::{Figure, FigureError, FigureText};
use crate::report::typeface;
use plotters::prelude::{IntoDrawingArea, SVGBackend};

/// Width of every figure in points of the page: narrow, so that it can be read on a small screen and on a slide.
pub(super) const WIDTH: f64 = 500.0;
/// Labels and ticks.
pub(super) const LABEL: Face = Face::plain(12.0);
/// Labels that carry the finding.
pub(super) const STRONG: Face = Face::bold(12.0);
/// Denominators under an axis and other small print.
pub(super) const SMALL: Face = Face::plain(11.0);

const TITLE: Face = Face::bold(15.0);
const SUBTITLE: Face = Face::plain(12.0);
const SOURCE: Face = Face::plain(10.5);

/// Draws a figure: the frame here, the inside by `inside`, which is given the height at which its part begins and
/// may use `height` points from there. `description` is the text alternative: it gives the numbers drawn.
pub(super) fn framed(
    text: &FigureText,
    description: &str,
    height: f64,
    inside: impl FnOnce(&Pen<'_, '_>, f64) -> Result<(), FigureError>,
) -> Result<Figure, FigureError> {
    if !typeface::ready_to_measure() {
        return Err(FigureError::Typeface);
    }
    let title = lines(&text.title, TITLE, WIDTH);
    let subtitle = lines(&text.subtitle, SUBTITLE, WIDTH);
    let source = lines(&text.source, SOURCE, WIDTH);
    let header = lines_height(&title, TITLE) + 2.0 + lines_height(&subtitle, SUBTITLE) + 12.0;
    let footer = 10.0 + lines_height(&source, SOURCE);
    let total = (header + height + footer).ceil();

    let mut drawing = String::new();
    {
        let size = ((WIDTH * FINE) as u32, (total * FINE) as u32);
        let canvas = SVGBackend::with_string(&mut drawing, size).into_drawing_area();
        let pen = Pen::new(&text.name, &canvas);
        let below_title = write_lines(&pen, 0.0, &title, TITLE, true)?;
        write_lines(&pen, below_title + 2.0, &subtitle, SUBTITLE, false)?;
        inside(&pen, header)?;
        write_lines(&pen, header + height + 10.0, &source, SOURCE, false)?;
        canvas
            .present()
            .map_err(|error| FigureError::Drawing { name: text.name.clone(), reason: error.to_string() })?;
    }
    Ok(Figure { name: text.name.clone(), title: text.title.clone(), svg: finish(&drawing, text, description, total) })
}

fn lines_height(lines: &[String], face: Face) -> f64 {
    lines.len() as f64 * face.line_height()
}

fn write_lines(pen: &Pen<'_, '_>, top: f64, lines: &[String], face: Face, is_title: bool) -> Result<f64, FigureError> {
    let ink = if is_title { BLACK } else { GREY };
    let mut middle = top + face.line_height() / 2.0 + 1.0;
    for line in lines {
        pen.text((0.0, middle), line, face, ink, Align::Left)?;
        middle += face.line_height();
    }
    Ok(top + lines_height(lines, face))
}

/// Replaces the library's opening tag by one that scales with its page and names its text alternative, and drops
/// what says nothing.
fn finish(drawing: &str, text: &FigureText, description: &str, height: f64) -> String {
    let inside = drawing.split_once(">\n").map_or("", |(_, rest)| rest);
    let inside = replaced(inside, " opacity=\"1\"", "");
    let inside = replaced(&inside, "font-family=\"Inter\"", "font-family=\"Inter, sans-serif\"");
    let inside = replaced(&inside, "\">\n", "\">");
    let inside = replaced(&inside, "\n</text>", "</text>");
    let name = escaped(&text.name);
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" aria-labelledby=\"{name}-title {name}-desc\" \
         width=\"{WIDTH}\" height=\"{height}\" viewBox=\"0 0 {} {}\">\n\
         <title id=\"{name}-title\">{}</title>\n<desc id=\"{name}-desc\">{}</desc>\n{inside}",
        WIDTH * FINE,
        height * FINE,
        escaped(&text.title),
        escaped(description),
    )
}

/// `str::replace` by a quicker search: drawings are long, and there are thousands of them.
fn replaced(text: &str, from: &str, to: &str) -> String {
    let mut out = String::with_capacity(text.len() + text.len() / 8);
    let mut rest = 0;
    for at in memchr::memmem::find_iter(text.as_bytes(), from) {
        out.push_str(text.get(rest..at).unwrap_or_default());
        out.push_str(to);
        rest = at + from.len();
    }
    out.push_str(text.get(rest..).unwrap_or_default());
    out
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::*;
    use resvg::tiny_skia::Pixmap;

    fn framed_words(title: &str, subtitle: &str) -> Figure {
        let text = FigureText {
            name: "words".into(),
            title: title.into(),
            subtitle: subtitle.into(),
            source: "Source: exports.".into(),
        };
        framed(&text, "A < B", 20.0, |_, _| Ok(())).unwrap()
    }

    #[test]
    fn titles_are_drawn_in_a_heavier_weight_than_subtitles() {
        let ink = |title: &str, subtitle: &str| {
            let pixels = Pixmap::decode_png(&framed_words(title, subtitle).png().unwrap()).unwrap();
            pixels.pixels().iter().filter(|p| p.red() < 0x40).count()
        };
        let (as_title, as_subtitle) = (ink("mmmmmmmm", "i"), ink("i", "mmmmmmmm"));
        assert!(as_title > as_subtitle, "{as_title} {as_subtitle}");
    }

    #[test]
    fn words_with_signs_of_markup_stay_words() {
        let svg = framed_words("A finding with < and & in it", "338 of 412 <i>episodes").svg;
        for expected in [
            "<title id=\"words-title\">A finding with &lt; and &amp; in it</title>",
            "<desc id=\"words-desc\">A &lt; B</desc>",
            ">A finding with &lt; and &amp; in it</text>",
            ">338 of 412 &lt;i&gt;episodes</text>",
        ] {
            assert!(svg.contains(expected), "{expected} in {svg}");
        }
    }
}
