//! How many patients were measured, by site: a reading before, and one after as well.

use super::frame::{LABEL, SMALL, WIDTH, framed};
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, RULE, TEAL};
use super::scale::Scale;
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{self, figures as words};

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct CompletenessBySite {
    /// Sites, in the order drawn.
    pub sites: Vec<SiteCompleteness>,
}

/// One site.
#[derive(Clone, PartialEq, Debug)]
pub struct SiteCompleteness {
    /// Its name.
    pub site: String,
    /// Its shares; absent when withheld.
    pub shown: Option<SharesShown>,
}

/// Shares of the due episodes, 0 to 1.
#[derive(Clone, PartialEq, Debug)]
pub struct SharesShown {
    /// With a baseline.
    pub with_baseline: f64,
    /// With a baseline and an endpoint.
    pub with_endpoint: f64,
    /// `n of N`, those with both.
    pub denominator: String,
}

const ROW: f64 = 27.0;
const NUMBERS: f64 = 84.0;

/// Draws the completeness by site.
pub fn completeness_by_site(text: &FigureText, data: &CompletenessBySite) -> Result<Figure, FigureError> {
    let height = 26.0 + ROW * data.sites.len() as f64 + 40.0;
    framed(text, &words::describe_completeness(data), height, |pen, top| {
        let widest = data.sites.iter().map(|s| LABEL.width(&s.site)).fold(0.0, f64::max);
        let (left, right) = (widest.min(170.0) + 16.0, WIDTH - NUMBERS - 14.0);
        let first = top + 26.0;
        let bottom = first + ROW * data.sites.len() as f64;
        let x = Scale::new((0.0, 1.0), (left, right));
        for tick in x.ticks(5) {
            pen.line(&[(x.at(tick), first), (x.at(tick), bottom)], RULE, 0.7)?;
            pen.text((x.at(tick), bottom + 12.0), &wording::percent(tick), SMALL, GREY, Align::Middle)?;
        }
        pen.text(((left + right) / 2.0, bottom + 30.0), words::COMPLETENESS_AXIS, SMALL, GREY, Align::Middle)?;
        pen.text((WIDTH, first - 14.0), words::BOTH_OF_DUE, SMALL, GREY, Align::Right)?;
        for (row, site) in data.sites.iter().enumerate() {
            draw_row(pen, &x, first + ROW * (row as f64 + 0.5), site)?;
        }
        match data.sites.iter().find_map(|s| s.shown.as_ref()) {
            Some(shown) => column_labels(pen, &x, first - 14.0, shown),
            None => Ok(()),
        }
    })
}

fn draw_row(pen: &Pen<'_, '_>, x: &Scale, y: f64, site: &SiteCompleteness) -> Result<(), FigureError> {
    pen.text((0.0, y), &site.site, LABEL, BLACK, Align::Left)?;
    let Some(shown) = &site.shown else {
        return pen.text((WIDTH, y), words::WITHHELD_ROW, SMALL, GREY, Align::Right);
    };
    let (endpoint, baseline) = (x.at(shown.with_endpoint), x.at(shown.with_baseline));
    pen.line(&[(endpoint, y), (baseline, y)], OCHRE, 1.4)?;
    pen.ring((baseline, y), 4.6, TEAL)?;
    pen.dot((endpoint, y), 4.6, TEAL)?;
    let label = wording::percent(shown.with_endpoint);
    pen.text_on_white((endpoint - 9.0, y), &label, SMALL, TEAL, Align::Right)?;
    pen.text((WIDTH, y), &shown.denominator, SMALL, GREY, Align::Right)
}

/// Names the two kinds of dot above those of the first site, apart from each other.
fn column_labels(pen: &Pen<'_, '_>, x: &Scale, y: f64, shown: &SharesShown) -> Result<(), FigureError> {
    let dot = 12.0;
    let (baseline, endpoint) = (SMALL.width(words::BASELINE_DOT), SMALL.width(words::ENDPOINT_DOT));
    let right_limit = WIDTH - SMALL.width(words::BOTH_OF_DUE) - 14.0;
    let right = (x.at(shown.with_baseline) + baseline).min(right_limit);
    pen.text((right, y), words::BASELINE_DOT, SMALL, TEAL, Align::Right)?;
    pen.ring((right - baseline - dot + 3.0, y), 4.0, TEAL)?;
    let right = (x.at(shown.with_endpoint) + endpoint / 2.0).min(right - baseline - dot - 16.0);
    pen.text((right, y), words::ENDPOINT_DOT, SMALL, TEAL, Align::Right)?;
    pen.dot((right - endpoint - dot + 3.0, y), 4.0, TEAL)
}
