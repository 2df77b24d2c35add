//! Findings -> CSV sheets with their schema: one file a sheet, columns and schema from one list.

pub mod backtest;
pub mod case_mix_models;
pub mod change;
pub mod columns;
pub mod completeness;
pub mod curve_points;
pub mod datapackage;
pub mod disagreements;
pub mod dose_associations;
pub mod dose_by_site;
pub mod dose_by_visit;
pub mod lines_in_cells;
pub mod on_track;
pub mod ordinal_change;
pub mod reconciliation;
pub mod recovery_curves;
pub mod rejected_rows;
pub mod responders;
pub mod setup_conformance;
pub mod setup_findings;
pub mod setup_variation;
pub mod sheet;
pub mod site_comparison;
pub mod time_to_response;

#[cfg(test)]
mod sheet_tests;
