//! Names of files made from names of sites, conditions and outcomes.
//!
//! A name is shortened to small letters, digits and `-`. Where two shorten alike, or a name is very long, digits of its own hash
//! follow, so that no two share a file, whatever their order and whatever a file system makes of capitals.

use std::collections::BTreeMap;

/// Names longer than this are cut; file systems allow 255 bytes, and a figure's name has several parts.
const LONGEST: usize = 60;
/// Digits of the hash: as few as will do, then all of them, for all.
const FEW: usize = 16;
const ALL: usize = 64;

/// The file name, without ending, of each name of a set.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct FileNames(BTreeMap<String, String>);

impl FileNames {
    /// File names for a set of names; their order and repetition do not matter.
    pub(super) fn of<'n>(names: impl Iterator<Item = &'n str>) -> Self {
        let mut files: BTreeMap<String, String> = names.map(|name| (name.to_owned(), file_name(name))).collect();
        for digits in [FEW, ALL] {
            let shared = shared(&files); // in the second round: a name that looks like another one with its hash
            if shared.is_empty() {
                break;
            }
            for (name, file) in &mut files {
                if digits == ALL || shared.contains(file) {
                    *file = with_hash(name, digits);
                }
            }
        }
        Self(files)
    }

    /// The file name of a name; of one that was not among them, as if it stood alone.
    pub(super) fn get(&self, name: &str) -> String {
        self.0.get(name).cloned().unwrap_or_else(|| file_name(name))
    }
}

/// A name as a file name, whatever others there are: letters, digits, `-`; anything else becomes `-`.
pub(super) fn file_name(name: &str) -> String {
    let short = shortened(name);
    if short.is_empty() || short.len() > LONGEST { with_hash(name, FEW) } else { short }
}

fn shortened(name: &str) -> String {
    let safe = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' };
    name.chars().map(safe).collect()
}

fn with_hash(name: &str, digits: usize) -> String {
    let mut file = shortened(name);
    file.truncate(LONGEST);
    let hash = blake3::hash(name.as_bytes()).to_hex();
    format!("{file}-{}", hash.get(..digits).unwrap_or_default())
}

fn shared(files: &BTreeMap<String, String>) -> Vec<String> {
    let mut count: BTreeMap<&String, usize> = BTreeMap::new();
    files.values().for_each(|file| *count.entry(file).or_default() += 1);
    count.into_iter().filter(|(_, names)| *names > 1).map(|(file, _)| file.clone()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    fn names(of: &[&str]) -> Vec<String> {
        let names = FileNames::of(of.iter().copied());
        of.iter().map(|name| names.get(name)).collect()
    }

    #[test]
    fn no_name_leads_out_of_the_folder() {
        assert_eq!(names(&["../../Etc/passwd", "lumbar_disc"]), ["------etc-passwd", "lumbar-disc"]);
        assert_eq!(file_name("Dunnock Hill"), "dunnock-hill");
    }

    #[test]
    fn names_that_shorten_alike_are_told_apart_whatever_their_order() {
        let of = ["Hill A", "Hill-A", "hill a", "Vale", "上海", "北京"];
        let given = names(&of);
        assert_eq!(given.iter().collect::<BTreeSet<_>>().len(), of.len());
        assert!(given[0].starts_with("hill-a-") && given[3] == "vale" && given[4].starts_with("---"), "{given:?}");
        let mut backwards = of;
        backwards.reverse();
        let mut again = names(&backwards);
        again.reverse();
        assert_eq!(given, again);
    }

    #[test]
    fn a_name_that_looks_like_another_with_its_hash_is_told_apart_too() {
        let looks_alike = with_hash("Hill A", FEW);
        let given = names(&["Hill A", "Hill-A", &looks_alike]);
        assert_eq!(given.iter().collect::<BTreeSet<_>>().len(), 3, "{given:?}");
    }

    proptest! {
        #[test]
        fn every_set_of_names_has_safe_file_names_of_its_own(of in prop::collection::btree_set("[aA ./é-]{0,4}|\\PC{0,90}", 0..30)) {
            let names = FileNames::of(of.iter().map(String::as_str));
            let given: BTreeSet<String> = of.iter().map(|name| names.get(name)).collect();
            prop_assert_eq!(given.len(), of.len());
            let safe = |c: u8| c.is_ascii_lowercase() || c.is_ascii_digit() || c == b'-';
            prop_assert!(given.iter().all(|name| (1..=130).contains(&name.len()) && name.bytes().all(safe)));
        }
    }
}
