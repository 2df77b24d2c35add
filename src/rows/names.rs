//! Names kept once and referred to by number.

use super::row::NameId;
use std::collections::HashMap;
use std::num::NonZeroU32;

/// A list of distinct names in the order in which they were first met.
#[derive(Clone, Default, Debug)]
pub struct NameList {
    names: Vec<Box<str>>,
    numbers: HashMap<Box<str>, NameId>,
}

impl NameList {
    /// The number of a name, new or known. `None` past four thousand million names.
    pub fn intern(&mut self, name: &str) -> Option<NameId> {
        if let Some(id) = self.numbers.get(name) {
            return Some(*id);
        }
        let next = u32::try_from(self.names.len()).ok()?.checked_add(1)?;
        let id = NameId(NonZeroU32::new(next)?);
        self.names.push(name.into());
        self.numbers.insert(name.into(), id);
        Some(id)
    }

    /// The number of a known name.
    pub fn find(&self, name: &str) -> Option<NameId> {
        self.numbers.get(name).copied()
    }

    /// The name behind a number of this list; empty for a number of another list.
    pub fn get(&self, id: NameId) -> &str {
        self.names.get(id.0.get() as usize - 1).map_or("", |name| name)
    }

    /// How many names there are.
    pub fn len(&self) -> usize {
        self.names.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.names.is_empty()
    }

    /// All names with their numbers, in the order first met.
    pub fn iter(&self) -> impl Iterator<Item = (NameId, &str)> {
        (1u32..).zip(&self.names).filter_map(|(i, name)| Some((NameId(NonZeroU32::new(i)?), name.as_ref())))
    }
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
        assert_eq!(list.find("c"), None);
    }
}
