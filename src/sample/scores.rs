//! What is written down when somebody asks: scores with their noise, floor, rounding habits and
//! missing items.

use super::course::Course;
use super::draw::{Draw, whole_within};
use super::plan::{ConditionPlan, PainSite, Region};

/// One pain score, in both ways it may be asked.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Pain {
    /// Where.
    pub site: PainSite,
    /// 0-10.
    pub number: u8,
    /// 0-100 mm.
    pub mm: u8,
}

/// One disability questionnaire: its items only, no wording.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Form {
    /// Which one.
    pub kind: FormKind,
    /// 0-5 (or 0-1 for the list of 24); `None` is a blank item.
    pub items: Vec<Option<u8>>,
}

/// The questionnaires of the group.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum FormKind {
    /// Low back, ten items 0-5.
    Odi,
    /// Neck, ten items 0-5.
    Ndi,
    /// Low back, 24 items yes or no.
    Rmdq,
}

impl FormKind {
    /// Name in the registry of measures.
    pub fn id(self) -> &'static str {
        match self {
            Self::Odi => "odi",
            Self::Ndi => "ndi",
            Self::Rmdq => "rmdq",
        }
    }

    /// The one a site uses for a region.
    pub fn of(region: Region, site_name: &str) -> Self {
        match region {
            Region::Cervical => Self::Ndi,
            Region::Lumbar if site_name == "Eastlow" => Self::Rmdq,
            Region::Lumbar => Self::Odi,
        }
    }
}

impl Form {
    /// Sum of the answered items.
    pub fn sum(&self) -> u32 {
        self.items.iter().flatten().map(|v| u32::from(*v)).sum()
    }

    /// Items answered.
    pub fn answered(&self) -> usize {
        self.items.iter().flatten().count()
    }

    /// Whether every item is answered.
    pub fn complete(&self) -> bool {
        self.answered() == self.items.len()
    }
}

/// Draws the pain scores of a day: the main site and, where there is one, the second.
pub fn ask_pain(draw: &mut Draw, course: &Course, condition: &ConditionPlan, day: f64, second_share: f64) -> Vec<Pain> {
    let true_pain = course.pain(day);
    let mut pains = vec![pain(draw, condition.main_pain, true_pain)];
    if let Some(site) = condition.second_pain {
        pains.push(pain(draw, site, true_pain * second_share));
    }
    pains
}

fn pain(draw: &mut Draw, site: PainSite, true_pain: f64) -> Pain {
    let felt = true_pain + 0.75 * draw.normal();
    let number = heap(draw, whole_within(felt, 0, 10));
    let mm = whole_within(10.0 * felt + 2.0 * draw.normal(), 0, 100);
    let mm = if draw.chance(0.35) { whole_within(f64::from(mm) / 5.0, 0, 20) * 5 } else { mm };
    Pain { site, number, mm }
}

/// People like 0, 5, 8 and 10 better than their neighbours.
fn heap(draw: &mut Draw, number: u8) -> u8 {
    let liked = match number {
        1 => 0,
        4 | 6 => 5,
        7 => 8,
        9 => 10,
        same => same,
    };
    if draw.chance(0.14) { liked } else { number }
}

/// Fills in a questionnaire on a day. Items differ in difficulty; about one form in twelve has blanks.
pub fn fill_form(draw: &mut Draw, kind: FormKind, disability: f64) -> Form {
    let count = if kind == FormKind::Rmdq { 24 } else { 10 };
    let answer = |draw: &mut Draw, item: i32| {
        let harder = f64::from((item * 7) % 10 - 4) / 10.0; // fixed order of difficulty, -0.4 to 0.5
        match kind {
            FormKind::Rmdq => u8::from(draw.chance((disability / 88.0 + harder * 0.35).clamp(0.0, 0.98))),
            _ => whole_within(disability / 20.0 + harder + 0.7 * draw.normal(), 0, 5),
        }
    };
    let mut items: Vec<Option<u8>> = (0..count).map(|item| Some(answer(draw, item))).collect();
    let blanks = if draw.chance(0.08) { draw.weighted([0.0, 0.5, 0.3, 0.2].into_iter()) } else { 0 };
    for _ in 0..blanks {
        let at = usize::try_from(draw.whole(0, i64::from(count) - 1)).unwrap_or(0);
        if let Some(item) = items.get_mut(at) {
            *item = None;
        }
    }
    Form { kind, items }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mean_of_low_pain_is_held_up_by_the_floor() {
        let mut draw = Draw::keyed(2, &["floor"]);
        let all: Vec<u8> = (0..2000).map(|_| pain(&mut draw, PainSite::Back, 0.2).number).collect();
        let mean = all.iter().map(|n| f64::from(*n)).sum::<f64>() / 2000.0;
        assert!(mean > 0.25, "{mean}");
        assert!(all.iter().all(|n| *n <= 3));
    }

    #[test]
    fn liked_numbers_are_commoner_than_chance() {
        let mut draw = Draw::keyed(2, &["heap"]);
        let mut counts = [0_u32; 11];
        for _ in 0..8000 {
            let true_pain = draw.between(3.5, 6.5);
            counts[usize::from(pain(&mut draw, PainSite::Back, true_pain).number)] += 1;
        }
        assert!(f64::from(counts[5]) > 1.15 * f64::from(counts[4]), "{counts:?}");
    }

    #[test]
    fn a_form_follows_the_disability_behind_it() {
        for kind in [FormKind::Odi, FormKind::Ndi, FormKind::Rmdq] {
            let mean = |disability: f64| {
                let mut draw = Draw::keyed(2, &["form", kind.id()]);
                (0..300).map(|_| f64::from(fill_form(&mut draw, kind, disability).sum())).sum::<f64>() / 300.0
            };
            assert!(mean(60.0) > 1.5 * mean(25.0), "{kind:?}");
        }
        let mut draw = Draw::keyed(2, &["level"]);
        let mean =
            (0..500).map(|_| 2.0 * f64::from(fill_form(&mut draw, FormKind::Odi, 44.0).sum())).sum::<f64>() / 500.0;
        assert!((40.0..47.0).contains(&mean), "the ten items add up to the disability in percent: {mean}");
    }

    #[test]
    fn some_forms_have_one_two_or_three_blanks() {
        let mut draw = Draw::keyed(2, &["blank"]);
        let mut seen = [0_u32; 4];
        for _ in 0..1500 {
            seen[10 - fill_form(&mut draw, FormKind::Odi, 40.0).answered()] += 1;
        }
        assert!(seen.iter().all(|n| *n > 5), "{seen:?}");
        assert!(seen[0] > 1300);
    }
}
