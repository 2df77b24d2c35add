//! The clinic's secret, the pseudonym of a key, and the shift of a patient's dates.

use crate::error::{Problem, Spot};
use std::path::Path;

/// A secret shorter than the hash's key adds nothing to it (bytes).
const SHORTEST: usize = 32;
/// A longer one is taken for the wrong file (bytes).
const LONGEST: u64 = 64 << 10;
/// Fewer different bytes are no secret but a row of zeros.
const FEWEST_DIFFERENT: usize = 8;
/// Information in the bytes taken one by one, and in the steps from each to the next: 32 random decimal digits have more.
const FEWEST_BITS: f64 = 80.0;
/// Bytes that no earlier stretch of the secret gives away.
const FEWEST_NEW: usize = 24;
/// Bytes of a stretch that counts as a repetition.
const STRETCH: usize = 4;
/// Lines of a secret; a longer text is a document.
const MOST_LINES: usize = 4;
/// Different words of a secret that is a sentence: 12 drawn from a list of 7,776 hold 155 bits.
const FEWEST_WORDS: usize = 12;
/// Dates move by this many days at most, earlier or later.
const MOST_DAYS: i64 = 182;

const HOW_TO_MAKE_ONE: &str = "make one with: (umask 077; head -c 48 /dev/urandom | base64 > secret.txt); keep it at the clinic, keep a copy \
     in a safe, and use the same one for every export";

/// Two keys drawn from the clinic's secret. Not printable, so that it cannot end up in a message.
pub(super) struct Secret {
    names: [u8; 32],
    shifts: [u8; 32],
}

impl Secret {
    /// Reads a secret file; line ends behind the secret do not count.
    ///
    /// # Errors
    /// It is not there, others can read it, it is the export itself or another known file, or it could be guessed.
    pub fn read(path: &Path, export: &Path) -> Result<Self, Problem> {
        let refuse = |what: &str| Err(Problem::input(what).at(Spot::file(path)).hint(HOW_TO_MAKE_ONE));
        let file = match std::fs::metadata(path) {
            Ok(file) if file.is_file() => file,
            Ok(_) => return refuse("this is not a secret file"),
            Err(_) => return refuse("there is no such secret file"),
        };
        if file.len() > LONGEST {
            return refuse("longer than 64 KB, so hardly a secret");
        }
        let same =
            |other: &Path| path.canonicalize().is_ok_and(|own| other.canonicalize().is_ok_and(|other| own == other));
        if same(export) {
            return refuse("the export itself is no secret: whoever has it can undo the pseudonyms");
        }
        if others_may_read(&file) {
            return Err(Problem::input("others on this machine can read the secret")
                .at(Spot::file(path))
                .hint(format!("make it yours alone: chmod 600 {}", path.display())));
        }
        let mut bytes = std::fs::read(path).map_err(|error| Problem::io(path, &error))?;
        while bytes.len() > SHORTEST && matches!(bytes.last(), Some(b'\n' | b'\r')) {
            bytes.pop();
        }
        if let Some(what) = weakness(&bytes) {
            return refuse(what);
        }
        let is_export = export.metadata().is_ok_and(|other| other.len() == file.len())
            && std::fs::read(export).is_ok_and(|other| std::fs::read(path).is_ok_and(|own| own == other));
        if is_export {
            return refuse("the secret is a copy of the export");
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

#[cfg(unix)]
fn others_may_read(file: &std::fs::Metadata) -> bool {
    use std::os::unix::fs::PermissionsExt;
    file.permissions().mode() & 0o077 != 0
}

/// Elsewhere access is not a matter of mode bits.
#[cfg(not(unix))]
fn others_may_read(_: &std::fs::Metadata) -> bool {
    false
}

/// Why a secret could be guessed; `None` for one that looks drawn at random.
fn weakness(bytes: &[u8]) -> Option<&'static str> {
    let steps: Vec<u8> = bytes.iter().zip(bytes.iter().skip(1)).map(|(one, next)| next.wrapping_sub(*one)).collect();
    let text =
        std::str::from_utf8(bytes).ok().filter(|text| !text.contains(|c: char| c.is_control() && !c.is_whitespace()));
    let is_settings = |text: &str| toml::from_str::<toml::Table>(text).is_ok_and(|table| !table.is_empty());
    if bytes.len() < SHORTEST {
        return Some("the secret is shorter than 32 bytes");
    }
    if different(bytes) < FEWEST_DIFFERENT {
        return Some("the secret could be guessed: it repeats a few characters");
    }
    if bits(bytes) < FEWEST_BITS || new_bytes(bytes) < FEWEST_NEW {
        return Some("the secret could be guessed: it repeats itself");
    }
    if bits(&steps) < FEWEST_BITS {
        return Some("the secret could be guessed: its characters follow each other in order");
    }
    let text = text?;
    if is_settings(text) {
        return Some("this is a file of settings and no secret");
    }
    if text.lines().filter(|line| !line.trim().is_empty()).count() > MOST_LINES || is_table(text) {
        return Some("this is a document or a table and no secret");
    }
    let is_sentence = text.contains(' ') && !text.contains(|c: char| c.is_ascii_digit());
    let words: std::collections::HashSet<String> = text.split_whitespace().map(str::to_lowercase).collect();
    (is_sentence && words.len() < FEWEST_WORDS)
        .then_some("the secret could be guessed: it is a sentence of fewer than 12 different words")
}

fn different(bytes: &[u8]) -> usize {
    bytes.iter().collect::<std::collections::HashSet<_>>().len()
}

/// Shannon's information of a text by the frequencies of its bytes, in bits.
fn bits(bytes: &[u8]) -> f64 {
    let mut sorted = bytes.to_vec();
    sorted.sort_unstable();
    let counts = sorted.chunk_by(|one, next| one == next).map(|chunk| chunk.len() as u32);
    let all = bytes.len() as f64;
    counts.map(|count| f64::from(count) * (all / f64::from(count)).log2()).sum()
}

/// Bytes that stand in no stretch that was there before.
fn new_bytes(bytes: &[u8]) -> usize {
    let mut repeated = vec![false; bytes.len()];
    let mut before = std::collections::HashSet::new();
    for (at, stretch) in bytes.windows(STRETCH).enumerate() {
        if !before.insert(stretch) {
            repeated.iter_mut().skip(at).take(STRETCH).for_each(|byte| *byte = true);
        }
    }
    repeated.iter().filter(|byte| !**byte).count()
}

/// Two lines or more with the same number of the same delimiter.
fn is_table(text: &str) -> bool {
    [',', ';', '\t', '|'].into_iter().any(|mark| {
        let mut counts = text.lines().map(|line| line.matches(mark).count());
        let first = counts.next().unwrap_or(0);
        let mut rest = counts.peekable();
        first > 0 && rest.peek().is_some() && rest.all(|count| count == first)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn secret(bytes: &[u8]) -> Result<Secret, Problem> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("secret.txt");
        write_for_the_owner(&path, bytes);
        Secret::read(&path, Path::new("export.csv"))
    }

    fn write_for_the_owner(path: &Path, bytes: &[u8]) {
        std::fs::write(path, bytes).unwrap();
        #[cfg(unix)]
        std::fs::set_permissions(path, std::os::unix::fs::PermissionsExt::from_mode(0o600)).unwrap();
    }

    fn refused(bytes: &[u8]) -> Problem {
        secret(bytes).err().unwrap()
    }

    const ONE: &[u8] = b"q7Rk2+Zt9wLx4BvN8mCy1/Hs6JdFpG3e";

    #[test]
    fn a_short_empty_or_monotonous_secret_is_refused_with_the_way_to_make_one() {
        assert_eq!(refused(b"").what, "the secret is shorter than 32 bytes");
        assert_eq!(refused(&ONE[..31]).what, "the secret is shorter than 32 bytes");
        assert_eq!(refused(&[b'0'; 64]).what, "the secret could be guessed: it repeats a few characters");
        let guessed = "the secret could be guessed: ";
        for (secret, why) in [
            (b"correct horse battery staple".repeat(9), "it is a sentence of fewer than 12 different words"),
            (b"Thimblewood1".repeat(4), "it repeats itself"),
            (b"0123456789abcdefghijklmnopqrstuv".to_vec(), "its characters follow each other in order"),
            ((b'!'..=b'~').collect(), "its characters follow each other in order"),
            (b"the clinic of Harrow Vale keeps its keys".to_vec(), "it is a sentence of fewer than 12 different words"),
        ] {
            assert_eq!(refused(&secret).what, format!("{guessed}{why}"));
        }
        assert_eq!(refused(&vec![b'a'; 70_000]).what, "longer than 64 KB, so hardly a secret");
        assert!(refused(b"").remedy.unwrap().contains("/dev/urandom"));
        let nowhere = Secret::read(Path::new("nowhere/secret.txt"), Path::new("export.csv")).err().unwrap();
        assert_eq!(nowhere.what, "there is no such secret file");
    }

    #[test]
    fn a_known_file_is_no_secret() {
        let settings = b"name = \"Harrow Vale group\"\nas_of = 2026-09-30\n";
        let mapping = b"[columns]\npatient = \"Pat\"\ndate = \"Datum\"\n";
        for bytes in [&settings[..], mapping] {
            assert_eq!(refused(bytes).what, "this is a file of settings and no secret");
        }
        for bytes in
            [&b"patient,date,pull,region\nk1,2026-07-01,300,lumbar\n"[..], include_bytes!("../../../LICENSE-MIT")]
        {
            assert_eq!(refused(bytes).what, "this is a document or a table and no secret");
        }
        let folder = tempfile::tempdir().unwrap();
        let (export, copy) = (folder.path().join("export.csv"), folder.path().join("copy.csv"));
        write_for_the_owner(&export, b"Pat;Text;Zug\nq7Rk2+Zt9wLx4BvN8mCy1");
        std::fs::copy(&export, &copy).unwrap();
        assert!(Secret::read(&export, &export).err().unwrap().what.starts_with("the export itself is no secret"));
        assert!(Secret::read(&copy, &export).is_err());
    }

    #[test]
    fn secrets_drawn_at_random_are_taken_however_they_are_written() {
        let mut state = 7u64;
        let mut draw = move |of: &[u8], count: usize| -> Vec<u8> {
            let mut next = || {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 33) as usize
            };
            (0..count).map(|_| of[next() % of.len()]).collect()
        };
        let printable: Vec<u8> = (b'!'..=b'~').collect();
        let all: Vec<u8> = (0..=255).collect();
        for _ in 0..2_000 {
            for (alphabet, count) in
                [(&b"0123456789"[..], 40), (b"0123456789abcdef", 32), (&printable, 32), (&all, 32), (&all, 64)]
            {
                let bytes = draw(alphabet, count);
                assert_eq!(weakness(&bytes), None, "{bytes:?}");
            }
        }
    }

    #[cfg(unix)]
    #[test]
    fn a_secret_that_others_can_read_is_refused() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("secret.txt");
        write_for_the_owner(&path, ONE);
        assert!(Secret::read(&path, Path::new("export.csv")).is_ok());
        for mode in [0o640, 0o604, 0o644] {
            std::fs::set_permissions(&path, PermissionsExt::from_mode(mode)).unwrap();
            let problem = Secret::read(&path, Path::new("export.csv")).err().unwrap();
            assert_eq!(problem.what, "others on this machine can read the secret");
            assert!(problem.remedy.unwrap().contains("chmod 600"));
        }
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
