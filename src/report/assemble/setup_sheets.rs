//! Findings on setups as sheets inside the page.

use crate::findings::setups::{About, Asked, Conformance, RuleFindings, SetupFindings, TableOpening};
use crate::findings::sites::Call;
use crate::report::pages::{Cell, Sheet};
use crate::report::wording::{self, result_sheets, setup_parameters as names, setups as words, sites as site_words};

/// Most sites beside each other in a sheet.
const MOST_COLUMNS: usize = 6;

/// Sites, and those of their clinicians and tables that stand out.
pub(super) fn conformance_sheet(about: About, item: &Asked, met: &Conformance) -> Sheet {
    let caption = words::conformance_caption(about, item.position);
    let mut sheet = Sheet::new(caption, words::PLACE, &words::CONFORMANCE_COLUMNS);
    for line in &met.lines {
        let is_site = line.place.clinician.is_none() && line.place.table.is_none();
        if !is_site && !matches!(line.call, Call::Above | Call::Below) {
            continue;
        }
        let share = match (line.share, line.interval) {
            (Some(share), Some((low, high))) => Cell::Text(words::share_cell(share, low, high)),
            (Some(share), None) => Cell::Text(wording::percent(share)),
            (None, _) => Cell::Withheld,
        };
        let cells = vec![
            Cell::Text(wording::count(u64::from(line.visits))),
            share,
            q_cell(line.q),
            Cell::Text(line.call.key().to_owned()),
        ];
        sheet.row(names::place(&line.place), cells);
    }
    let group = vec![
        Cell::Text(wording::count(u64::from(met.visits))),
        Cell::Text(wording::percent(met.group)),
        Cell::from(result_sheets::NONE),
        Cell::from(result_sheets::NONE),
    ];
    sheet.total(result_sheets::WHOLE_GROUP, group);
    sheet
}

fn q_cell(q: Option<f64>) -> Cell {
    q.map_or(Cell::from(result_sheets::NONE), |q| Cell::Text(site_words::q_value(q)))
}

/// The tables' openings.
pub(super) fn tables_sheet(tables: &[TableOpening]) -> Sheet {
    let mut sheet = Sheet::new(words::TABLES_CAPTION, words::TABLE, &words::TABLES_COLUMNS);
    for table in tables {
        let opening = table.at_equal_tension;
        let siblings = table.siblings.map_or(Cell::from(result_sheets::NONE), |s| Cell::Text(wording::decimal(s, 1)));
        let cells = vec![
            Cell::Text(wording::count(u64::from(table.visits))),
            Cell::Text(wording::decimal(table.recorded, 1)),
            Cell::Text(words::opening_cell(opening.value, opening.low, opening.high)),
            siblings,
            q_cell(table.q),
        ];
        sheet.row(names::table(&table.place), cells);
    }
    sheet
}

/// What changes from one visit of a patient to the next.
pub(super) fn within_sheet(setups: &SetupFindings) -> Sheet {
    let mut sheet = Sheet::new(words::WITHIN_CAPTION, words::PARAMETER, &words::WITHIN_COLUMNS);
    for of in &setups.parameters {
        let Some(within) = &of.within else { continue };
        let (median, most) = match words::how_far(within, &of.unit, of.decimals) {
            Some((median, most)) => (Cell::Text(median), Cell::Text(most)),
            None => (Cell::from(result_sheets::NONE), Cell::from(result_sheets::NONE)),
        };
        let cells = vec![
            Cell::Text(wording::count(u64::from(within.steps))),
            Cell::Text(wording::percent(within.changed)),
            median,
            most,
        ];
        sheet.row(names::heading(of.about), cells);
    }
    sheet
}

/// What the rules say.
pub(super) fn rules_sheet(rules: &[RuleFindings]) -> Sheet {
    let mut sheet =
        Sheet::new(words::RULES_CAPTION, words::RULE, &words::RULES_COLUMNS).with_words_in(&words::RULES_COLUMNS);
    for rule in rules {
        let cells = vec![
            Cell::from(if rule.is_on { words::ON } else { words::OFF }),
            Cell::Text(wording::phrases::sentence(&rule.explanation)),
            Cell::Text(wording::phrases::sentence(&rule.source)),
        ];
        sheet.row(rule.title.as_str(), cells);
    }
    sheet
}

/// Who breaks the rules that are in use, so many sites a sheet.
pub(super) fn broken_sheets(rules: &[RuleFindings]) -> Vec<Sheet> {
    let on: Vec<&RuleFindings> = rules.iter().filter(|rule| rule.is_on).collect();
    let mut sites: Vec<&str> = on.iter().flat_map(|rule| rule.sites.iter().map(|(site, _)| site.as_str())).collect();
    sites.sort_unstable();
    sites.dedup();
    let parts: Vec<&[&str]> = if sites.is_empty() { vec![&[]] } else { sites.chunks(MOST_COLUMNS).collect() };
    let sheet = |part: &&[&str]| {
        let columns: Vec<&str> = words::BROKEN_COLUMNS.iter().chain(part.iter()).copied().collect();
        let mut sheet = Sheet::new(words::BROKEN_CAPTION, words::RULE, &columns);
        for rule in &on {
            let broken = match rule.broken {
                Some(broken) => Cell::Text(wording::count(u64::from(broken))),
                None => Cell::Withheld,
            };
            let mut cells = vec![Cell::Text(wording::count(u64::from(rule.visits))), broken];
            cells.extend(part.iter().map(|site| match rule.sites.iter().find(|(of, _)| of == site) {
                Some((_, Some(share))) => Cell::Text(wording::percent(*share)),
                Some((_, None)) => Cell::Withheld,
                None => Cell::from(result_sheets::NONE),
            }));
            sheet.row(rule.title.as_str(), cells);
        }
        sheet
    };
    parts.iter().map(sheet).filter(|sheet| !sheet.rows.is_empty()).collect()
}
