//! Visits -> everything said about setups: all questions asked, one Benjamini-Hochberg step over all answers, then what is left.

use super::setup_answers::{Answer, Asked};
use super::setup_parameters::{as_recorded, parameter_findings, rule_findings, table_openings};
use super::setup_scales::{
    OPENING, ReadingScale, has_few_on_one_side, items, limits_to_percent, place, to_percent_within,
};
use super::setups::{Kind, SetupFinding, SetupFindings, Since, UsualValue, Where};
use super::withhold::Rule as SmallCells;
use crate::catalogue::parameter::{About, Nature};
use crate::catalogue::rule::Rule;
use crate::catalogue::setup_standard::{Grade, SetupStandard, Target};
use crate::models::fitted_course::Records;
use crate::models::setups::changes::{changes, is_followed, series, stays_without};
use crate::models::setups::column::Column;
use crate::models::setups::conformance::{self, ItemShares, item_shares};
use crate::models::setups::last_digits::{self, Digits};
use crate::models::setups::openings::{Opening, openings};
use crate::models::setups::possible::{self, RuleShares, rule_shares};
use crate::models::setups::tested::{Question, Tested};
use crate::models::setups::unlike::{self, is_numeric, narrow_level};
use crate::models::setups::visits::{Level, SetupVisits, UnitId};
use crate::models::setups::{copied, spread};
use crate::rows::names::Names;
use crate::rows::when::date_of;
use crate::visits::visits::Visits;
use mendcurve_stats::Level as Confidence;
use mendcurve_stats::multiplicity::benjamini_hochberg;
use rayon::prelude::*;

/// Columns that are held in memory at a time at least; more, as long as their values are no more than [`MOST_VALUES`].
const AT_ONCE: usize = 2;
const MOST_VALUES: usize = 20_000_000;

/// What setups are read from.
#[derive(Clone, Copy, Debug)]
pub struct SetupSources<'a> {
    /// The run's records.
    pub records: Records<'a>,
    /// The run's visits.
    pub visits: &'a Visits,
    /// The standard held against.
    pub standard: &'a SetupStandard,
    /// Its file; none where it is the program's own.
    pub standard_file: Option<&'a str>,
}

/// Everything about setups. `more_p`: p values of other questions about setups, which go through the same step; their adjusted
/// values are returned beside it.
pub fn setup_findings(sources: &SetupSources<'_>, small: SmallCells, more_p: &[f64]) -> (SetupFindings, Vec<f64>) {
    let SetupSources { records, visits, standard, .. } = *sources;
    let names = records.names;
    let seen = SetupVisits::of(&visits.rows, records.episodes, names);
    let confidence = Confidence::NINETY_FIVE;
    let ask = |about: &About| {
        let column = Column::of(&seen, *about);
        (!column.values.is_empty()).then(|| ask(&seen, &column, standard, names, (small, confidence)))
    };
    let rules = rule_shares(&seen, &possible::marks(&seen, records.episodes, &standard.rules));
    let abouts: Vec<About> = Column::abouts().collect();
    let at_once = (MOST_VALUES / seen.list.len().max(1)).max(AT_ONCE);
    let mut asked: Vec<Asked> =
        abouts.chunks(at_once).flat_map(|some| some.par_iter().filter_map(ask).collect::<Vec<_>>()).collect();
    let tables = tables(&seen, &asked);
    let mut others = others(sources, &seen, &asked, &rules, &tables, confidence);

    let of_parameters = || asked.iter().flat_map(|of| of.tests.iter());
    let p: Vec<f64> =
        of_parameters().chain(&others).map(|answer| answer.tested.p).chain(more_p.iter().copied()).collect();
    // p values are within 0 and 1 by construction; were one not, nothing would be called
    let q = benjamini_hochberg(&p).unwrap_or_else(|_| vec![1.0; p.len()]);
    let mut next = q.iter().copied();
    for answer in asked.iter_mut().flat_map(|of| of.tests.iter_mut()).chain(&mut others) {
        answer.q = next.next().unwrap_or(1.0);
    }
    let more_q: Vec<f64> = next.collect();

    let called: Vec<&Answer> =
        asked.iter().flat_map(|of| of.tests.iter()).chain(&others).filter(|answer| answer.is_finding(small)).collect();
    let shown = Shown { seen: &seen, names, standard, asked: &asked, small };
    let mut findings: Vec<SetupFinding> = shown.findings(&called);
    findings.sort_by(|a, b| importance(a).cmp(&importance(b)).then(b.visits.cmp(&a.visits)));
    let days = || seen.list.iter().filter_map(|visit| visit.day);
    let found = SetupFindings {
        standard_file: sources.standard_file.map(str::to_owned),
        visits: seen.list.len() as u32,
        undated: (seen.list.len() - days().count()) as u32,
        span: days().min().and_then(date_of).zip(days().max().and_then(date_of)),
        tests: p.len() as u32,
        findings,
        parameters: asked.par_iter().map(|of| parameter_findings(&seen, of, names, small, confidence)).collect(),
        rules: rule_findings(&seen, &rules, &standard.rules, names, small),
        tables: table_openings(&seen, &tables, &others, names, small),
    };
    (found, more_q)
}

fn ask(
    visits: &SetupVisits<'_>,
    column: &Column<'_>,
    standard: &SetupStandard,
    names: &Names,
    (small, confidence): (SmallCells, Confidence),
) -> Asked {
    let (about, parameter) = (column.about, column.about.parameter);
    let shares: Vec<ItemShares> =
        items(standard, about).map(|(position, item)| item_shares(visits, column, position, item)).collect();
    let mut tests: Vec<Tested> = Vec::new();
    for of in &shares {
        if let Some(item) = standard.items.get(of.item) {
            tests.extend(conformance::tests(visits, column, of, item, confidence));
        }
    }
    let margin = margin(standard, about);
    if is_numeric(parameter) {
        let of_sites = unlike::unit_means(column, Level::Site);
        tests.extend(unlike::tests_of(visits, column, &of_sites, margin));
        tests.extend(unlike::tests(visits, column, narrow_level(parameter), margin));
        if matches!(parameter.nature(), Nature::Number { .. }) {
            tests.extend(spread::tests(visits, column, &of_sites, names));
        }
    }
    // what changed by half the tolerance is worth knowing before the standard is left
    let of_sites = series(column, Level::Site, &[]);
    let changes = match is_followed(parameter) {
        true => changes(visits, column, &of_sites, margin.map(|m| 0.5 * m), names),
        false => Vec::new(),
    };
    tests.extend(changes.iter().map(|change| change.tested));
    let tests = tests.into_iter().map(Answer::from).collect();
    let recorded = as_recorded(visits, column, standard, names, small, confidence);
    Asked { about, recorded, scale: ReadingScale::of(about, standard), items: shares, of_sites, changes, tests }
}

/// The tolerance of a parameter, where the standard gives one: the wider side.
fn margin(standard: &SetupStandard, about: About) -> Option<f64> {
    let widths = items(standard, about).filter_map(|(_, item)| match item.target {
        Target::Number { aim, low, high } => Some((aim - low).max(high - aim)),
        Target::YesNo(_) | Target::Word(_) => None,
    });
    widths.filter(|width| *width > 0.0).reduce(f64::max)
}

fn tables(visits: &SetupVisits<'_>, asked: &[Asked]) -> Vec<Opening> {
    let is_recorded = |about| asked.iter().any(|of| of.about == about);
    match is_recorded(OPENING.0) && is_recorded(OPENING.1) {
        true => openings(visits, &Column::of(visits, OPENING.0), &Column::of(visits, OPENING.1)),
        false => Vec::new(),
    }
}

/// What is asked beside single parameters.
fn others(
    sources: &SetupSources<'_>,
    seen: &SetupVisits<'_>,
    asked: &[Asked],
    rules: &[RuleShares],
    tables: &[Opening],
    confidence: Confidence,
) -> Vec<Answer> {
    let SetupSources { records, visits, standard, .. } = *sources;
    // one after the other: the entries of all visits and their digits need not be in memory together
    let mut found: Vec<Answer> = copied::tests(seen).into_iter().map(Answer::from).collect();
    let digits = last_digits::tests(seen, visits, records.measures, records.names);
    found.extend(digits.into_iter().map(|digits| {
        let measure = match digits.of {
            Digits::Score(measure) => Some(records.measures.get(measure).title.clone()),
            Digits::PeakPull(_) => None,
        };
        Answer { measure, ..digits.tested.into() }
    }));
    found.extend(rules.iter().flat_map(|of| possible::tests(seen, of, confidence)).map(Answer::from));
    if asked.iter().any(|of| of.about == OPENING.0) {
        // a table in need of service is to be found before it leaves the standard
        let margin = margin(standard, OPENING.0).map_or(f64::INFINITY, |margin| 0.5 * margin);
        found.extend(tables.iter().filter_map(|table| table.tested(OPENING.0, margin)).map(Answer::from));
    }
    found
}

/// What must be set right comes first, then what changed, then how entries are made, then what merely differs.
fn importance(finding: &SetupFinding) -> (u8, bool) {
    let rank = match (finding.kind, finding.grade) {
        (Kind::Conformance, Some(Grade::Required)) => 0,
        (Kind::Opening, _) => 1,
        (Kind::Drift | Kind::Shift, _) => 2,
        (Kind::NotPossible, _) => 3,
        (Kind::CopiedForward, _) => 4,
        (Kind::Digits, _) => 5,
        (Kind::Unlike, _) => 6,
        (Kind::Conformance, _) => 7,
        (Kind::Spread, _) => 8,
    };
    (rank, finding.place.clinician.is_some() || finding.place.table.is_some())
}

/// What answers are worded with.
struct Shown<'s> {
    seen: &'s SetupVisits<'s>,
    names: &'s Names,
    standard: &'s SetupStandard,
    asked: &'s [Asked],
    small: SmallCells,
}

impl Shown<'_> {
    /// The answers as findings; a site's change that is its tables' or clinicians' alone is told with theirs, an unlike value with the
    /// standard that it misses.
    fn findings(&self, called: &[&Answer]) -> Vec<SetupFinding> {
        let explained: Vec<(&Answer, Vec<UnitId>)> = called
            .iter()
            .filter(|answer| is_change(answer) && self.is_site(answer.tested.unit))
            .map(|answer| (*answer, self.narrower(called, answer)))
            .filter(|(answer, narrower)| !narrower.is_empty() && self.is_theirs(answer, narrower))
            .collect();
        let stays = |answer: &&&Answer| {
            !explained.iter().any(|(site, _)| std::ptr::eq(*site, **answer)) && conformance_of(called, answer).is_none()
        };
        called
            .iter()
            .filter(stays)
            .map(|answer| {
                let explains = |(site, narrower): &&(&Answer, Vec<UnitId>)| {
                    site.tested.about == answer.tested.about && narrower.contains(&answer.tested.unit)
                };
                let also =
                    explained.iter().filter(explains).map(|(site, _)| place(self.seen, site.tested.unit, self.names));
                let mut finding = self.finding(answer, if is_change(answer) { also.collect() } else { Vec::new() });
                let unlike = called
                    .iter()
                    .find(|other| conformance_of(called, other).is_some_and(|of| std::ptr::eq(of, *answer)));
                finding.usual = unlike.map(|unlike| {
                    let SetupFinding { observed, reference, unit, decimals, .. } = self.finding(unlike, Vec::new());
                    UsualValue { observed, reference, unit, decimals }
                });
                finding
            })
            .collect()
    }

    /// Whether a site's change is gone without the visits of these tables or clinicians.
    fn is_theirs(&self, site: &Answer, narrower: &[UnitId]) -> bool {
        let column = site.tested.about.map(|about| Column::of(self.seen, about));
        column.is_some_and(|column| !stays_without(self.seen, &column, site.tested.unit, narrower, self.names))
    }

    /// Clinicians and tables of a site whose own change of the same parameter is called.
    fn narrower(&self, called: &[&Answer], of: &Answer) -> Vec<UnitId> {
        let is_one = |other: &&&Answer| {
            other.tested.about == of.tested.about
                && is_change(other)
                && other.tested.unit != of.tested.unit
                && self.seen.units.site_of(other.tested.unit) == of.tested.unit
        };
        called.iter().filter(is_one).map(|other| other.tested.unit).collect()
    }

    fn is_site(&self, unit: UnitId) -> bool {
        self.seen.units.get(unit).is_some_and(|unit| unit.level == Level::Site)
    }

    fn finding(&self, answer: &Answer, also: Vec<Where>) -> SetupFinding {
        let tested = &answer.tested;
        let scale = tested.about.and_then(|about| self.asked.iter().find(|of| of.about == about)).map(|of| of.scale);
        let (kind, form) = kind_and_form(tested.question);
        // a yes or no and words are told as shares of visits
        let (factor, unit, decimals) = match (form, scale) {
            (Form::Value, Some(scale)) if !scale.symbol.is_empty() => {
                (scale.factor, scale.symbol.to_owned(), scale.decimals)
            }
            (Form::ValueAWeek, Some(scale)) if !scale.symbol.is_empty() => {
                (scale.factor, format!("{} a week", scale.symbol), scale.decimals + 1)
            }
            (Form::ValueAWeek, _) => (1.0, "share a week".to_owned(), 3),
            _ => (1.0, "share".to_owned(), 2),
        };
        let item = match tested.question {
            Question::Conformance { item } => self.standard.items.get(item),
            _ => None,
        };
        let rule = match tested.question {
            Question::NotPossible { rule } => Rule::ALL.get(rule).map(|rule| rule.key().to_owned()),
            _ => None,
        };
        let since = tested.since.and_then(|(day, earliest, latest)| {
            Some(Since { day: date_of(day)?, earliest: date_of(earliest)?, latest: date_of(latest)? })
        });
        let digit = match tested.question {
            Question::Digits { digit, .. } => Some(digit),
            _ => None,
        };
        let is_share = unit == "share";
        let few_on_one_side = is_share && kind != Kind::Spread && has_few_on_one_side(sides(tested), self.small);
        // to whole percent, as they are told: finer ones could be solved for patients of other units
        let number = |value: f64| if is_share { to_percent_within(value) } else { value / factor };
        let (low, high) = match is_share {
            true => limits_to_percent(tested.interval),
            false => (tested.interval.0 / factor, tested.interval.1 / factor),
        };
        let seen = |value: f64| if few_on_one_side { 0.0 } else { value };
        SetupFinding {
            kind,
            place: place(self.seen, tested.unit, self.names),
            about: tested.about,
            measure: answer.measure.clone(),
            rule,
            grade: item.map(|item| item.grade),
            is_against_least: item.is_some() && tested.reference == conformance::LEAST_SHARE_OF_REQUIRED,
            since,
            few_on_one_side,
            observed: seen(number(tested.observed)),
            reference: number(tested.reference),
            interval: (seen(low), seen(high)),
            interval_is_of_reference: matches!(kind, Kind::CopiedForward | Kind::Digits),
            unit,
            decimals,
            digit,
            visits: tested.visits,
            patients: tested.patients,
            p: seen(tested.p),
            q: seen(answer.q),
            usual: None,
            also,
        }
    }
}

/// Patients on either side of a share, as far as is known; of a mean of shares, as many as it would take.
fn sides(tested: &Tested) -> (u32, u32) {
    tested.sides.unwrap_or_else(|| {
        let ones = (tested.observed * f64::from(tested.patients)).round() as u32;
        (ones, tested.patients.saturating_sub(ones))
    })
}

/// The called conformance that an unlike value belongs to: that the standard is missed says it already, and the value says by how much.
fn conformance_of<'c>(called: &[&'c Answer], answer: &Answer) -> Option<&'c Answer> {
    let same = |other: &&&'c Answer| {
        matches!(other.tested.question, Question::Conformance { .. })
            && (other.tested.unit, other.tested.about) == (answer.tested.unit, answer.tested.about)
    };
    called.iter().find(same).filter(|_| answer.tested.question == Question::Unlike).copied()
}

fn is_change(answer: &Answer) -> bool {
    matches!(answer.tested.question, Question::Shift | Question::Drift)
}

/// What the numbers of an answer are.
#[derive(Clone, Copy, PartialEq)]
enum Form {
    Value,
    ValueAWeek,
    Share,
}

fn kind_and_form(question: Question) -> (Kind, Form) {
    match question {
        Question::Conformance { .. } => (Kind::Conformance, Form::Share),
        Question::Unlike => (Kind::Unlike, Form::Value),
        Question::Spread => (Kind::Spread, Form::Share),
        Question::Shift => (Kind::Shift, Form::Value),
        Question::Drift => (Kind::Drift, Form::ValueAWeek),
        Question::CopiedForward => (Kind::CopiedForward, Form::Share),
        Question::Digits { .. } => (Kind::Digits, Form::Share),
        Question::NotPossible { .. } => (Kind::NotPossible, Form::Share),
        Question::Opening => (Kind::Opening, Form::Value),
    }
}
