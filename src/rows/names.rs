//! Names kept once and referred to by number.

use super::row::NameId;
use hashbrown::HashTable;
use std::hash::{BuildHasher, RandomState};
use std::num::NonZeroU32;

/// A list of distinct names in the order in which they were first met. One text holds them all, and the table that finds
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

    /// All names with their numbers, in the order first met.
    pub fn iter(&self) -> impl Iterator<Item = (NameId, &str)> {
        (1u32..=self.len() as u32).filter_map(|number| {
            let id = NameId(NonZeroU32::new(number)?);
            Some((id, self.get(id)))
        })
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
}
