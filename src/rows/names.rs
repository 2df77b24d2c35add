//! Names kept once and referred to by number.

use super::row::{NameId, Row};
use hashbrown::HashTable;
use rayon::prelude::*;
use std::hash::{BuildHasher, RandomState};
use std::num::NonZeroU32;

/// A list of distinct names: in the order in which they were first met, until [`Names::sort`] puts them in that of their text. One text holds them all, and the table that finds
/// them again holds numbers alone: a name costs little more than its letters.
#[derive(Clone, Default, Debug)]
pub struct NameList {
    text: String,
    /// Where each name ends in `text`.
    ends: Vec<usize>,
    numbers: HashTable<NameId>,
    hasher: RandomState,
}

impl NameList {
    /// The number of a name, new or known. `None` past four thousand million names.
    pub fn intern(&mut self, name: &str) -> Option<NameId> {
        let hash = self.hasher.hash_one(name);
        if let Some(id) = self.numbers.find(hash, |id| self.get(*id) == name) {
            return Some(*id);
        }
        let next = u32::try_from(self.ends.len()).ok()?.checked_add(1)?;
        let id = NameId(NonZeroU32::new(next)?);
        self.text.push_str(name);
        self.ends.push(self.text.len());
        let Self { text, ends, numbers, hasher } = self;
        numbers.insert_unique(hash, id, |id| hasher.hash_one(name_at(text, ends, *id)));
        Some(id)
    }

    /// The number of a known name.
    pub fn find(&self, name: &str) -> Option<NameId> {
        self.numbers.find(self.hasher.hash_one(name), |id| self.get(*id) == name).copied()
    }

    /// The name behind a number of this list; empty for a number of another list.
    pub fn get(&self, id: NameId) -> &str {
        name_at(&self.text, &self.ends, id)
    }

    /// How many names there are.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    /// All names with their numbers, in the order of the numbers.
    pub fn iter(&self) -> impl Iterator<Item = (NameId, &str)> {
        (1u32..=self.len() as u32).filter_map(|number| {
            let id = NameId(NonZeroU32::new(number)?);
            Some((id, self.get(id)))
        })
    }
}

impl NameList {
    /// The same names numbered in the order of their text, with the new number of each old one; `None` if they are already.
    fn sorted(&self) -> Option<(Self, Vec<NameId>)> {
        if self.iter().is_sorted_by_key(|(_, name)| name) {
            return None;
        }
        // the first letters as a number, since most names differ there and a number is compared at once
        let first_letters = |name: &str| {
            let mut letters = [0; 8];
            letters.iter_mut().zip(name.bytes()).for_each(|(letter, byte)| *letter = byte);
            u64::from_be_bytes(letters)
        };
        let mut order: Vec<(u64, NameId)> = self.iter().map(|(id, name)| (first_letters(name), id)).collect();
        order.par_sort_unstable_by(|a, b| a.0.cmp(&b.0).then_with(|| self.get(a.1).cmp(self.get(b.1))));
        let mut sorted = Self { text: String::with_capacity(self.text.len()), ..Self::default() };
        let mut new = vec![NameId(NonZeroU32::MIN); self.len()];
        for (_, old) in order {
            let slot = new.get_mut(old.0.get() as usize - 1)?;
            *slot = sorted.intern(self.get(old))?;
        }
        Some((sorted, new))
    }
}

fn name_at<'t>(text: &'t str, ends: &[usize], id: NameId) -> &'t str {
    let place = id.0.get() as usize - 1;
    let from = place.checked_sub(1).and_then(|before| ends.get(before)).copied().unwrap_or(0);
    ends.get(place).and_then(|end| text.get(from..*end)).unwrap_or_default()
}

/// Every kind of name a run meets.
#[derive(Clone, Default, Debug)]
pub struct Names {
    /// Clinics.
    pub sites: NameList,
    /// Patients' opaque keys.
    pub patients: NameList,
    /// Clinicians.
    pub clinicians: NameList,
    /// Traction tables.
    pub tables: NameList,
    /// Episode labels of the exports.
    pub episodes: NameList,
    /// Code cells as written.
    pub codes: NameList,
}

impl Names {
    /// Numbers every name by its text, here and in the rows. All that follows goes by these numbers, so that sums, ties and the
    /// order of whatever is written are the same in whichever order exports, files and rows were read.
    pub fn sort(&mut self, rows: &mut [Row]) {
        let lists = [
            &mut self.sites,
            &mut self.patients,
            &mut self.clinicians,
            &mut self.tables,
            &mut self.episodes,
            &mut self.codes,
        ];
        let new = lists.map(|list| {
            let (sorted, new) = list.sorted()?;
            *list = sorted;
            Some(new)
        });
        if new.iter().all(Option::is_none) {
            return;
        }
        let [sites, patients, clinicians, tables, episodes, codes] = &new;
        let to = |list: &Option<Vec<NameId>>, id: NameId| {
            list.as_ref().and_then(|list| list.get(id.0.get() as usize - 1)).copied().unwrap_or(id)
        };
        rows.par_iter_mut().for_each(|row| {
            row.site = to(sites, row.site);
            row.patient = to(patients, row.patient);
            row.clinician = row.clinician.map(|id| to(clinicians, id));
            row.table = row.table.map(|id| to(tables, id));
            row.episode = row.episode.map(|id| to(episodes, id));
            row.icd10 = row.icd10.map(|id| to(codes, id));
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_keeps_its_number() {
        let mut list = NameList::default();
        let first = list.intern("b").unwrap();
        let second = list.intern("a").unwrap();
        assert_eq!(list.intern("b"), Some(first));
        assert_eq!((list.get(first), list.get(second)), ("b", "a"));
        assert_eq!(list.iter().map(|(_, name)| name).collect::<Vec<_>>(), ["b", "a"]);
        assert_eq!((list.find("a"), list.find("c")), (Some(second), None));
        assert_eq!(list.get(NameId(NonZeroU32::new(9).unwrap())), "");
    }

    #[test]
    fn many_names_are_found_again_and_an_empty_one_is_a_name() {
        let mut list = NameList::default();
        let names: Vec<String> = (0..2_000).map(|i| if i == 700 { String::new() } else { format!("é{i}") }).collect();
        let ids: Vec<NameId> = names.iter().map(|name| list.intern(name).unwrap()).collect();
        assert_eq!(list.len(), names.len());
        for (name, id) in names.iter().zip(ids) {
            assert_eq!((list.find(name), list.get(id)), (Some(id), name.as_str()));
        }
    }

    #[test]
    fn sorted_names_are_numbered_by_their_text_whatever_the_order_they_were_met_in() {
        let names = ["Alderwick 10", "Alderwick 1", "é", "", "Alderwick", "b", "Alderwick 2"];
        let mut texts = names;
        texts.sort_unstable();
        for turn in 0..names.len() {
            let mut list = NameList::default();
            let met: Vec<&str> = names.iter().cycle().skip(turn).take(names.len()).copied().collect();
            let old: Vec<NameId> = met.iter().map(|name| list.intern(name).unwrap()).collect();
            let (sorted, new) = list.sorted().unwrap();
            assert_eq!(sorted.iter().map(|(_, name)| name).collect::<Vec<_>>(), texts);
            for (name, id) in met.iter().zip(old) {
                let id = new[id.0.get() as usize - 1];
                assert_eq!((sorted.get(id), sorted.find(name)), (*name, Some(id)));
            }
            assert!(sorted.sorted().is_none(), "nothing is left to do");
        }
    }
}
