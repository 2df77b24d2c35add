//! The account of rows. Of a release in fifties, so that no patient's number of visits is told, without reasons of few rows, and without the
//! lines they stand on.

use super::Precision;
use crate::findings::quality::{DataQuality, FileAccount};

/// Reasons and facts that fewer rows or episodes stand behind are not told in a release.
const FEW: u64 = 10;
/// Rows of a file are given in multiples of it.
const ROWS: u64 = 50;

pub(in crate::findings) fn round_quality(quality: &mut DataQuality, precision: Precision) {
    if !precision.is_release() {
        return;
    }
    quality.files.iter_mut().for_each(account);
    quality.total = FileAccount::total(&quality.files);
    for reasons in [&mut quality.rejections, &mut quality.blanked, &mut quality.disagreements] {
        reasons.retain(|reason| reason.count > FEW);
        for reason in reasons {
            reason.count = precision.count_of_rows(reason.count);
            reason.first_line = 0;
        }
    }
    quality.episode_notes.retain(|(_, count)| *count == 0 || *count > FEW);
    quality.episode_notes.iter_mut().for_each(|(_, count)| *count = precision.count_of_rows(*count));
}

/// Rows and lines are the sums of their rounded parts, so that the account balances.
fn account(file: &mut FileAccount) {
    for rows in [
        &mut file.rows_kept,
        &mut file.rows_duplicate,
        &mut file.rows_rejected,
        &mut file.rows_left_out,
        &mut file.rows_not_listed,
        &mut file.lines_blank,
        &mut file.lines_in_cells,
        &mut file.cells_blanked,
    ] {
        *rows = (*rows + ROWS / 2) / ROWS * ROWS;
    }
    file.rows_read = file.rows_kept + file.rows_duplicate + file.rows_rejected;
    file.lines = file.lines_of_head + file.lines_blank + file.rows_read + file.lines_in_cells;
}
