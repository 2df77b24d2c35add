//! Which recorded numbers are not possible: the rules of a standard, with their words, limits and sources.

use super::rule::{Rule, RuleLimits, RuleSet};

/// The rules of what is possible.
#[derive(Clone, PartialEq, Default, Debug)]
pub struct PossibleRules {
    /// The rules that are switched on.
    pub on: RuleSet,
    pub limits: RuleLimits,
    /// The words of each, in the order of [`Rule::ALL`].
    texts: [RuleText; Rule::COUNT],
}

/// What a rule says to people.
#[derive(Clone, PartialEq, Eq, Default, Debug)]
pub struct RuleText {
    /// What is recorded, without a full stop.
    pub title: String,
    /// Why it cannot be, and what to look at: one or two sentences.
    pub explanation: String,
    /// Where the rule and its limits come from.
    pub source: String,
}

impl PossibleRules {
    /// Whether a rule is switched on.
    pub fn is_on(&self, rule: Rule) -> bool {
        self.on.has(rule)
    }

    /// Switches a rule on or off.
    pub fn switch(&mut self, rule: Rule, on: bool) {
        if on { self.on.add(rule) } else { self.on.remove(rule) }
    }

    /// The words of a rule.
    pub fn text(&self, rule: Rule) -> &RuleText {
        &self.texts[rule as usize]
    }

    /// The words of a rule, to be changed.
    pub fn text_mut(&mut self, rule: Rule) -> &mut RuleText {
        &mut self.texts[rule as usize]
    }
}
