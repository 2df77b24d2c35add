//! Readings without a visit: one row a score, `patient, date, scale, score`.

use super::{CallView, pain_label, percent, points};
use crate::sample::scores::{Form, FormKind, Pain};
use crate::sample::sheet::{Cell, ExportRow, Role, cell, decimal, plain};
use chrono::NaiveDate;

/// The site's labels of its questionnaires; a label ending in `points` means points of 50.
pub struct Labels {
    /// Low back.
    pub odi: &'static str,
    /// Neck.
    pub ndi: &'static str,
}

/// The labels of pain.
pub const PAIN_LABELS: [&str; 4] = ["NRS back", "NRS leg", "NRS neck", "NRS arm"];

/// All scores of the telephone readings.
pub fn rows(calls: &[CallView], dates: &str, labels: &Labels) -> Vec<ExportRow> {
    calls
        .iter()
        .flat_map(|c| scores(&c.patient.key, c.call.date, dates, &c.call.pains, c.call.form.as_ref(), labels))
        .collect()
}

/// The scores of one day of one patient, one row each.
pub fn scores(
    patient: &str,
    date: NaiveDate,
    dates: &str,
    pains: &[Pain],
    form: Option<&Form>,
    labels: &Labels,
) -> Vec<ExportRow> {
    let row = |label: &str, score: Cell| {
        ExportRow::sound(vec![
            cell(Role::Patient, patient),
            cell(Role::Day, date.format(dates).to_string()),
            plain(label),
            score,
        ])
    };
    let pains = pains.iter().map(|pain| row(pain_label(pain, PAIN_LABELS), cell(Role::Pain, pain.number.to_string())));
    let form = form.and_then(|form| {
        let label = if form.kind == FormKind::Odi { labels.odi } else { labels.ndi };
        let score = if label.ends_with("points") {
            points(form).map(plain)
        } else {
            percent(form).map(|p| cell(Role::Percent, decimal(p, 0, '.')))
        };
        score.map(|score| row(label, score))
    });
    pains.chain(form).collect()
}
