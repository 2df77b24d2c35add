//! Before-and-after change by site or by quarter, with the whole group as the line to compare with.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::pen::{Align, BLACK, GREY, Pen, TEAL};
use super::rows::{Rows, UNDER, withheld};
use super::scale::{Scale, round_domain};
use super::{Drawn, FigureError, FigureText, score_axis};
use crate::findings::bulletin::{ConditionFindings, Estimate, OutcomeFindings, Period};
use crate::report::edition::{Edition, Part};
use crate::report::lookup::{change_row, shown};
use crate::report::wording::{self, phrases::within, signed};

/// How to read it.
pub(in crate::report) const READ: &str = "Dot and line: mean change with its 95\u{a0}% interval.";

const ROW: f64 = 27.0;
const HEAD: f64 = 26.0;
const NUMBERS: f64 = 112.0;
const EPISODES_RIGHT: f64 = WIDTH;
const CHANGE_RIGHT: f64 = WIDTH - 48.0;

/// A part's label, with its mean change and episodes unless they are withheld.
type Row<'p> = (&'p str, Option<(Estimate, u32)>);

/// Change by site (over everything) or by quarter (of the whole group).
pub(in crate::report) fn draw(
    edition: &Edition<'_>,
    condition: &ConditionFindings,
    outcome: &OutcomeFindings,
    kind: &str,
    parts: &[Part],
) -> Drawn {
    let Some(group) = change_row(outcome, &Period::All, None).and_then(|row| shown(&row.change)) else {
        return Ok(None);
    };
    let rows: Vec<Row<'_>> = parts
        .iter()
        .map(|(label, period, site)| {
            let row = change_row(outcome, period, site.as_deref());
            (label.as_str(), row.and_then(|row| shown(&row.change).zip(shown(&row.episodes))))
        })
        .collect();
    let Some(title) = title(&rows, outcome.decimals) else { return Ok(None) };
    let text = FigureText {
        name: edition.figure_name(condition, outcome, kind),
        title,
        subtitle: format!(
            "{}, {}: due episodes with baseline and endpoint; not adjusted for case mix",
            condition.title,
            within(&outcome.title)
        ),
        source: edition.source(None),
    };
    let group_label = format!("whole group {}", signed(group.value, outcome.decimals));
    let description = format!("{}. {group_label}. {}", axis(outcome), described(&rows, outcome.decimals));
    framed(&text, &description, HEAD + ROW * rows.len() as f64 + UNDER, |pen, top| {
        let place = Rows::new(rows.iter().map(|row| row.0), top + HEAD, ROW, NUMBERS);
        let (first, bottom) = (place.first, place.bottom);
        let values = rows.iter().filter_map(|row| row.1).flat_map(|(change, _)| [change.low, change.high]);
        let x = place.scale(round_domain(values.chain([0.0, group.value]), 4, (f64::NEG_INFINITY, f64::INFINITY)));
        place.grid(pen, &x, 6, true, signed)?;
        place.axis_title(pen, &axis(outcome))?;
        pen.line(&[(x.at(group.value), first - 6.0), (x.at(group.value), bottom)], BLACK, 1.2)?;
        let half = SMALL.width(&group_label) / 2.0;
        let at = x.at(group.value).clamp(place.left + half, place.right - half);
        pen.text((at, first - 15.0), &group_label, SMALL, BLACK, Align::Middle)?;
        pen.text((EPISODES_RIGHT, first - 15.0), "n", SMALL, GREY, Align::Right)?;
        pen.text((CHANGE_RIGHT, first - 15.0), "change", SMALL, TEAL, Align::Right)?;
        rows.iter()
            .enumerate()
            .try_for_each(|(row, change)| draw_row(pen, &x, place.middle_of(row), change, outcome.decimals))
    })
    .map(Some)
}

/// Under the changes, with an arrow to the better side.
fn axis(outcome: &OutcomeFindings) -> String {
    let change = format!("mean change, {}", score_axis::change(outcome));
    if outcome.lower_is_better { format!("← better · {change}") } else { format!("{change} · better →") }
}

/// The extremes; none where every part is withheld.
fn title(rows: &[Row<'_>], places: usize) -> Option<String> {
    let mut means: Vec<(&str, f64)> =
        rows.iter().filter_map(|(label, shown)| Some((*label, shown.as_ref()?.0.value))).collect();
    means.sort_by(|a, b| a.1.total_cmp(&b.1));
    match means.as_slice() {
        [] => None,
        [(label, mean)] => Some(format!("{label}: mean change {}", signed(*mean, places))),
        [most, .., least] => Some(format!(
            "Mean change runs from {} ({}) to {} ({})",
            signed(most.1, places),
            most.0,
            signed(least.1, places),
            least.0
        )),
    }
}

fn described(rows: &[Row<'_>], places: usize) -> String {
    let rows = rows.iter().map(|(label, shown)| match shown {
        Some((change, episodes)) => format!(
            "{label}: {} ({}), n {}.",
            signed(change.value, places),
            wording::range(change.low, change.high, places),
            wording::count(u64::from(*episodes))
        ),
        None => format!("{label}: withheld."),
    });
    rows.collect::<Vec<_>>().join(" ")
}

fn draw_row(pen: &Pen<'_, '_>, x: &Scale, y: f64, row: &Row<'_>, places: usize) -> Result<(), FigureError> {
    pen.text((0.0, y), row.0, LABEL, BLACK, Align::Left)?;
    let Some((change, episodes)) = row.1 else { return withheld(pen, y) };
    pen.text((EPISODES_RIGHT, y), &wording::count(u64::from(episodes)), SMALL, GREY, Align::Right)?;
    pen.text((CHANGE_RIGHT, y), &signed(change.value, places), STRONG, TEAL, Align::Right)?;
    pen.line(&[(x.at(change.low), y), (x.at(change.high), y)], TEAL, 2.4)?;
    pen.dot((x.at(change.value), y), 4.8, TEAL)
}
