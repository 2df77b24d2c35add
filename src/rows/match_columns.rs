//! Mapping + header -> a plan: which column each cell comes from and how it is read.
//!
//! The plan is made once a file. What it finds wrong points into the mapping.

use super::dates::DateForm;
use super::number::NumberForm;
use crate::error::{Problem, Spot};
use crate::group::field::{Field, Kind};
use crate::group::mapping::{ColumnName, FieldRule, Layout, Mapping, ScoreColumns, ScoreKind, Source, UnitRule};
use crate::group::settings::Group;
use crate::units::Unit;
use std::collections::HashMap;
use std::path::Path;

/// How to read the rows of one file.
#[derive(Debug)]
pub struct Plan<'g> {
    /// Fields in a record.
    pub width: usize,
    /// Registries.
    pub group: &'g Group,
    /// The mapping behind it.
    pub mapping: &'g Mapping,
    /// The site when no column names it.
    pub site: Option<&'g str>,
    /// Number form.
    pub numbers: NumberForm,
    /// Date form.
    pub dates: DateForm,
    /// Fields in reading order (body mass before forces, so that percentages can be resolved).
    pub fields: Vec<FieldPlan<'g>>,
    /// Scores of visit rows.
    pub scores: Vec<ScorePlan<'g>>,
    /// (measure column, value column, kinds) of reading rows.
    pub readings: Option<ReadingPlan<'g>>,
    /// Declared filters: column, cells that keep the row.
    pub keep: Vec<(u16, &'g [String])>,
    /// First header cell, to know the header when it stands again.
    pub header: Vec<String>,
    /// Names of dropped columns that the file has.
    pub dropped: Vec<String>,
    /// Columns that the mapping does not mention.
    pub unmapped: Vec<u16>,
    /// Columns that the mapping does not drop: what the privacy gate looks at.
    pub screened: Vec<u16>,
    /// Of each column whether it is declared as text that nothing is read from: dropped, or ignored.
    pub text: Vec<bool>,
    /// The column of the patient key.
    pub patient_column: Option<u16>,
}

/// Where one field's text comes from.
#[derive(Clone, Copy, Debug)]
pub enum CellSource<'g> {
    /// A column.
    Column(u16),
    /// The same text for every row.
    Fixed(&'g [u8]),
}

/// Where a quantity's unit comes from.
#[derive(Clone, Copy, Debug)]
pub enum UnitPlan {
    /// One unit for the column.
    Fixed(Unit),
    /// Another column.
    Column(u16),
    /// Beside the number.
    InCell,
}

/// How to read one field.
#[derive(Debug)]
pub struct FieldPlan<'g> {
    /// The field.
    pub field: Field,
    /// Its kind.
    pub kind: Kind,
    /// Where from.
    pub source: CellSource<'g>,
    /// The unit of a quantity.
    pub unit: Option<UnitPlan>,
    /// Cells that mean missing.
    pub missing: Vec<&'g [u8]>,
    /// Their words, lower-cased, with the canonical word or number.
    pub words: &'g [(String, String)],
}

impl FieldPlan<'_> {
    /// The column to blame; the first one for a fixed text.
    pub fn column(&self) -> u16 {
        match self.source {
            CellSource::Column(column) => column,
            CellSource::Fixed(_) => 0,
        }
    }
}

/// How to read one score of a visit row.
#[derive(Debug)]
pub struct ScorePlan<'g> {
    /// What it measures.
    pub kind: &'g ScoreKind,
    /// The columns: one, or one an item.
    pub columns: Vec<u16>,
    /// Whether the columns are items.
    pub items: bool,
}

/// How to read the score of a reading row.
#[derive(Debug)]
pub struct ReadingPlan<'g> {
    /// The column that names the measure.
    pub measure_column: u16,
    /// The column with the score.
    pub value_column: u16,
    /// Their names of the measures.
    pub kinds: HashMap<&'g [u8], Option<&'g ScoreKind>>,
}

/// Matches a mapping with a file's header.
///
/// # Errors
/// A column that the mapping names is not in the file, or stands there twice.
pub fn plan<'g>(
    group: &'g Group,
    mapping: &'g Mapping,
    site: Option<&'g str>,
    header: &[String],
    shown: &Path,
) -> Result<Plan<'g>, Problem> {
    let columns = Columns { header, shown, mapping };
    let mut used = vec![false; header.len()];
    let mut find = |name: &ColumnName| -> Result<u16, Problem> {
        let at = columns.find(name)?;
        if let Some(flag) = used.get_mut(usize::from(at)) {
            *flag = true;
        }
        Ok(at)
    };

    let mut fields = Vec::new();
    for rule in &mapping.fields {
        fields.push(field_plan(rule, mapping, &mut find)?);
    }
    // body mass and height first: percentages and the body-mass index need them
    fields.sort_by_key(|plan| (!matches!(plan.field, Field::BodyMass | Field::Height), plan.field));

    let mut scores = Vec::new();
    for rule in &mapping.scores {
        let (names, items) = match &rule.columns {
            ScoreColumns::Whole(name) => (std::slice::from_ref(name), false),
            ScoreColumns::Items(names) => (names.as_slice(), true),
        };
        let columns = names.iter().map(&mut find).collect::<Result<Vec<_>, _>>()?;
        scores.push(ScorePlan { kind: &rule.kind, columns, items });
    }
    let readings = match &mapping.readings {
        Some(rule) if mapping.form.layout == Layout::ReadingRows => Some(ReadingPlan {
            measure_column: find(&rule.measure_column)?,
            value_column: find(&rule.value_column)?,
            kinds: rule.kinds.iter().map(|(name, kind)| (name.as_bytes(), kind.as_ref())).collect(),
        }),
        _ => None,
    };
    let mut keep = Vec::new();
    for rule in &mapping.keep {
        keep.push((find(&rule.column)?, rule.only.as_slice()));
    }

    let mut dropped_flags = vec![false; header.len()];
    let mut dropped = Vec::new();
    // a dropped or ignored column may be absent: not every export of a system has every column
    for name in &mapping.drop {
        for (i, text) in header.iter().enumerate() {
            if *text == name.text {
                if let Some(flag) = dropped_flags.get_mut(i) {
                    *flag = true;
                }
                dropped.push(text.clone());
            }
        }
    }
    let ignored = |text: &str| mapping.ignore.iter().any(|name| name.text == text);
    let flag = |flags: &[bool], i: usize| flags.get(i).copied().unwrap_or(false);
    let unmapped = (0..header.len())
        .filter(|&i| !flag(&used, i) && !flag(&dropped_flags, i) && !header.get(i).is_some_and(|text| ignored(text)))
        .map(|i| i as u16)
        .collect();
    let screened = (0..header.len()).filter(|&i| !flag(&dropped_flags, i)).map(|i| i as u16).collect();
    let text = (0..header.len())
        .map(|i| flag(&dropped_flags, i) || !flag(&used, i) && header.get(i).is_some_and(|text| ignored(text)))
        .collect();
    let patient_column = fields.iter().find(|f| f.field == Field::Patient).map(FieldPlan::column);

    Ok(Plan {
        width: header.len(),
        group,
        mapping,
        site,
        numbers: NumberForm { decimal: mapping.form.decimal, thousands: mapping.form.thousands },
        dates: DateForm::new(&mapping.form.dates),
        fields,
        scores,
        readings,
        keep,
        header: header.to_vec(),
        dropped,
        unmapped,
        screened,
        text,
        patient_column,
    })
}

fn field_plan<'g>(
    rule: &'g FieldRule,
    mapping: &'g Mapping,
    find: &mut impl FnMut(&ColumnName) -> Result<u16, Problem>,
) -> Result<FieldPlan<'g>, Problem> {
    let source = match &rule.source {
        Source::Column(name) => CellSource::Column(find(name)?),
        Source::Fixed(text) => CellSource::Fixed(text.as_bytes()),
    };
    let unit = match &rule.unit {
        None => None,
        Some(UnitRule::Fixed(unit)) => Some(UnitPlan::Fixed(*unit)),
        Some(UnitRule::Column(name)) => Some(UnitPlan::Column(find(name)?)),
        Some(UnitRule::InCell) => Some(UnitPlan::InCell),
    };
    Ok(FieldPlan {
        field: rule.field,
        kind: rule.field.kind(),
        source,
        unit,
        missing: rule.missing.iter().chain(&mapping.form.missing).map(String::as_bytes).collect(),
        words: &rule.words,
    })
}

struct Columns<'a> {
    header: &'a [String],
    shown: &'a Path,
    mapping: &'a Mapping,
}

impl Columns<'_> {
    fn find(&self, name: &ColumnName) -> Result<u16, Problem> {
        let mut places = self.header.iter().enumerate().filter(|(_, text)| **text == name.text).map(|(i, _)| i);
        let count = places.clone().count();
        let spot =
            if name.spot.file.as_os_str().is_empty() { Spot::file(&self.mapping.path) } else { name.spot.clone() };
        if count > 1 && !name.numbered {
            return Err(Problem::input(format!("{} has {count} columns called '{}'", self.shown.display(), name.text))
                .at(spot)
                .hint(format!("say which is meant: '{0}#1', '{0}#2', ...", name.text)));
        }
        match places.nth(name.nth.saturating_sub(1) as usize) {
            Some(at) => u16::try_from(at).map_err(|_| {
                Problem::input("the file has more than 65,535 columns")
                    .at(Spot::line(self.shown, 1))
                    .hint("check the delimiter under [file] in the mapping")
            }),
            None => Err(self.not_found(name, spot)),
        }
    }

    fn not_found(&self, name: &ColumnName, spot: Spot) -> Problem {
        let problem = Problem::input(format!("{} has no column '{}'", self.shown.display(), name.text)).at(spot);
        if let [only] = self.header
            && let Some(other) = [';', ',', '\t', '|'].into_iter().find(|c| only.contains(*c))
        {
            let shown = if other == '\t' { "tab".to_owned() } else { other.to_string() };
            return problem.hint(format!(
                "the whole header line was read as one column; it seems to be separated by '{shown}': set delimiter under [file]"
            ));
        }
        let nearest = self
            .header
            .iter()
            .map(|text| (strsim::jaro_winkler(&text.to_lowercase(), &name.text.to_lowercase()), text))
            .filter(|(likeness, _)| *likeness > 0.8)
            .max_by(|a, b| a.0.total_cmp(&b.0));
        match nearest {
            Some((_, text)) => problem.hint(format!("did you mean '{text}'?")),
            None => problem.hint("correct the name, or take the line out of the mapping"),
        }
    }
}
