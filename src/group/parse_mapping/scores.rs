//! `[[scores]]`: the scores of visit rows.

use super::super::document::{Node, Table};
use super::super::mapping::{Layout, ScoreColumns, ScoreKind, ScoreRule};
use super::super::suggest::did_you_mean;
use super::filters::column_name;
use super::words;
use crate::catalogue::measure::{BlankRule, Domain};
use crate::catalogue::{Measure, Measures, PainSite};
use crate::error::{Problem, Spot};

/// Reads every `[[scores]]`.
pub(super) fn parse(mapping: &Table, layout: Layout, measures: &Measures) -> Result<Vec<ScoreRule>, Problem> {
    let Some(entry) = mapping.entry("scores") else { return Ok(Vec::new()) };
    if layout == Layout::ReadingRows {
        return Err(Problem::input("[[scores]] belongs to visit rows, and the layout is \"reading rows\"")
            .at(entry.key_spot.clone())
            .hint("describe the measures under [readings], or set layout = \"visit rows\""));
    }
    let mut rules: Vec<ScoreRule> = Vec::new();
    for table in entry.node.tables("scores")? {
        let rule = rule(table, measures)?;
        let same = |earlier: &&ScoreRule| {
            (earlier.kind.measure, earlier.kind.pain_site) == (rule.kind.measure, rule.kind.pain_site)
        };
        if let Some(earlier) = rules.iter().find(same) {
            return Err(table
                .problem(format!("this score is mapped twice (first at {})", earlier.spot))
                .hint("keep one, or tell pain scores apart by `of`"));
        }
        rules.push(rule);
    }
    Ok(rules)
}

fn rule(table: &Table, measures: &Measures) -> Result<ScoreRule, Problem> {
    table.only(&["measure", "of", "column", "items", "scale", "words"], "[[scores]]")?;
    let kind = kind(table, "[[scores]]", measures)?;
    let columns = match (table.get("column"), table.entry("items")) {
        (Some(node), None) => ScoreColumns::Whole(column_name(node, "column")?),
        (None, Some(items)) => item_columns(table, &items.node, measures.get(kind.measure))?,
        (Some(_), Some(items)) => {
            return Err(Problem::input("a score has either one column or one a item, not both")
                .at(items.key_spot.clone())
                .hint("keep `items` when the export has them: a score can then be checked for blanks"));
        }
        (None, None) => {
            return Err(table
                .problem("the score names no column")
                .hint("add column = \"header text\", or items = [...] with one column an item"));
        }
    };
    Ok(ScoreRule { kind, columns, spot: table.spot.clone() })
}

fn item_columns(table: &Table, node: &Node, measure: &Measure) -> Result<ScoreColumns, Problem> {
    if let Some(scale) = table.entry("scale") {
        return Err(Problem::input("items are scored by the measure's own rule and take no `scale`")
            .at(scale.key_spot.clone())
            .hint("take `scale` out"));
    }
    let columns: Vec<_> =
        node.list("items")?.iter().map(|item| column_name(item, "items")).collect::<Result<_, _>>()?;
    let Some(items) = &measure.items else {
        return Err(node
            .problem(format!("`{}` has no items", measure.key))
            .hint("name the one column of the score as column = \"header text\""));
    };
    let most = usize::from(items.count);
    // a patient names three to five activities: an export need not have columns for five
    let fewest = if items.rule == BlankRule::MeanOfNamed { usize::from(items.fewest_answered) } else { most };
    if !(fewest..=most).contains(&columns.len()) {
        return Err(node
            .problem(format!("`{}` has {most} items, and {} columns are listed", measure.key, columns.len()))
            .hint("list one column an item, in the order of the questionnaire"));
    }
    Ok(ScoreColumns::Items(columns))
}

/// What a score measures: `measure`, `of`, `scale` and `words` of a table.
pub(super) fn kind(table: &Table, name: &str, measures: &Measures) -> Result<ScoreKind, Problem> {
    let node = table.require("measure", name)?;
    let key = node.filled_text("measure")?;
    let Some(id) = measures.find(key) else {
        let keys = measures.iter().map(|(_, measure)| measure.key.as_str());
        return Err(node.problem(format!("there is no measure `{key}`")).hint(did_you_mean(key, keys)));
    };
    let measure = measures.get(id);
    let (factor, offset) = match table.get("scale") {
        Some(node) => scale(node, measure)?,
        None => (1.0, 0.0),
    };
    Ok(ScoreKind {
        measure: id,
        pain_site: pain_site(table, measure)?,
        factor,
        offset,
        words: words::of_score(table.get("words"), measure)?,
    })
}

fn scale(node: &Node, measure: &Measure) -> Result<(f64, f64), Problem> {
    let name = node.cell("scale")?;
    match measure.scale(name) {
        Some(scale) => Ok((scale.factor, scale.offset)),
        None => {
            let names: Vec<String> = measure.scale_names().map(|name| format!("\"{name}\"")).collect();
            Err(node
                .problem(format!("`{}` has no scale `{name}`", measure.key))
                .hint(format!("its scales are: {}", names.join(", "))))
        }
    }
}

fn pain_site(table: &Table, measure: &Measure) -> Result<PainSite, Problem> {
    const SITES: [PainSite; 5] = [PainSite::Back, PainSite::Leg, PainSite::Neck, PainSite::Arm, PainSite::Other];
    let Some(entry) = table.entry("of") else { return Ok(PainSite::Unspecified) };
    if measure.domain != Domain::Pain {
        return Err(Problem::input(format!("`{}` is not a measure of pain in one place", measure.key))
            .at(entry.key_spot.clone())
            .hint("take `of` out"));
    }
    let word = entry.node.filled_text("of")?;
    SITES.into_iter().find(|site| site.key() == word).ok_or_else(|| {
        entry
            .node
            .problem(format!("there is no site of pain `{word}`"))
            .hint(did_you_mean(word, SITES.iter().map(|site| site.key())))
    })
}

/// Refuses a second kind of the same name; used by `[readings.measures]`.
pub(super) fn refuse_repeated(names: &[(String, Spot)]) -> Result<(), Problem> {
    for (i, (name, spot)) in names.iter().enumerate() {
        if let Some((_, first)) = names.iter().take(i).find(|(earlier, _)| earlier == name) {
            return Err(Problem::input(format!("`{name}` stands twice (first at {first})"))
                .at(spot.clone())
                .hint("surrounding spaces make no difference: keep one"));
        }
    }
    Ok(())
}
