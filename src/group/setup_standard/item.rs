//! `[[item]]`: what one parameter should be.

use crate::catalogue::Region;
use crate::catalogue::parameter::{Nature, Parameter};
use crate::catalogue::setup_standard::{Grade, ReadingUnit, StandardItem, Target};
use crate::error::{Problem, Spot};
use crate::group::document::{Node, Table};
use crate::group::suggest::did_you_mean;
use crate::units::{Dimension, Unit};

const NAME: &str = "[[item]]";
const KEYS: [&str; 9] = ["parameter", "region", "position", "target", "tolerance", "unit", "grade", "source", "note"];

/// The unit of a yes or no and of words.
const NO_UNIT: ReadingUnit = ReadingUnit { symbol: "", factor: 1.0 };

/// All items; no visit may fall under two for one parameter.
pub(super) fn items(tables: &[&Table]) -> Result<Vec<StandardItem>, Problem> {
    let mut items: Vec<StandardItem> = Vec::with_capacity(tables.len());
    let mut spots: Vec<Spot> = Vec::with_capacity(tables.len());
    for table in tables {
        let item = item(table)?;
        let same = |other: &StandardItem| {
            other.parameter == item.parameter
                && other.region == item.region
                && (other.position == item.position || other.position.is_none() || item.position.is_none())
        };
        if let Some((other, spot)) = items.iter().zip(&spots).find(|(other, _)| same(other)) {
            let (parameter, region) = (item.parameter.key(), item.region.key());
            let what = format!("a second item for {region} {parameter}; the first is at {spot}");
            let hint = match other.position == item.position {
                true => "keep one of the two, or give each a position of its own",
                false => "one of the two holds for both positions: give each a position of its own",
            };
            return Err(table.problem(what).hint(hint));
        }
        items.push(item);
        spots.push(table.spot.clone());
    }
    Ok(items)
}

fn item(table: &Table) -> Result<StandardItem, Problem> {
    table.only(&KEYS, NAME)?;
    let keys = Parameter::ALL.map(Parameter::key);
    let parameter = word(table.require("parameter", NAME)?, "parameter", Parameter::parse, &keys)?;
    let regions = [Region::Lumbar, Region::Cervical, Region::Other].map(Region::key);
    let region = word(table.require("region", NAME)?, "region", Region::parse, &regions)?;
    let grades = [Grade::Required, Grade::Advised];
    let grade_of = |word: &str| grades.into_iter().find(|grade| grade.key() == word);
    let grade = word(table.require("grade", NAME)?, "grade", grade_of, &grades.map(Grade::key))?;
    let (target, unit) = target(table, parameter)?;
    Ok(StandardItem {
        parameter,
        region,
        position: table.get("position").map(|node| position(node, parameter)).transpose()?,
        target,
        grade,
        unit,
        source: source(table)?,
        note: table.get("note").map_or(Ok(""), |node| node.text("note"))?.trim().to_owned(),
    })
}

/// One of the words that a key may have.
fn word<T>(node: &Node, key: &str, parse: impl Fn(&str) -> Option<T>, known: &[&str]) -> Result<T, Problem> {
    let word = node.filled_text(key)?;
    parse(word).ok_or_else(|| {
        node.problem(format!("`{key}` cannot be `{word}`")).hint(did_you_mean(word, known.iter().copied()))
    })
}

fn position(node: &Node, parameter: Parameter) -> Result<&'static str, Problem> {
    if parameter == Parameter::Position {
        return Err(node
            .problem("an item on the position cannot hold for one position")
            .hint("take this line out; the position asked for is the `target`"));
    }
    let Nature::Word(words) = Parameter::Position.nature() else { return Ok("") };
    word(node, "position", |word| words.iter().copied().find(|known| *known == word), words)
}

fn source(table: &Table) -> Result<String, Problem> {
    let hint = "say who or what it comes from, such as source = \"our protocol of March 2026\" or \
                \"common practice, no published source\"";
    let node = table.require("source", NAME).map_err(|problem| problem.hint(hint))?;
    node.filled_text("source").map(str::to_owned).map_err(|problem| problem.hint(hint))
}

fn target(table: &Table, parameter: Parameter) -> Result<(Target, ReadingUnit), Problem> {
    let node = table.require("target", NAME)?;
    let key = parameter.key();
    let not_a_number = |what: &str| -> Result<(), Problem> {
        match ["tolerance", "unit"].into_iter().find_map(|key| table.entry(key)) {
            None => Ok(()),
            Some(entry) => Err(Problem::input(format!("`{}` is for numbers, and {key} is {what}", entry.key))
                .at(entry.key_spot.clone())
                .hint("take this line out")),
        }
    };
    match parameter.nature() {
        Nature::Number { unit, dimension } => {
            let unit = reading_unit(table.get("unit"), key, unit, dimension)?;
            Ok((number(table, node, parameter, unit)?, unit))
        }
        Nature::YesNo => {
            let hint = format!("{key} is a yes or no: write target = true");
            let yes = node.yes_no("target").map_err(|problem| problem.hint(hint))?;
            not_a_number("a yes or no")?;
            Ok((Target::YesNo(yes), NO_UNIT))
        }
        Nature::Word(words) => {
            let place = |word: &str| words.iter().position(|known| *known == word);
            let hint = || format!("{key} is one of: {}", words.join(", "));
            node.text("target").map_err(|problem| problem.hint(hint()))?;
            let target = Target::Word(word(node, "target", place, words)?);
            not_a_number("a word")?;
            Ok((target, NO_UNIT))
        }
    }
}

/// The unit an item is written in; without one the parameter's own.
fn reading_unit(
    node: Option<&Node>,
    key: &str,
    own: &'static str,
    dimension: Option<Dimension>,
) -> Result<ReadingUnit, Problem> {
    let Some(node) = node else { return Ok(ReadingUnit { symbol: own, factor: 1.0 }) };
    let text = node.filled_text("unit")?;
    let wrong = |units: &str| node.problem(format!("{key} has no unit `{text}`")).hint(format!("write {units}"));
    let Some(dimension) = dimension else {
        return if text == own { Ok(ReadingUnit { symbol: own, factor: 1.0 }) } else { Err(wrong(own)) };
    };
    // a share of body weight has no factor: it needs the body's mass
    let factor_of = |unit: Unit| Some((unit.symbol(), unit.factor()?));
    let units = if dimension == Dimension::Force { "N, lbf or kgf" } else { dimension.units() };
    let (symbol, factor) = Unit::parse(text, dimension).and_then(factor_of).ok_or_else(|| wrong(units))?;
    let (_, own_factor) = Unit::parse(own, dimension).and_then(factor_of).ok_or_else(|| wrong(units))?;
    Ok(ReadingUnit { symbol, factor: factor / own_factor })
}

fn number(table: &Table, node: &Node, parameter: Parameter, unit: ReadingUnit) -> Result<Target, Problem> {
    let aim = node.number("target")?;
    if aim < 0.0 && parameter != Parameter::Angle {
        let hint = "only an angle may be negative: extension";
        return Err(node.problem("`target` cannot be negative").hint(hint));
    }
    let hint = "write tolerance = 5, or [3, 5] for 3 below and 5 above; 0 if it must be met exactly";
    let tolerance = table.get("tolerance").ok_or_else(|| {
        let what = format!("{NAME} has no `tolerance`, and {} is a number", parameter.key());
        table.problem(what).hint(hint)
    })?;
    let side = |node: &Node| match node.number("tolerance") {
        Ok(off) if off < 0.0 => Err(node.problem("`tolerance` cannot be negative").hint(hint)),
        found => found.map_err(|problem| problem.hint(hint)),
    };
    let (below, above) = match tolerance.list("tolerance") {
        Err(_) => (side(tolerance)?, side(tolerance)?),
        Ok([below, above]) => (side(below)?, side(above)?),
        Ok(_) => return Err(tolerance.problem("`tolerance` as a list has two numbers: below and above").hint(hint)),
    };
    let own = |number: f64| number * unit.factor;
    Ok(Target::Number { aim: own(aim), low: own(aim - below), high: own(aim + above) })
}
