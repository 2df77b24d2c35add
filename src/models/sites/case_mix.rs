//! What of a patient enters a case-mix model, and how.
//!
//! **Covariates**, in order of priority: the burden at the start (and its square), the outcome and condition, time since
//! onset, the other domain's burden at the start, age, compensation claim, prior surgery, sex, body-mass index. All are
//! known before the first treatment; nothing that the site decides afterwards (dose, setup, visits) is allowed for.
//!
//! **Missing values** are kept as a group of their own: the number is set to the mean of those who have it and an
//! indicator column says that it is missing. An indicator costs one column and can be biased where the missing are of a
//! kind (Groenwold et al. 2012, CMAJ 184:1265-9); it keeps every episode and hides no site that does not ask. The report
//! says for how many it was needed.
//!
//! **Recorded everywhere.** A covariate that some site with ten episodes or more records for fewer than half of them is left out: its
//! indicator would mark the site, and the model would explain away the very difference that is asked for.
//!
//! **How many columns.** At least ten events and ten non-events, or ten episodes for a change, to a column (Peduzzi et
//! al. 1996, J Clin Epidemiol 49:1373-9); what finds no room is named as left out. A class enters with at least
//! five episodes in it and five outside, where there are over a thousand a two-hundredth of them: rarer ones move nothing and
//! may predict perfectly. A column that those before it reproduce is left out.

use super::cases::Case;
use crate::episodes::episode::Episode;
use crate::models::independent_columns::Basis;
use std::cmp::Reverse;
use std::collections::BTreeMap;

const EPISODES_A_COLUMN: usize = 10;
/// Fewest episodes in a class, and outside it; where there are many, a two-hundredth of them.
const FEWEST_IN_CLASS: usize = 5;
const LEAST_SHARE: usize = 200;
/// Episodes of a site from which on it is asked to record a covariate.
const FEWEST_TO_JUDGE: usize = 10;

/// What is known of a patient before treatment.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Covariate {
    /// Burden at the start.
    Baseline,
    /// What is followed, where outcomes differ.
    Outcome,
    /// The condition, where conditions differ.
    Condition,
    /// Time since onset.
    Onset,
    /// Burden at the start in the other domain.
    OtherBaseline,
    Age,
    /// A compensation claim.
    Compensation,
    PriorSurgery,
    Sex,
    BodyMassIndex,
}

/// All, in order of priority.
pub const COVARIATES: [Covariate; 10] = [
    Covariate::Baseline,
    Covariate::Outcome,
    Covariate::Condition,
    Covariate::Onset,
    Covariate::OtherBaseline,
    Covariate::Age,
    Covariate::Compensation,
    Covariate::PriorSurgery,
    Covariate::Sex,
    Covariate::BodyMassIndex,
];

/// The design of a case-mix model.
#[derive(Clone, PartialEq, Debug)]
pub struct CaseMix {
    /// Name of each column; the first is the intercept.
    pub columns: Vec<String>,
    /// One row a case, row after row.
    pub design: Vec<f64>,
    /// What entered, with the number of cases that lack it.
    pub entered: Vec<(Covariate, usize)>,
    /// What found no room or does not vary.
    pub left_out: Vec<Covariate>,
}

impl CaseMix {
    pub fn width(&self) -> usize {
        self.columns.len()
    }

    /// The row of a case.
    pub fn row(&self, case: usize) -> &[f64] {
        let p = self.width();
        self.design.get(case * p..(case + 1) * p).unwrap_or_default()
    }

    /// The rows of all cases.
    pub fn rows(&self) -> impl Iterator<Item = &[f64]> {
        self.design.chunks_exact(self.width().max(1))
    }

    /// Builds the design of some cases. `room`: how many columns beside the intercept may enter.
    pub fn of(cases: &[Case], episodes: &[Episode], wanted: &[Covariate], room: usize) -> Self {
        let mut making = Making::new(cases.len(), room);
        let mut entered = Vec::new();
        let mut left_out = Vec::new();
        for covariate in COVARIATES.into_iter().filter(|covariate| wanted.contains(covariate)) {
            let (columns, lacking) = columns_of(covariate, cases, episodes);
            let missing = lacking.iter().filter(|lacks| **lacks).count();
            let fits = recorded_everywhere(cases, &lacking)
                && (making.take(columns.clone()) || (covariate == Covariate::Baseline && making.take_first(columns)));
            match fits {
                true => entered.push((covariate, missing)),
                false => left_out.push(covariate),
            }
        }
        let p = making.names.len();
        let mut design = vec![0.0; p * cases.len()];
        for (j, column) in making.columns.iter().enumerate() {
            for (i, value) in column.iter().enumerate() {
                if let Some(cell) = design.get_mut(i * p + j) {
                    *cell = *value;
                }
            }
        }
        Self { columns: making.names, design, entered, left_out }
    }
}

/// How many columns beside the intercept the cases can carry. `events`: those that responded, for a yes or no.
pub fn room(cases: usize, events: Option<usize>) -> usize {
    let scarce = events.map_or(cases, |events| events.min(cases - events.min(cases)));
    (scarce / EPISODES_A_COLUMN).saturating_sub(1)
}

/// Whether every site with episodes enough records a covariate for at least half of them.
fn recorded_everywhere(cases: &[Case], lacking: &[bool]) -> bool {
    let mut sites: BTreeMap<_, (usize, usize)> = BTreeMap::new();
    for (case, lacks) in cases.iter().zip(lacking) {
        let (all, without) = sites.entry(case.site).or_default();
        *all += 1;
        *without += usize::from(*lacks);
    }
    sites.values().all(|(all, without)| *all < FEWEST_TO_JUDGE || 2 * without <= *all)
}

/// A column with its name.
type Named = (String, Vec<f64>);

/// Columns taken so far.
struct Making {
    names: Vec<String>,
    columns: Vec<Vec<f64>>,
    basis: Basis,
    room: usize,
}

impl Making {
    fn new(cases: usize, room: usize) -> Self {
        let mut making = Self { names: Vec::new(), columns: Vec::new(), basis: Basis::default(), room: usize::MAX };
        making.take(vec![("intercept".to_owned(), vec![1.0; cases])]);
        making.room = room;
        making
    }

    /// Takes the first of the columns alone: the burden at the start without its square.
    fn take_first(&mut self, mut columns: Vec<Named>) -> bool {
        columns.truncate(1);
        !columns.is_empty() && self.take(columns)
    }

    /// Takes those of the columns that are new, if there is room for all of them; whether any was taken.
    fn take(&mut self, columns: Vec<Named>) -> bool {
        let before = self.names.len();
        if columns.len() > self.room {
            return false;
        }
        for (name, column) in columns {
            if self.basis.take(&column) {
                self.names.push(name);
                self.columns.push(column);
                self.room = self.room.saturating_sub(1);
            }
        }
        self.names.len() > before
    }
}

/// The columns of a covariate, and which cases lack it.
fn columns_of(covariate: Covariate, cases: &[Case], episodes: &[Episode]) -> (Vec<Named>, Vec<bool>) {
    let of = |case: &Case| episodes.get(case.episode as usize);
    match covariate {
        Covariate::Baseline => number("baseline burden", 10.0, true, cases.iter().map(|case| case.baseline)),
        Covariate::OtherBaseline => {
            number("other baseline burden", 10.0, false, cases.iter().map(|case| case.other_baseline))
        }
        Covariate::Age => number("age", 10.0, false, cases.iter().map(|case| Some(f64::from(of(case)?.age?.years())))),
        Covariate::BodyMassIndex => {
            let index = |case: &Case| Some(of(case)?.body_mass_index?.kg_per_m2());
            number("body-mass index", 5.0, false, cases.iter().map(index))
        }
        Covariate::Outcome => classes("outcome", cases.iter().map(|case| Some(case.outcome))),
        // that none is recorded is a condition like any other, since it is known for every case
        Covariate::Condition => classes("condition", cases.iter().map(|case| Some(case.condition))),
        Covariate::Onset => classes("onset", cases.iter().map(|case| of(case)?.onset)),
        Covariate::Sex => classes("sex", cases.iter().map(|case| of(case)?.sex)),
        Covariate::PriorSurgery => classes("prior surgery", cases.iter().map(|case| of(case)?.prior_surgery)),
        Covariate::Compensation => classes("compensation", cases.iter().map(|case| of(case)?.compensation)),
    }
}

/// A number around the mean of those who have it, in steps of `unit`; with `curved` its square as well; and an indicator
/// of those who lack it.
fn number(name: &str, unit: f64, curved: bool, values: impl Iterator<Item = Option<f64>>) -> (Vec<Named>, Vec<bool>) {
    let values: Vec<Option<f64>> = values.collect();
    let known: Vec<f64> = values.iter().flatten().copied().collect();
    let missing = values.len() - known.len();
    let lacking = values.iter().map(Option::is_none).collect();
    if known.len() < FEWEST_IN_CLASS {
        return (Vec::new(), lacking);
    }
    let mean = known.iter().sum::<f64>() / known.len() as f64;
    let centred: Vec<f64> = values.iter().map(|value| value.map_or(0.0, |value| (value - mean) / unit)).collect();
    let mut columns = Vec::with_capacity(3);
    if curved {
        columns.push((format!("{name} squared"), centred.iter().map(|value| value * value).collect()));
    }
    columns.insert(0, (name.to_owned(), centred));
    if missing >= FEWEST_IN_CLASS.max(values.len() / LEAST_SHARE) {
        let lacks = values.iter().map(|value| f64::from(u8::from(value.is_none()))).collect();
        columns.push((format!("{name} not recorded"), lacks));
    }
    (columns, lacking)
}

/// A class of cases: those with one value, or those that lack it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Class<V> {
    Of(V),
    NotRecorded,
}

/// One indicator a class but the largest; classes too small to stand alone go with the largest. Those that lack it are
/// a class of their own.
fn classes<V: Copy + Ord>(name: &str, values: impl Iterator<Item = Option<V>>) -> (Vec<Named>, Vec<bool>) {
    let classes: Vec<Class<V>> = values.map(|value| value.map_or(Class::NotRecorded, Class::Of)).collect();
    let mut sizes: BTreeMap<Class<V>, usize> = BTreeMap::new();
    for class in &classes {
        *sizes.entry(*class).or_default() += 1;
    }
    let largest = sizes.iter().max_by_key(|(class, size)| (**size, Reverse(**class))).map(|(class, _)| *class);
    let fewest = FEWEST_IN_CLASS.max(classes.len() / LEAST_SHARE);
    let mut columns = Vec::new();
    for (number, (class, size)) in (1..).zip(&sizes) {
        if Some(*class) != largest && *size >= fewest && classes.len() - size >= fewest {
            let is = classes.iter().map(|other| f64::from(u8::from(other == class))).collect();
            columns.push((format!("{name}, class {number}"), is));
        }
    }
    (columns, classes.iter().map(|class| *class == Class::NotRecorded).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn design(columns: Vec<Named>, room: usize) -> Vec<String> {
        let mut making = Making::new(columns.first().map_or(0, |(_, column)| column.len()), room);
        making.take(columns);
        making.names
    }

    #[test]
    fn a_missing_number_stands_at_the_mean_with_an_indicator() {
        let values = (0..12).map(|i| (i < 6).then_some(f64::from(i)));
        let (columns, lacking) = number("age", 2.0, false, values);
        assert_eq!(lacking, [[false; 6], [true; 6]].concat());
        assert_eq!(columns[0].1[..7], [-1.25, -0.75, -0.25, 0.25, 0.75, 1.25, 0.0]); // mean 2.5, unit 2
        assert_eq!(columns[1], ("age not recorded".to_owned(), [[0.0; 6], [1.0; 6]].concat()));
    }

    #[test]
    fn the_largest_class_is_the_reference_and_a_class_of_few_goes_with_it() {
        let word = |word: &'static str, times: usize| vec![Some(word); times];
        let values = [word("back", 20), word("neck", 6), word("arm", 4), vec![None; 5]].concat();
        let (columns, lacking) = classes("site", values.into_iter());
        let names: Vec<&str> = columns.iter().map(|(name, _)| name.as_str()).collect();
        assert_eq!(names, ["site, class 3", "site, class 4"], "after arm and back");
        assert_eq!(lacking.iter().filter(|lacks| **lacks).count(), 5);
        assert_eq!(columns[0].1.iter().sum::<f64>(), 6.0);
        assert_eq!(columns[1].1.iter().sum::<f64>(), 5.0);
    }

    #[test]
    fn a_column_that_others_reproduce_is_left_out_and_a_covariate_enters_whole_or_not_at_all() {
        let column = |name: &str, values: [f64; 4]| (name.to_owned(), values.to_vec());
        let (a, b) = (column("a", [0.0, 1.0, 0.0, 1.0]), column("b", [1.0, 0.0, 0.0, 0.0]));
        let sum = column("1 - a", [1.0, 0.0, 1.0, 0.0]);
        assert_eq!(design(vec![a.clone(), sum, b.clone()], 5), ["intercept", "a", "b"]);
        assert_eq!(design(vec![a, b], 1), ["intercept"]);
    }

    #[test]
    fn ten_events_and_ten_others_carry_one_column() {
        assert_eq!(room(100, None), 9);
        assert_eq!(room(100, Some(35)), 2);
        assert_eq!(room(100, Some(95)), 0);
        assert_eq!(room(5, Some(5)), 0);
    }
}
