//! A checked mapping: how one system's export becomes rows.
//!
//! Checked means: every field, unit, scale, measure and word in it is known, no field is filled
//! twice, and what belongs together is together. Whether its columns exist is checked against
//! each export (see `rows::match_columns`).

use super::field::Field;
use crate::catalogue::{MeasureId, PainSite};
use crate::error::Spot;
use crate::units::Unit;
use std::path::PathBuf;

/// One row a visit, or one row a reading.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Layout {
    /// One row a visit, scores in their own columns.
    VisitRows,
    /// One row a reading, with a measure column and a value column.
    ReadingRows,
}

/// The form of an export file.
#[derive(Clone, PartialEq, Debug)]
pub struct FileForm {
    /// One row a visit, or a reading.
    pub layout: Layout,
    /// Whether its rows are visits.
    pub treated: bool,
    /// The byte between fields.
    pub delimiter: u8,
    /// The encoding, when no byte-order mark says otherwise.
    pub encoding: &'static encoding_rs::Encoding,
    /// `.` or `,`.
    pub decimal: u8,
    /// The thousands separator, if any.
    pub thousands: Option<u8>,
    /// How dates are written, as a chrono format.
    pub dates: String,
    /// Cells that mean missing, besides the empty cell.
    pub missing: Vec<String>,
    /// Lines before the header.
    pub skip_lines: u32,
}

/// A source column: its header text, and which of several with that text (from 1).
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ColumnName {
    /// The header text, trimmed.
    pub text: String,
    /// Which column of that text, from 1.
    pub nth: u32,
    /// Whether the mapping says which (`pain#1`).
    pub numbered: bool,
    /// Where the mapping names it.
    pub spot: Spot,
}

/// Where a field's cells come from.
#[derive(Clone, PartialEq, Debug)]
pub enum Source {
    /// A column of the export.
    Column(ColumnName),
    /// The same text for every row.
    Fixed(String),
}

/// Where a quantity's unit stands.
#[derive(Clone, PartialEq, Debug)]
pub enum UnitRule {
    /// The whole column is in this unit.
    Fixed(Unit),
    /// Another column names the unit.
    Column(ColumnName),
    /// Each cell names it: `40 lb`.
    InCell,
}

/// One field and how to read it.
#[derive(Clone, PartialEq, Debug)]
pub struct FieldRule {
    /// The field.
    pub field: Field,
    /// Where from.
    pub source: Source,
    /// The unit, for quantities.
    pub unit: Option<UnitRule>,
    /// Further cells that mean missing in this column.
    pub missing: Vec<String>,
    /// (their word, canonical word or number), lower-cased and trimmed; canonical words included.
    pub words: Vec<(String, String)>,
    /// Where the mapping says so.
    pub spot: Spot,
}

/// A score of a wide export, or a value of a long one: what it measures.
#[derive(Clone, PartialEq, Debug)]
pub struct ScoreKind {
    /// The measure.
    pub measure: MeasureId,
    /// Where the pain is.
    pub pain_site: PainSite,
    /// native = written * factor + offset.
    pub factor: f64,
    /// See `factor`.
    pub offset: f64,
    /// (their word, number as written on the scale), lower-cased and trimmed.
    pub words: Vec<(String, f64)>,
}

/// One score of a visit row.
#[derive(Clone, PartialEq, Debug)]
pub struct ScoreRule {
    /// What it measures.
    pub kind: ScoreKind,
    /// One column with the score, or the item columns.
    pub columns: ScoreColumns,
    /// Where the mapping says so.
    pub spot: Spot,
}

/// Where a score stands.
#[derive(Clone, PartialEq, Debug)]
pub enum ScoreColumns {
    /// The whole score in one column.
    Whole(ColumnName),
    /// One column an item.
    Items(Vec<ColumnName>),
}

/// How reading rows name their measure.
#[derive(Clone, PartialEq, Debug)]
pub struct ReadingRule {
    /// The column that names the measure.
    pub measure_column: ColumnName,
    /// The column with the score.
    pub value_column: ColumnName,
    /// Their name of the measure, trimmed -> what it measures; `None`: known and not wanted (`ignore = true`).
    pub kinds: Vec<(String, Option<ScoreKind>)>,
}

/// A declared filter: rows whose cell is not one of these are left out.
#[derive(Clone, PartialEq, Debug)]
pub struct KeepRule {
    /// The column.
    pub column: ColumnName,
    /// The cells that keep a row, as written, trimmed.
    pub only: Vec<String>,
}

/// A checked mapping.
#[derive(Clone, PartialEq, Debug)]
pub struct Mapping {
    /// The mapping file.
    pub path: PathBuf,
    /// The form of the export.
    pub form: FileForm,
    /// The fields, each at most once.
    pub fields: Vec<FieldRule>,
    /// Scores of visit rows.
    pub scores: Vec<ScoreRule>,
    /// Readings of reading rows.
    pub readings: Option<ReadingRule>,
    /// Declared filters.
    pub keep: Vec<KeepRule>,
    /// Columns never read past the privacy gate.
    pub drop: Vec<ColumnName>,
    /// Columns known, harmless and not used.
    pub ignore: Vec<ColumnName>,
}

impl FieldRule {
    fn named(&self) -> impl Iterator<Item = &ColumnName> {
        let source = match &self.source {
            Source::Column(column) => Some(column),
            Source::Fixed(_) => None,
        };
        let unit = match &self.unit {
            Some(UnitRule::Column(column)) => Some(column),
            _ => None,
        };
        source.into_iter().chain(unit)
    }
}

impl ScoreRule {
    fn named(&self) -> &[ColumnName] {
        match &self.columns {
            ScoreColumns::Whole(column) => std::slice::from_ref(column),
            ScoreColumns::Items(columns) => columns,
        }
    }
}

impl Mapping {
    /// Every column that it names.
    pub fn columns(&self) -> impl Iterator<Item = &ColumnName> {
        let fields = self.fields.iter().flat_map(FieldRule::named);
        let scores = self.scores.iter().flat_map(ScoreRule::named);
        let readings = self.readings.iter().flat_map(|rule| [&rule.measure_column, &rule.value_column]);
        let keep = self.keep.iter().map(|rule| &rule.column);
        fields.chain(scores).chain(readings).chain(keep).chain(&self.drop).chain(&self.ignore)
    }
}
