//! The clinic's secret, the pseudonym of a key, and the shift of a patient's dates.

use crate::error::{Problem, Spot};
use std::path::Path;

/// A secret shorter than the hash's key adds nothing to it (bytes).
const SHORTEST: usize = 32;
/// A longer one is taken for the wrong file (bytes).
const LONGEST: u64 = 64 << 10;
/// Fewer different bytes are no secret but a row of zeros.
const FEWEST_DIFFERENT: usize = 8;
/// Dates move by this many days at most, earlier or later.
const MOST_DAYS: i64 = 182;

const HOW_TO_MAKE_ONE: &str = "make one with: head -c 48 /dev/urandom | base64 > secret.txt; keep it at the clinic, keep a copy \
     in a safe, and use the same one for every export";

/// Two keys drawn from the clinic's secret. Not printable, so that it cannot end up in a message.
pub(super) struct Secret {
    names: [u8; 32],
    shifts: [u8; 32],
}

impl Secret {
    /// Reads a secret file; line ends behind the secret do not count.
    pub fn read(path: &Path) -> Result<Self, Problem> {
        let refuse = |what: &str| Err(Problem::input(what).at(Spot::file(path)).hint(HOW_TO_MAKE_ONE));
        let size = match std::fs::metadata(path) {
            Ok(file) if file.is_file() => file.len(),
            Ok(_) => return refuse("this is not a secret file"),
            Err(_) => return refuse("there is no such secret file"),
        };
        if size > LONGEST {
            return refuse("longer than 64 KB, so hardly a secret");
        }
        let mut bytes = std::fs::read(path).map_err(|error| Problem::io(path, &error))?;
        while bytes.len() > SHORTEST && matches!(bytes.last(), Some(b'\n' | b'\r')) {
            bytes.pop();
        }
        let mut different = bytes.clone();
        different.sort_unstable();
        different.dedup();
        if bytes.len() < SHORTEST {
            return refuse("the secret is shorter than 32 bytes");
        }
        if different.len() < FEWEST_DIFFERENT {
            return refuse("the secret could be guessed: it repeats a few characters");
        }
        Ok(Self {
            names: blake3::derive_key("mendcurve 2026: pseudonyms of keys", &bytes),
            shifts: blake3::derive_key("mendcurve 2026: shifts of dates", &bytes),
        })
    }

    /// Sixteen hexadecimal digits for a key; 64 bits, so that two of a million keys meet with a chance
    /// below 3 in 100 million (n^2 / 2^65).
    pub fn pseudonym(&self, key: &str) -> String {
        let hash = blake3::keyed_hash(&self.names, key.trim().as_bytes());
        hash.to_hex().chars().take(16).collect()
    }

    /// The days by which a patient's dates move: -182 to 182, each as likely.
    pub fn shift_days(&self, key: &str) -> i64 {
        let hash = blake3::keyed_hash(&self.shifts, key.trim().as_bytes());
        let mut number = [0u8; 8];
        for (to, from) in number.iter_mut().zip(hash.as_bytes()) {
            *to = *from;
        }
        let days = (2 * MOST_DAYS + 1) as u64;
        (u64::from_le_bytes(number) % days) as i64 - MOST_DAYS
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn secret(bytes: &[u8]) -> Result<Secret, Problem> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("secret.txt");
        std::fs::write(&path, bytes).unwrap();
        Secret::read(&path)
    }

    fn refused(bytes: &[u8]) -> Problem {
        secret(bytes).err().unwrap()
    }

    const ONE: &[u8] = b"0123456789abcdefghijklmnopqrstuv";

    #[test]
    fn a_short_empty_or_monotonous_secret_is_refused_with_the_way_to_make_one() {
        assert_eq!(refused(b"").what, "the secret is shorter than 32 bytes");
        assert_eq!(refused(&ONE[..31]).what, "the secret is shorter than 32 bytes");
        assert_eq!(refused(&[b'0'; 64]).what, "the secret could be guessed: it repeats a few characters");
        assert_eq!(refused(&vec![b'a'; 70_000]).what, "longer than 64 KB, so hardly a secret");
        assert!(refused(b"").remedy.unwrap().contains("/dev/urandom"));
        let nowhere = Secret::read(Path::new("nowhere/secret.txt")).err().unwrap();
        assert_eq!(nowhere.what, "there is no such secret file");
    }

    #[test]
    fn a_pseudonym_depends_on_the_key_and_on_the_secret_alone() {
        let one = secret(ONE).unwrap();
        assert_eq!(one.pseudonym("P1"), one.pseudonym(" P1 "));
        assert_eq!(
            one.pseudonym("P1"),
            secret(&[ONE, b"\r\n"].concat()).unwrap().pseudonym("P1"),
            "a line end is no secret"
        );
        assert_ne!(one.pseudonym("P1"), one.pseudonym("p1"));
        assert_ne!(one.pseudonym("P1"), secret(&[ONE, b"x"].concat()).unwrap().pseudonym("P1"));
        assert_eq!(one.pseudonym("P1").len(), 16);
        assert!(one.pseudonym("P1").bytes().all(|byte| byte.is_ascii_hexdigit()));
    }

    #[test]
    fn pseudonyms_raise_no_alarm_at_the_privacy_gate() {
        let secret = secret(ONE).unwrap();
        let mut screen = crate::catalogue::identifiers::ValueScreen::default();
        for i in 0..5_000 {
            screen.observe(secret.pseudonym(&format!("P{i}")).as_bytes());
        }
        assert_eq!(screen.finding(), None);
    }

    #[test]
    fn shifts_fill_the_whole_range_and_do_not_follow_the_pseudonym() {
        let secret = secret(ONE).unwrap();
        let shifts: Vec<i64> = (0..20_000).map(|i| secret.shift_days(&format!("P{i}"))).collect();
        assert_eq!((shifts.iter().min(), shifts.iter().max()), (Some(&-182), Some(&182)));
        let mean = shifts.iter().sum::<i64>() as f64 / shifts.len() as f64;
        // standard error of the mean of 20,000 draws: 105.4 / sqrt(20,000) = 0.75 days
        assert!(mean.abs() < 4.0 * 0.75, "{mean}");
    }
}
