//! `datapackage.json`: the sheets of a folder, described by the Data Package standard, version 2.
//!
//! There is no `created` time in it: same input, same bytes. Parquet files are not named, since the
//! standard's validator needs an extension for them.

use super::sheet::{Column, Form, Kind};
use crate::error::Problem;
use crate::outputs::create;
use crate::report::wording::notice::Rounding;
use serde_json::{Map, Value, json};
use sha2::{Digest, Sha256};
use std::fmt::Write;
use std::path::Path;

const PACKAGE: &str = "https://datapackage.org/profiles/2.0/datapackage.json";
const RESOURCE: &str = "https://datapackage.org/profiles/2.0/dataresource.json";
const SCHEMA: &str = "https://datapackage.org/profiles/2.0/tableschema.json";

/// Describes the sheets that stand in a folder and writes `FOLDER/datapackage.json`. `rounding`: how their numbers are rounded.
///
/// # Errors
/// A sheet cannot be read, or the description cannot be written.
pub fn write(
    folder: &Path,
    name: &str,
    title: &str,
    rounding: Option<Rounding>,
    forms: &[&Form],
) -> Result<(), Problem> {
    let resources = forms.iter().map(|form| resource(folder, form, rounding)).collect::<Result<Vec<_>, _>>()?;
    let mut description =
        "Descriptive outcomes; no comparison group, so improvement cannot be put down to traction. A text that begins with = + - @ \
         has an apostrophe before it, so that no spreadsheet takes it for a formula."
            .to_owned();
    if let Some(rounding) = rounding {
        description.push(' ');
        description.push_str(rounding.in_words);
    }
    let package = json!({
        "$schema": PACKAGE,
        "name": name,
        "title": title,
        "description": description,
        "version": env!("CARGO_PKG_VERSION"),
        "resources": resources,
    });
    let path = folder.join("datapackage.json");
    let text = serde_json::to_string_pretty(&package).map_err(|error| Problem::failure(error.to_string()))?;
    create::write(&path, (text + "\n").as_bytes()).map_err(|error| Problem::io(&path, &error))
}

fn resource(folder: &Path, form: &Form, rounding: Option<Rounding>) -> Result<Value, Problem> {
    let file = format!("{}.csv", form.name);
    let path = folder.join(&file);
    let bytes = std::fs::read(&path).map_err(|error| Problem::io(&path, &error))?;
    let mut schema = Map::new();
    schema.insert("$schema".into(), SCHEMA.into());
    schema.insert("fieldsMatch".into(), "exact".into());
    schema.insert("missingValues".into(), json!([""]));
    schema.insert("fields".into(), form.columns.iter().map(|column| field(column, rounding)).collect());
    if !form.key.is_empty() {
        schema.insert("primaryKey".into(), json!(form.key));
    }
    Ok(json!({
        "$schema": RESOURCE,
        "name": form.name,
        "type": "table",
        "title": form.title,
        "path": file,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": bytes.len(),
        "hash": format!("sha256:{}", hex(&Sha256::digest(&bytes))),
        "schema": schema,
    }))
}

fn field(column: &Column, rounding: Option<Rounding>) -> Value {
    let mut constraints = Map::new();
    if column.required {
        constraints.insert("required".into(), true.into());
    }
    let kind = match column.kind {
        Kind::Text => "string",
        Kind::Count => {
            constraints.insert("minimum".into(), 0.into());
            "integer"
        }
        Kind::Number => "number",
        Kind::Share => {
            constraints.insert("minimum".into(), 0.into());
            constraints.insert("maximum".into(), 1.into());
            "number"
        }
        Kind::Flag => "boolean",
        Kind::Period => {
            constraints.insert("pattern".into(), "all|[0-9]{4}-Q[1-4]".into());
            "string"
        }
        Kind::OneOf(words) => {
            constraints.insert("enum".into(), json!(words));
            "string"
        }
    };
    let description = match rounding.map(|rounding| rounding.of_counts) {
        Some(of_counts) if column.kind == Kind::Count && column.name != "visit_no" => {
            format!("{}{of_counts}", column.description)
        }
        _ => column.description.to_owned(),
    };
    json!({ "name": column.name, "type": kind, "description": description, "constraints": constraints })
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        let _ = write!(text, "{byte:02x}"); // writing to a string cannot fail
        text
    })
}

#[cfg(test)]
mod tests {
    use super::super::{
        backtest, change, completeness, curve_points, disagreements, ordinal_change, reconciliation, recovery_curves,
        rejected_rows, responders, time_to_response,
    };
    use super::*;

    #[test]
    fn the_contract_columns_stand_first_and_in_order() {
        let contract = [
            (&reconciliation::FORM, "file, rows_read, rows_kept, rows_duplicate, rows_rejected, cells_blanked"),
            (&rejected_rows::FORM, "file, line, column, reason"),
            (&completeness::FORM, "period, site, condition, measure, episodes, with_baseline, with_endpoint, share"),
            (
                &responders::FORM,
                "period, site, condition, measure, definition, denominator, episodes, with_outcome, responders, rate, ci_low, ci_high, worst_case, best_case, imputed_rate, imputed_low, imputed_high",
            ),
            (
                &change::FORM,
                "period, site, condition, measure, episodes, baseline_mean, endpoint_mean, change_mean, change_sd, ci_low, ci_high, effect_size",
            ),
            (
                &recovery_curves::FORM,
                "condition, measure, model, patients, readings, parameter, estimate, std_error, ci_low, ci_high",
            ),
            (
                &curve_points::FORM,
                "condition, measure, day, mean, mean_low, mean_high, band_low, band_high, natural_course",
            ),
            (
                &time_to_response::FORM,
                "condition, measure, definition, episodes, events, median_day, ci_low, ci_high, p_logrank",
            ),
            (
                &backtest::FORM,
                "condition, measure, visit_no, patients, auc, brier, calibration_slope, band_coverage, sensitivity, specificity, ppv",
            ),
        ];
        for (form, columns) in contract {
            let names: Vec<&str> = form.columns.iter().map(|column| column.name).collect();
            assert!(names.join(", ").starts_with(columns), "{}: {names:?}", form.name);
        }
        let others = [&disagreements::FORM, &ordinal_change::FORM];
        for form in contract.iter().map(|(form, _)| *form).chain(others) {
            assert!(
                form.key.iter().all(|key| form.columns.iter().any(|column| column.name == *key && column.required))
            );
        }
    }

    #[test]
    fn a_resource_carries_the_size_and_hash_of_its_file() {
        let folder = tempfile::tempdir().unwrap();
        super::super::sheet::write(folder.path(), &rejected_rows::FORM, []).unwrap();
        write(folder.path(), "x", "X", None, &[&rejected_rows::FORM]).unwrap();
        let text = std::fs::read_to_string(folder.path().join("datapackage.json")).unwrap();
        let package: Value = serde_json::from_str(&text).unwrap();
        let resource = &package["resources"][0];
        let bytes = std::fs::read(folder.path().join("rejected_rows.csv")).unwrap();
        assert_eq!(resource["bytes"], bytes.len());
        assert_eq!(resource["schema"]["fields"].as_array().map(Vec::len), Some(5));
        // FIPS 180-4: the digest of the empty text
        assert_eq!(hex(&Sha256::digest(b"")), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    }
}
