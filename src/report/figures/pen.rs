//! A pen over the plotting library: points of a page (1/96 inch) in, tenths of them drawn.
//!
//! The library rounds every place to a whole unit, so the canvas is ten times larger than the figure and the
//! `viewBox` scales it back. It also divides font sizes by 1.24; `Face` undoes that.

use super::FigureError;
use crate::report::typeface;
use plotters::coord::Shift;
use plotters::element::{Circle, PathElement, Polygon, Rectangle, Text};
use plotters::prelude::{Color, DrawingArea, IntoTextStyle, RGBColor, SVGBackend};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{FontDesc, FontFamily, FontStyle, ShapeStyle};
use std::cell::RefCell;
use std::collections::HashMap;

/// Canvas units per point.
pub(super) const FINE: f64 = 10.0;
const LIBRARY_FONT_FACTOR: f64 = 1.24;
/// Texts are measured as many times larger: the library gives whole units.
const FINER: f64 = 16.0;

/// Text and observed values.
pub(super) const BLACK: RGBColor = RGBColor(0x1a, 0x1a, 0x1a);
/// Second-rank text and published values.
pub(super) const GREY: RGBColor = RGBColor(0x5c, 0x5c, 0x5c);
/// Grid and axes.
pub(super) const RULE: RGBColor = RGBColor(0xd2, 0xd2, 0xd2);
/// Light grey areas.
pub(super) const GREY_TINT: RGBColor = RGBColor(0xe9, 0xe9, 0xe7);
/// First ink.
pub(super) const TEAL: RGBColor = RGBColor(0x0f, 0x5c, 0x5c);
/// First ink, as a light area.
pub(super) const TEAL_TINT: RGBColor = RGBColor(0xd5, 0xe5, 0xe3);
/// First ink, as an area on a fainter one.
pub(super) const TEAL_MID: RGBColor = RGBColor(0xa9, 0xcb, 0xc7);
/// First ink, as an area on a middle one; black shows on it.
pub(super) const TEAL_DEEP: RGBColor = RGBColor(0x6d, 0xa5, 0x9f);
/// First ink, as the faintest area.
pub(super) const TEAL_FAINT: RGBColor = RGBColor(0xec, 0xf3, 0xf2);
/// Second ink.
pub(super) const OCHRE: RGBColor = RGBColor(0xb3, 0x54, 0x1e);
/// The paper.
pub(super) const WHITE: RGBColor = RGBColor(0xff, 0xff, 0xff);

/// A face as a key: bits of its size, whether it is bold.
type FaceKey = (u64, bool);

/// Widths of texts by face.
type Widths = HashMap<FaceKey, HashMap<String, f64>>;

/// Widths kept of a face, at most.
const MOST_WIDTHS: usize = 4096;

thread_local! {
    static WIDTHS: RefCell<Widths> = RefCell::default();
}

/// A size and weight of the embedded typeface.
#[derive(Clone, Copy, Debug)]
pub(super) struct Face {
    size: f64,
    bold: bool,
}

impl Face {
    /// Regular weight; size in points of the page.
    pub(super) const fn plain(size: f64) -> Self {
        Self { size, bold: false }
    }

    /// Semi-bold weight.
    pub(super) const fn bold(size: f64) -> Self {
        Self { size, bold: true }
    }

    fn key(self) -> FaceKey {
        (self.size.to_bits(), self.bold)
    }

    /// Distance between lines.
    pub(super) fn line_height(self) -> f64 {
        (1.32 * self.size).round()
    }

    /// Width of a text. Falls back on a rough guess should the typeface be unreadable.
    ///
    /// Measuring goes letter by letter through the typeface's tables, and breaking a text into lines measures the same beginnings
    /// again and again: what was measured is kept for a while.
    pub(super) fn width(self, text: &str) -> f64 {
        let face = self.key();
        let known = WIDTHS.with_borrow(|widths| widths.get(&face).and_then(|of_face| of_face.get(text).copied()));
        known.unwrap_or_else(|| {
            let width = self.measured(text);
            WIDTHS.with_borrow_mut(|widths| {
                let of_face = widths.entry(face).or_default();
                if of_face.len() >= MOST_WIDTHS {
                    of_face.clear();
                }
                of_face.insert(text.to_owned(), width);
            });
            width
        })
    }

    fn measured(self, text: &str) -> f64 {
        let larger = Self { size: self.size * FINER, ..self };
        let measured =
            typeface::ready_to_measure().then(|| larger.font(typeface::MEASURED).box_size(text).ok()).flatten();
        match measured {
            Some((width, _)) => f64::from(width) / FINE / FINER,
            None => 0.6 * self.size * text.chars().count() as f64,
        }
    }

    fn font(self, family: &'static str) -> FontDesc<'static> {
        let style = if self.bold { FontStyle::Bold } else { FontStyle::Normal };
        FontDesc::new(FontFamily::Name(family), self.size * FINE * LIBRARY_FONT_FACTOR, style)
    }
}

/// Which end of a text stands at the given place.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Align {
    /// It begins there.
    Left,
    /// Its middle is there.
    Middle,
    /// It ends there.
    Right,
}

/// Draws on the canvas; y grows downwards.
pub(super) struct Pen<'a, 'b> {
    name: &'a str,
    canvas: &'a DrawingArea<SVGBackend<'b>, Shift>,
}

type Drawn = Result<(), FigureError>;

impl<'a, 'b> Pen<'a, 'b> {
    pub(super) fn new(name: &'a str, canvas: &'a DrawingArea<SVGBackend<'b>, Shift>) -> Self {
        Self { name, canvas }
    }

    /// A line through points.
    pub(super) fn line(&self, points: &[(f64, f64)], ink: RGBColor, width: f64) -> Drawn {
        let points: Vec<(i32, i32)> = points.iter().map(|&p| fine(p)).collect();
        self.done(self.canvas.draw(&PathElement::new(points, stroke(ink, width))))
    }

    /// A broken line: `on` points drawn, `off` left out.
    pub(super) fn dashes(&self, points: &[(f64, f64)], ink: RGBColor, width: f64, on: f64, off: f64) -> Drawn {
        let mut dash: Vec<(f64, f64)> = Vec::new();
        let (mut drawing, mut left) = (true, on);
        for pair in points.windows(2) {
            let &[from, to] = pair else { continue };
            let length = (to.0 - from.0).hypot(to.1 - from.1);
            let mut along = 0.0;
            if drawing {
                dash.push(from);
            }
            while length - along > left {
                along += left;
                let share = along / length;
                let turn = (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1));
                dash.push(turn);
                if drawing {
                    self.line(&dash, ink, width)?;
                    dash.clear();
                }
                drawing = !drawing;
                left = if drawing { on } else { off };
            }
            left -= length - along;
        }
        if drawing && !dash.is_empty() {
            dash.extend(points.last());
            self.line(&dash, ink, width)?;
        }
        Ok(())
    }

    /// A filled area.
    pub(super) fn area(&self, outline: &[(f64, f64)], ink: RGBColor) -> Drawn {
        let outline: Vec<(i32, i32)> = outline.iter().map(|&p| fine(p)).collect();
        self.done(self.canvas.draw(&Polygon::new(outline, ink.filled())))
    }

    /// A filled rectangle between two corners.
    pub(super) fn bar(&self, from: (f64, f64), to: (f64, f64), ink: RGBColor) -> Drawn {
        self.done(self.canvas.draw(&Rectangle::new([fine(from), fine(to)], ink.filled())))
    }

    /// A filled dot.
    pub(super) fn dot(&self, at: (f64, f64), radius: f64, ink: RGBColor) -> Drawn {
        self.done(self.canvas.draw(&Circle::new(fine(at), radius * FINE, ink.filled())))
    }

    /// An open dot on white.
    pub(super) fn ring(&self, at: (f64, f64), radius: f64, ink: RGBColor) -> Drawn {
        self.dot(at, radius, ink)?;
        self.dot(at, radius - 1.5, WHITE)
    }

    /// A text whose small letters are centred on the height given.
    pub(super) fn text(&self, at: (f64, f64), text: &str, face: Face, ink: RGBColor, align: Align) -> Drawn {
        let side = match align {
            Align::Left => HPos::Left,
            Align::Middle => HPos::Center,
            Align::Right => HPos::Right,
        };
        let style =
            face.font(typeface::FAMILY).color(&ink).into_text_style(self.canvas).pos(Pos::new(side, VPos::Center));
        self.done(self.canvas.draw(&Text::new(text.to_string(), fine(at), style)))
    }

    /// A text on a strip of white, so that lines behind it do not disturb it.
    pub(super) fn text_on_white(&self, at: (f64, f64), text: &str, face: Face, ink: RGBColor, align: Align) -> Drawn {
        let width = face.width(text);
        let left = match align {
            Align::Left => at.0,
            Align::Middle => at.0 - width / 2.0,
            Align::Right => at.0 - width,
        };
        let half = 0.62 * face.size;
        self.bar((left - 2.0, at.1 - half), (left + width + 2.0, at.1 + half), WHITE)?;
        self.text(at, text, face, ink, align)
    }

    /// A vertical or horizontal interval with short end strokes.
    pub(super) fn interval(&self, from: (f64, f64), to: (f64, f64), cap: f64, ink: RGBColor, width: f64) -> Drawn {
        self.line(&[from, to], ink, width)?;
        let upright = (from.0 - to.0).abs() < 1e-9;
        for end in [from, to] {
            let (dx, dy) = if upright { (cap, 0.0) } else { (0.0, cap) };
            self.line(&[(end.0 - dx, end.1 - dy), (end.0 + dx, end.1 + dy)], ink, width)?;
        }
        Ok(())
    }

    fn done<E: std::fmt::Display>(&self, drawn: Result<(), E>) -> Drawn {
        drawn.map_err(|error| FigureError::Drawing { name: self.name.to_string(), reason: error.to_string() })
    }
}

fn stroke(ink: RGBColor, width: f64) -> ShapeStyle {
    ink.stroke_width((width * FINE).round() as u32)
}

fn fine(point: (f64, f64)) -> (i32, i32) {
    ((point.0 * FINE).round() as i32, (point.1 * FINE).round() as i32)
}
