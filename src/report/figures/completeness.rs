//! How many patients were measured, by site: a reading before, and one after as well.

use super::frame::{LABEL, SMALL, WIDTH, framed};
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, TEAL};
use super::rows::{Rows, withheld};
use super::scale::Scale;
use super::{Drawn, FigureError, FigureText};
use crate::findings::bulletin::{ConditionFindings, OutcomeFindings, Period};
use crate::report::edition::Edition;
use crate::report::lookup::{completeness_row, shown};
use crate::report::wording::{figures as words, percent};

/// How to read it.
pub(in crate::report) const READ: &str =
    "The longer the ochre line, the more episodes have a baseline and no endpoint.";

const AXIS: &str = "share of the episodes that were due";
const BOTH_OF_DUE: &str = "both, of due";
const BASELINE_DOT: &str = "baseline";
const ENDPOINT_DOT: &str = "baseline and endpoint";

const ROW: f64 = 27.0;
const HEAD: f64 = 26.0;
const UNDER: f64 = 40.0;
const NUMBERS: f64 = 84.0;

/// What may be shown of a site; shares of its due episodes, 0 to 1.
struct Shares {
    baseline: f64,
    both: f64,
    of_due: String,
}

impl Shares {
    fn of(outcome: &OutcomeFindings, site: &str) -> Option<Self> {
        let row = completeness_row(outcome, &Period::All, Some(site))?;
        let (due, both) = (shown(&row.episodes)?, shown(&row.with_endpoint)?);
        Some(Self {
            baseline: shown(&row.baseline_share)?,
            both: shown(&row.share)?,
            of_due: words::of(u64::from(both), u64::from(due)),
        })
    }
}

type Row<'s> = (&'s str, Option<Shares>);

/// Completeness of the outcome by site, over everything.
pub(in crate::report) fn draw(
    edition: &Edition<'_>,
    condition: &ConditionFindings,
    outcome: &OutcomeFindings,
) -> Drawn {
    let sites: Vec<Row<'_>> =
        edition.bulletin.sites.iter().map(|site| (site.as_str(), Shares::of(outcome, site))).collect();
    let Some(title) = title(&sites) else { return Ok(None) };
    let text = FigureText {
        name: edition.figure_name(condition, outcome, "completeness"),
        title,
        subtitle: words::due_episodes(condition, outcome, &Period::All),
        source: edition.source(None),
    };
    framed(&text, &described(&sites), HEAD + ROW * sites.len() as f64 + UNDER, |pen, top| {
        let place = Rows::new(sites.iter().map(|site| site.0), top + HEAD, ROW, NUMBERS + 14.0);
        let x = place.scale((0.0, 1.0));
        place.grid(pen, &x, 5, false, |tick, _| percent(tick))?;
        place.axis_title(pen, AXIS)?;
        pen.text((WIDTH, place.first - 14.0), BOTH_OF_DUE, SMALL, GREY, Align::Right)?;
        for (row, site) in sites.iter().enumerate() {
            draw_row(pen, &x, place.middle_of(row), site)?;
        }
        match sites.iter().find_map(|site| site.1.as_ref()) {
            Some(shares) => column_labels(pen, &x, place.first - 14.0, shares),
            None => Ok(()),
        }
    })
    .map(Some)
}

fn title(sites: &[Row<'_>]) -> Option<String> {
    let mut both: Vec<(&str, f64)> =
        sites.iter().filter_map(|(site, shares)| Some((*site, shares.as_ref()?.both))).collect();
    both.sort_by(|a, b| b.1.total_cmp(&a.1));
    let most = both
        .first()
        .map(|(site, share)| format!("{site} has both readings for {} of its episodes", percent(*share)))?;
    match both.get(1..).and_then(<[_]>::last) {
        Some((site, share)) => Some(format!("{most}, {site} for {}", percent(*share))),
        None => Some(most),
    }
}

fn described(sites: &[Row<'_>]) -> String {
    let rows = sites.iter().map(|(site, shares)| match shares {
        Some(shares) => format!(
            "{site}: baseline {}, baseline and endpoint {}, {}.",
            percent(shares.baseline),
            percent(shares.both),
            shares.of_due
        ),
        None => format!("{site}: withheld."),
    });
    rows.collect::<Vec<_>>().join(" ")
}

fn draw_row(pen: &Pen<'_, '_>, x: &Scale, y: f64, (site, shares): &Row<'_>) -> Result<(), FigureError> {
    pen.text((0.0, y), site, LABEL, BLACK, Align::Left)?;
    let Some(shares) = shares else { return withheld(pen, y) };
    let (endpoint, baseline) = (x.at(shares.both), x.at(shares.baseline));
    pen.line(&[(endpoint, y), (baseline, y)], OCHRE, 1.4)?;
    pen.ring((baseline, y), 4.6, TEAL)?;
    pen.dot((endpoint, y), 4.6, TEAL)?;
    pen.text_on_white((endpoint - 9.0, y), &percent(shares.both), SMALL, TEAL, Align::Right)?;
    pen.text((WIDTH, y), &shares.of_due, SMALL, GREY, Align::Right)
}

/// Names the two kinds of dot above those of the first site, apart from each other.
fn column_labels(pen: &Pen<'_, '_>, x: &Scale, y: f64, shares: &Shares) -> Result<(), FigureError> {
    let dot = 12.0;
    let (baseline, endpoint) = (SMALL.width(BASELINE_DOT), SMALL.width(ENDPOINT_DOT));
    let right_limit = WIDTH - SMALL.width(BOTH_OF_DUE) - 14.0;
    let right = (x.at(shares.baseline) + baseline).min(right_limit);
    pen.text((right, y), BASELINE_DOT, SMALL, TEAL, Align::Right)?;
    pen.ring((right - baseline - dot + 3.0, y), 4.0, TEAL)?;
    let right = (x.at(shares.both) + endpoint / 2.0).min(right - baseline - dot - 16.0);
    pen.text((right, y), ENDPOINT_DOT, SMALL, TEAL, Align::Right)?;
    pen.dot((right - endpoint - dot + 3.0, y), 4.0, TEAL)
}
