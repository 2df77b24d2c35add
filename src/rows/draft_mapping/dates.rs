//! Which date form a column's cells have; never chosen when two orders fit alike.

use crate::rows::dates::DateForm;
use chrono::{Datelike, NaiveDate};

/// Forms that are tried, the surest first.
const FORMS: [&str; 16] = [
    "%Y-%m-%d",
    "%d.%m.%Y",
    "%d/%m/%Y",
    "%m/%d/%Y",
    "%d-%m-%Y",
    "%m-%d-%Y",
    "%Y/%m/%d",
    "%Y.%m.%d",
    "%d.%m.%y",
    "%d/%m/%y",
    "%m/%d/%y",
    "%d %b %Y",
    "%d-%b-%Y",
    "%b %d, %Y",
    "%d %B %Y",
    "%Y%m%d",
];
const MOST: f64 = 0.95;
/// Cells looked at.
const TRIED: usize = 1_000;

/// The forms that fit nearly all cells of a column.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct DateFit {
    /// chrono formats; more than one when the cells do not settle the order.
    pub forms: Vec<&'static str>,
    /// The middle date, read by the first form.
    pub middle: NaiveDate,
}

impl DateFit {
    /// Over the distinct cells of a column; `None` when no form fits.
    pub fn of<'c>(cells: impl Iterator<Item = &'c str>) -> Option<Self> {
        let cells: Vec<&str> = cells.take(TRIED).collect();
        let fits: Vec<(&'static str, Vec<NaiveDate>)> = FORMS
            .into_iter()
            .filter_map(|format| {
                let form = DateForm::new(format);
                let dates: Vec<NaiveDate> =
                    cells.iter().filter_map(|cell| form.read(cell.as_bytes())).filter(possible).collect();
                (!dates.is_empty() && dates.len() as f64 >= MOST * cells.len() as f64).then_some((format, dates))
            })
            .collect();
        // a form that reads every cell rules out one that only reads nearly all
        let most = fits.iter().map(|(_, dates)| dates.len()).max()?;
        let mut best: Vec<(&'static str, Vec<NaiveDate>)> = Vec::new();
        for (format, dates) in fits.into_iter().filter(|(_, dates)| dates.len() == most) {
            // `Jul` is read alike by the short and by the long name of a month
            if best.iter().all(|(_, known)| *known != dates) {
                best.push((format, dates));
            }
        }
        let mut dates = best.first()?.1.clone();
        dates.sort();
        let middle = *dates.get(dates.len() / 2)?;
        Some(Self { forms: best.into_iter().map(|(format, _)| format).collect(), middle })
    }
}

/// A year somebody alive may have been born in, or a visit.
fn possible(date: &NaiveDate) -> bool {
    (1900..=2100).contains(&date.year())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn forms(cells: &[&str]) -> Vec<&'static str> {
        DateFit::of(cells.iter().copied()).map(|fit| fit.forms).unwrap_or_default()
    }

    #[test]
    fn a_day_past_the_twelfth_settles_the_order() {
        assert_eq!(forms(&["03/04/2026", "25/04/2026"]), ["%d/%m/%Y"]);
        assert_eq!(forms(&["03/04/2026", "04/25/2026"]), ["%m/%d/%Y"]);
        assert_eq!(forms(&["2026-04-03", "2026-04-25"]), ["%Y-%m-%d"]);
        assert_eq!(forms(&["3.4.26"]), ["%d.%m.%y"]);
        assert_eq!(forms(&["20260403", "20260425"]), ["%Y%m%d"]);
        assert_eq!(forms(&["2026-04-03 10:30", "2026-04-25T08:00:00"]), ["%Y-%m-%d"]);
        assert_eq!(forms(&["03-Apr-2026"]), ["%d-%b-%Y"]);
        assert_eq!(forms(&["03 Apr 2026", "04 May 2026"]), ["%d %b %Y"]);
    }

    #[test]
    fn without_such_a_day_both_orders_are_kept() {
        assert_eq!(forms(&["03/04/2026", "05/04/2026"]), ["%d/%m/%Y", "%m/%d/%Y"]);
        assert_eq!(forms(&["03-04-2026"]), ["%d-%m-%Y", "%m-%d-%Y"]);
    }

    #[test]
    fn numbers_and_words_are_no_dates() {
        for cells in [&["5", "7"][..], &["12345678"], &["soon"], &["1.5"], &[]] {
            assert!(forms(cells).is_empty(), "{cells:?}");
        }
    }
}
