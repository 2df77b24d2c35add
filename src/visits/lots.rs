//! A number for what a row says, which decides between rows that nothing else puts in order.
//!
//! Where two rows of one visit disagree and neither says more, one must be picked. The line that is later is no better than the other,
//! and changes with the order in which a system exports; the higher or lower value would bend every result one way. So each
//! row draws a lot from its own content: the patient's key, the day, and all that was understood, names by their text. The same rows
//! draw the same lots in any order, in any file and beside any other rows.

use crate::rows::names::{NameList, Names};
use crate::rows::row::{Answers, Dose, Facts, NameId, Row, Score, Setup};
use crate::rows::when::When;

/// Draws the lots of a run's rows.
pub struct Lots<'a> {
    names: &'a Names,
}

impl<'a> Lots<'a> {
    /// For rows whose names stand in these lists.
    pub fn new(names: &'a Names) -> Self {
        Self { names }
    }

    /// The lot of a row with its scores.
    pub fn of(&self, row: &Row, scores: &[Score]) -> u64 {
        let mut lot = Lot::default();
        let names = self.names;
        let named = [
            (&names.patients, Some(row.patient)),
            (&names.sites, Some(row.site)),
            (&names.clinicians, row.clinician),
            (&names.tables, row.table),
            (&names.episodes, row.episode),
            (&names.codes, row.icd10),
        ];
        named.into_iter().for_each(|(list, id)| lot.name(list, id));
        lot.word(row.when.day() as u64);
        if let When::Offset { quarter, .. } = row.when {
            lot.known(quarter, |quarter| (quarter.year() as u64) << 8 | u64::from(quarter.number()));
        }
        lot.word(u64::from(row.is_visit) | u64::from(row.caution) << 1);
        lot.known(row.visit_no, u64::from);
        lot.known(row.attended, u64::from);
        lot.known(row.condition, |id| id.0.into());
        // every field by name, so that a new one does not compile without a part in the lot
        let Dose { mode, cycles, peak_force, low_force, hold, rest, ramp, session, body_mass } = row.dose;
        lot.known(mode, |mode| mode as u64);
        lot.known(cycles, u64::from);
        [peak_force, low_force].into_iter().for_each(|x| lot.known(x, |x| x.get().to_bits()));
        [hold, rest, ramp].into_iter().for_each(|x| lot.known(x, |x| x.get().to_bits()));
        lot.known(session, |x| x.get().to_bits());
        lot.known(body_mass, |x| x.get().to_bits());
        let Setup {
            region,
            position,
            angle,
            return_tension,
            tension_turns,
            split_gap,
            upper_restraint,
            belt_landmark_ok,
            belt_seated,
            slack_cycle_done,
            level_pull,
            table_level,
            adverse_event,
        } = row.setup;
        lot.known(region, |region| region as u64);
        lot.known(position, |position| position as u64);
        lot.known(angle, |x| x.get().to_bits());
        lot.known(return_tension, |x| x.get().to_bits());
        lot.known(tension_turns, |x| x.get().to_bits());
        lot.known(split_gap, |x| x.get().to_bits());
        lot.known(upper_restraint, |restraint| restraint as u64);
        let answers = [belt_landmark_ok, belt_seated, slack_cycle_done, level_pull, table_level, adverse_event];
        answers.into_iter().for_each(|answer| lot.known(answer, u64::from));
        let Facts { age, sex, onset, prior_surgery, compensation, ended_how, planned_visits, body_mass_index } =
            row.facts;
        lot.known(age, |age| age.years().into());
        lot.known(sex, |sex| sex as u64);
        lot.known(onset, |onset| onset as u64);
        lot.known(prior_surgery, u64::from);
        lot.known(compensation, u64::from);
        lot.known(ended_how, |ended| ended as u64);
        lot.known(planned_visits, u64::from);
        lot.known(body_mass_index, |index| index.kg_per_m2().to_bits());
        for score in scores {
            lot.word(u64::from(score.measure.0) << 8 | score.pain_site as u64);
            match score.answers() {
                Answers::Value(value) => lot.word(value.to_bits()),
                Answers::Items { sum, answered, asked } => {
                    lot.word(u64::from(sum.to_bits()));
                    lot.word(u64::from(answered) << 8 | u64::from(asked) | 1 << 16);
                }
            }
        }
        lot.finish()
    }
}

/// Multiply and fold, word by word, mixed at the end by SplitMix64's finaliser (Steele, Lea & Flood 2014).
#[derive(Default)]
struct Lot(u64);

impl Lot {
    fn word(&mut self, word: u64) {
        let folded = (self.0.rotate_left(23) ^ word).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        self.0 = folded ^ (folded >> 32);
    }

    /// What is absent is a word of its own, so that a value cannot slip from one field to the next.
    fn known<T>(&mut self, value: Option<T>, bits: impl FnOnce(T) -> u64) {
        match value {
            Some(value) => {
                self.word(1);
                self.word(bits(value));
            }
            None => self.word(0),
        }
    }

    fn name(&mut self, list: &NameList, id: Option<NameId>) {
        let name = id.map_or("", |id| list.get(id)).as_bytes();
        self.word(name.len() as u64 | u64::from(id.is_some()) << 63);
        for part in name.chunks(8) {
            let mut letters = [0; 8];
            letters.iter_mut().zip(part).for_each(|(letter, byte)| *letter = *byte);
            self.word(u64::from_le_bytes(letters));
        }
    }

    fn finish(self) -> u64 {
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{MeasureId, PainSite};
    use crate::export::place::{FileId, Place};
    use crate::rows::made::visit;
    use crate::units::Newtons;

    fn names(before: &[&str]) -> Names {
        let mut names = Names::default();
        for name in before.iter().chain(&["P1"]) {
            names.patients.intern(name);
        }
        names.sites.intern("Alderwick");
        names
    }

    fn pain(value: f64) -> Score {
        Score::new(MeasureId(0), PainSite::Back, Answers::Value(value))
    }

    #[test]
    fn a_lot_follows_from_what_a_row_says_and_not_from_its_place_or_its_neighbours() {
        let alone = names(&[]);
        let among = names(&["P0"]);
        let row = Row { patient: alone.patients.find("P1").unwrap(), ..visit(7) };
        let elsewhere = Place { file: FileId(3), line: 70 };
        let renumbered = Row { patient: among.patients.find("P1").unwrap(), scores_from: 9, place: elsewhere, ..row };
        assert_ne!(row.patient, renumbered.patient);
        let lot = Lots::new(&alone).of(&row, &[pain(4.0)]);
        assert_eq!(lot, Lots::new(&among).of(&renumbered, &[pain(4.0)]));
        let mut pulled = row;
        pulled.dose.peak_force = Newtons::new(200.0);
        let mut low = row;
        low.dose.low_force = Newtons::new(200.0);
        let others = [
            Lots::new(&alone).of(&row, &[pain(5.0)]),
            Lots::new(&alone).of(&row, &[]),
            Lots::new(&alone).of(&pulled, &[pain(4.0)]),
            Lots::new(&alone).of(&low, &[pain(4.0)]),
            Lots::new(&alone).of(&visit(8), &[pain(4.0)]),
        ];
        for (i, other) in others.iter().enumerate() {
            assert!(*other != lot && !others[..i].contains(other), "{i}");
        }
    }

    #[test]
    fn neither_the_higher_nor_the_lower_score_is_favoured() {
        let names = names(&[]);
        let lots = Lots::new(&names);
        let higher = (0..1_000).filter(|day| {
            let of = |value| lots.of(&visit(*day), &[pain(value)]);
            of(7.0) > of(3.0)
        });
        // binomial SD sqrt(1000 / 4) = 15.8: four of them
        assert!(higher.count().abs_diff(500) < 64);
    }
}
