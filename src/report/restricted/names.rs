//! File names of patients' and clinicians' pages.
//!
//! A key of letters, digits, `-` and `_` is its own name. Any other byte is written as `~` and two hexadecimal
//! digits. File systems exist that take `Ab` for `ab`: where two keys differ only in that, capitals are written so,
//! too. So are the first letters of the few names that one system keeps for devices. A very long key is cut and
//! ended by its hash.

use std::collections::BTreeMap;
use std::fmt::Write;

/// Names longer than this are cut; file systems allow 255 bytes.
const LONGEST: usize = 120;
const KEPT_OF_LONG: usize = 80;
const HASH_DIGITS: usize = 32;

/// The file name, without ending, of each key: no two the same, whatever a file system makes of capitals.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct FileNames(BTreeMap<String, String>);

impl FileNames {
    /// Names for a set of keys; the order and repetition of the keys do not matter.
    pub(super) fn of<'k>(keys: impl Iterator<Item = &'k str>) -> Self {
        let mut names: BTreeMap<String, String> = keys.map(|key| (key.to_string(), escaped(key, false))).collect();
        let mut same: BTreeMap<String, usize> = BTreeMap::new();
        for name in names.values() {
            *same.entry(name.to_ascii_lowercase()).or_default() += 1;
        }
        for (key, name) in &mut names {
            if same.get(&name.to_ascii_lowercase()).is_some_and(|&n| n > 1) {
                *name = escaped(key, true);
            }
        }
        Self(names)
    }

    /// The name of a key; of one that was not among them, as if it stood alone.
    pub(super) fn get(&self, key: &str) -> String {
        self.0.get(key).cloned().unwrap_or_else(|| escaped(key, false))
    }
}

fn escaped(key: &str, capitals: bool) -> String {
    let mut name = String::with_capacity(key.len());
    for (position, byte) in key.bytes().enumerate() {
        let plain = byte.is_ascii_alphanumeric() || byte == b'-' || byte == b'_';
        if !plain || (capitals && byte.is_ascii_uppercase()) || (position == 0 && is_device(key)) {
            let _ = write!(name, "~{byte:02x}"); // writing to a string cannot fail
        } else {
            name.push(char::from(byte));
        }
    }
    match name.len() {
        0 => "~".to_string(),
        1..=LONGEST => name,
        _ => {
            name.truncate(KEPT_OF_LONG);
            let hash = blake3::hash(key.as_bytes()).to_hex();
            format!("{name}~~{}", hash.get(..HASH_DIGITS).unwrap_or_default())
        }
    }
}

/// CON, PRN, AUX, NUL, COM0 to COM9 and LPT0 to LPT9 cannot be file names on one system, whatever their ending.
fn is_device(key: &str) -> bool {
    let lower = key.to_ascii_lowercase();
    let is_port = |name: &str| name.len() == 4 && name.ends_with(|c: char| c.is_ascii_digit());
    matches!(lower.as_str(), "con" | "prn" | "aux" | "nul")
        || (is_port(&lower) && (lower.starts_with("com") || lower.starts_with("lpt")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    fn names(keys: &[&str]) -> Vec<String> {
        let names = FileNames::of(keys.iter().copied());
        keys.iter().map(|key| names.get(key)).collect()
    }

    #[test]
    fn a_plain_key_is_its_own_name() {
        assert_eq!(names(&["HV-0412", "p_17"]), ["HV-0412", "p_17"]);
    }

    #[test]
    fn no_key_leads_out_of_the_folder_or_is_no_name_at_all() {
        assert_eq!(
            names(&["../a", "a b", "é", "", "~", "con", "Lpt1"]),
            ["~2e~2e~2fa", "a~20b", "~c3~a9", "~", "~7e", "~63on", "~4cpt1"]
        );
    }

    #[test]
    fn keys_that_differ_only_in_capitals_have_names_that_differ_in_more() {
        assert_eq!(names(&["hv-1", "HV-1", "Hv-1"]), ["hv-1", "~48~56-1", "~48v-1"]);
        let long = ["x".repeat(400), format!("{}X", "x".repeat(399))];
        let names = names(&[&long[0], &long[1]]);
        assert!(names[0] != names[1] && names.iter().all(|name| name.len() <= LONGEST));
    }

    proptest! {
        #[test]
        fn every_set_of_keys_has_safe_names_of_its_own(keys in prop::collection::btree_set("[aAbB~./ é42]{0,5}|\\PC{0,60}", 0..40)) {
            let names = FileNames::of(keys.iter().map(String::as_str));
            let of_keys: BTreeSet<String> = keys.iter().map(|key| names.get(key).to_ascii_lowercase()).collect();
            prop_assert_eq!(of_keys.len(), keys.len());
            let safe = |name: &String| {
                (1..=LONGEST).contains(&name.len())
                    && name.bytes().all(|b| b.is_ascii_alphanumeric() || b"-_~".contains(&b))
            };
            prop_assert!(of_keys.iter().all(safe));
        }
    }
}
