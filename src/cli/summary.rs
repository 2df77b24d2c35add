//! The ten lines that a report prints.

use crate::error::plain;
use crate::findings::bulletin::{Bulletin, ConditionFindings, Period, Shown};
use std::fmt::Write;
use std::path::Path;

/// Where the page is, what was read, and a line for each of the largest conditions. `patients`: where they are, when not in this report.
pub fn of(bulletin: &Bulletin, page: &Path, patients: Option<&str>) -> String {
    let mut text = String::new();
    let total = &bulletin.quality.total;
    let period = bulletin.period.map_or("all episodes".to_owned(), |quarter| quarter.to_string());
    let lines = [
        format!(
            "{}: {period}, {} sites, for {} readers",
            bulletin.group,
            bulletin.sites.len(),
            bulletin.audience.key()
        ),
        format!(
            "rows: {} read = {} kept + {} duplicate + {} rejected ({} of these left out by a declared filter), {} files",
            total.rows_read,
            total.rows_kept,
            total.rows_duplicate,
            total.rows_rejected,
            total.rows_left_out,
            bulletin.quality.files.len()
        ),
        format!("cells blanked because they could not be understood: {}", total.cells_blanked),
    ];
    // a release counts rows in fifties: a file of few has none
    let without_rows = if patients.is_none() { without_rows(bulletin) } else { None };
    for line in lines.into_iter().chain(without_rows) {
        let _ = writeln!(text, "{}", plain(&line)); // writing to a string cannot fail
    }
    for condition in bulletin.conditions.iter().take(5) {
        let _ = writeln!(text, "{}", plain(&condition_line(condition)));
    }
    let _ = writeln!(text, "descriptive: no comparison group, so improvement cannot be put down to traction");
    if let Some(patients) = patients {
        let _ = writeln!(text, "counts are in fives, other numbers rounded to what they support");
        let _ =
            writeln!(text, "patients' pages and rows are in no edition for release: they stand {}", plain(patients));
    }
    let _ = writeln!(text, "open {}", plain(&page.display().to_string()));
    text
}

/// A doubt about exports that hold nothing, with the first few.
fn without_rows(bulletin: &Bulletin) -> Option<String> {
    let empty: Vec<&str> =
        bulletin.quality.files.iter().filter(|file| file.rows_read == 0).map(|file| file.file.as_str()).collect();
    let named = match empty.as_slice() {
        [] => return None,
        [first, second, third, others @ ..] if !others.is_empty() => {
            format!("{first}, {second}, {third} and {} more", others.len())
        }
        few => few.join(", "),
    };
    Some(format!("doubt: a header and no row in {named}: was it exported whole?"))
}

/// One condition over all due episodes: its first outcome's change and rate of important change.
fn condition_line(condition: &ConditionFindings) -> String {
    let mut line = format!("{}: {} episodes due", condition.title, count(condition.episodes_due));
    let Some(outcome) = condition.outcomes.first() else { return line };
    let change = outcome.change.iter().find(|row| row.period == Period::All && row.site.is_none());
    if let Some(change) = change
        && let (Shown::Value(from), Shown::Value(to)) = (change.baseline_mean, change.endpoint_mean)
    {
        let decimals = outcome.decimals.max(1);
        let _ = write!(line, "; {}: {from:.decimals$} to {to:.decimals$}", outcome.title);
    }
    let important = outcome
        .responders
        .iter()
        .find(|row| row.period == Period::All && row.site.is_none() && row.definition == "minimal_important");
    if let Some(row) = important
        && let (Shown::Value(rate), Shown::Value(worst), Shown::Value(best)) = (row.rate, row.worst_case, row.best_case)
    {
        let _ = write!(
            line,
            "; {:.0} % importantly better ({:.0} to {:.0} % with the missing)",
            100.0 * rate.value,
            100.0 * worst,
            100.0 * best
        );
    }
    line
}

fn count(shown: Shown<u32>) -> String {
    match shown {
        Shown::Value(n) => n.to_string(),
        Shown::Withheld => "few".to_owned(),
        Shown::Missing => "no".to_owned(),
    }
}
