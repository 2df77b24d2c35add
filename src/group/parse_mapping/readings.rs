//! `[readings]`: how reading rows name their measure.

use super::super::document::Table;
use super::super::mapping::{Layout, ReadingRule};
use super::filters::column_name;
use super::scores;
use crate::catalogue::Measures;
use crate::error::Problem;

const NAME: &str = "[readings]";

/// Reads `[readings]`: required in reading rows, refused in visit rows.
pub(super) fn parse(mapping: &Table, layout: Layout, measures: &Measures) -> Result<Option<ReadingRule>, Problem> {
    let table = match (mapping.entry("readings"), layout) {
        (None, Layout::VisitRows) => return Ok(None),
        (Some(entry), Layout::VisitRows) => {
            return Err(Problem::input("[readings] belongs to reading rows, and the layout is \"visit rows\"")
                .at(entry.key_spot.clone())
                .hint("map each score under [[scores]], or set layout = \"reading rows\" under [file]"));
        }
        (None, Layout::ReadingRows) => {
            return Err(mapping
                .problem("the layout is \"reading rows\", and there is no [readings]")
                .hint("add [readings] with measure_column, value_column and [readings.measures]"));
        }
        (Some(entry), Layout::ReadingRows) => entry.node.table(NAME)?,
    };
    table.only(&["measure_column", "value_column", "measures"], NAME)?;
    let measure_column = column_name(table.require("measure_column", NAME)?, "measure_column")?;
    let value_column = column_name(table.require("value_column", NAME)?, "value_column")?;
    let names = table.require("measures", NAME)?.table("[readings.measures]")?;

    let (mut kinds, mut seen) = (Vec::new(), Vec::new());
    for entry in &names.entries {
        let shown = format!("`{}`", entry.key);
        let kind = entry.node.table(&entry.key)?;
        kind.only(&["measure", "of", "scale", "words", "ignore"], &shown)?;
        let ignored = kind.get("ignore").map_or(Ok(false), |node| node.yes_no("ignore"))?;
        if ignored && kind.get("measure").is_some() {
            return Err(kind
                .problem(format!("{shown} is both ignored and measured"))
                .hint("keep `ignore = true` alone, or take it out"));
        }
        let name = entry.key.trim().to_owned();
        seen.push((name.clone(), entry.key_spot.clone()));
        kinds.push((name, if ignored { None } else { Some(scores::kind(kind, &shown, measures)?) }));
    }
    scores::refuse_repeated(&seen)?;
    if kinds.iter().all(|(_, kind)| kind.is_none()) {
        return Err(names
            .problem("[readings.measures] names no measure")
            .hint("add a line such as \"Pain\" = { measure = \"pain_nrs\" } with the export's own name before the ="));
    }
    Ok(Some(ReadingRule { measure_column, value_column, kinds }))
}
