//! `[rule.KEY]`: which recorded numbers cannot be.

use crate::catalogue::possible_rules::PossibleRules;
use crate::catalogue::rule::Rule;
use crate::catalogue::sourced::SET_BY_GROUP;
use crate::error::Problem;
use crate::group::document::{Entry, Node, Table};
use crate::group::suggest::did_you_mean;

/// The rules of a file over others; without others every rule and key is required.
pub(super) fn rules(table: &Table, over: Option<PossibleRules>) -> Result<PossibleRules, Problem> {
    let all_required = over.is_none();
    let mut rules = over.unwrap_or_default();
    let Some(node) = table.get("rule") else {
        return if all_required {
            Err(table.problem("there is no [rule]").hint("add each rule as a section [rule.KEY]"))
        } else {
            Ok(rules)
        };
    };
    let hint = "write each rule as a section of its own: [rule.session_long]";
    let tables = node.table("rule").map_err(|problem| problem.hint(hint))?;
    for Entry { key, key_spot, node } in &tables.entries {
        let rule = Rule::parse(key).ok_or_else(|| {
            let known = Rule::ALL.into_iter().map(Rule::key);
            Problem::input(format!("there is no rule `{key}`")).at(key_spot.clone()).hint(did_you_mean(key, known))
        })?;
        let name = format!("[rule.{key}]");
        set(&mut rules, rule, node.table(&name)?, &name, all_required)?;
    }
    if all_required {
        for rule in Rule::ALL {
            tables.require(rule.key(), "[rule]")?;
        }
    }
    Ok(rules)
}

/// Sets what a rule's table says.
fn set(rules: &mut PossibleRules, rule: Rule, table: &Table, name: &str, all_required: bool) -> Result<(), Problem> {
    let limits: Vec<&str> = rules.limits.named(rule).into_iter().map(|(limit, _)| limit).collect();
    let keys: Vec<&str> = ["on", "title", "explanation", "source"].into_iter().chain(limits).collect();
    table.only(&keys, name)?;
    if all_required {
        for key in keys {
            table.require(key, name)?;
        }
    }
    if let Some(node) = table.get("on") {
        rules.switch(rule, node.yes_no("on")?);
    }
    let mut is_changed = false;
    for (key, limit) in rules.limits.named_mut(rule) {
        if let Some(node) = table.get(key) {
            let wanted = checked(node, key)?;
            is_changed |= wanted != *limit;
            *limit = wanted;
        }
    }
    let spring = &rules.limits.turns_and_tension_disagree;
    if spring.full_tension_low_lbf > spring.full_tension_high_lbf {
        return Err(table
            .problem("the full tension runs backwards: its lower end is above its upper end")
            .hint("exchange the two"));
    }
    let text = rules.text_mut(rule);
    if is_changed {
        SET_BY_GROUP.clone_into(&mut text.source);
    }
    for (key, part) in
        [("title", &mut text.title), ("explanation", &mut text.explanation), ("source", &mut text.source)]
    {
        if let Some(node) = table.get(key) {
            node.filled_text(key)?.clone_into(part);
        }
    }
    Ok(())
}

/// A limit that makes sense, as its name says what it is.
fn checked(node: &Node, key: &str) -> Result<f64, Problem> {
    let limit = node.number(key)?;
    if limit < 0.0 {
        return Err(node.problem(format!("`{key}` cannot be negative")).hint("write 0 or more"));
    }
    if key.ends_with("_share") && limit > 1.0 {
        return Err(node
            .problem(format!("`{key}` is a share and lies between 0 and 1"))
            .hint("write 0.05 for five in a hundred"));
    }
    if key.ends_with("_ratio") && limit <= 1.0 {
        return Err(node
            .problem(format!("`{key}` is how many times as large, and over 1"))
            .hint("write 1.5 for half as much again"));
    }
    Ok(limit)
}
