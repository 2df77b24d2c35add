//! Changes to a file: bytes whatever they mean, and then what an export or a settings file is made of.

use super::corpus::Corpus;
use super::{csv_changes, toml_changes};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng;

/// A changed file is cut to this many bytes, so that it stays quick.
const LONGEST: usize = 96 << 10;

/// What a file is made of.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SomeBytes {
    /// Records of cells.
    Export,
    /// Keys and values.
    Toml,
}

/// Draws from a stream.
pub struct Draw<'r>(pub &'r mut ChaCha8Rng);

impl Draw<'_> {
    /// A number below `n`; 0 where there is none.
    pub fn below(&mut self, n: usize) -> usize {
        self.0.next_u32() as usize % n.max(1)
    }

    /// Whether one in `n` came up.
    pub fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }

    /// One of a list that is not empty.
    pub fn of<'a, T: ?Sized>(&mut self, list: &'a [&'a T]) -> &'a T {
        list[self.below(list.len())]
    }

    /// A stretch of a text, of no more than `most` bytes.
    pub fn stretch(&mut self, len: usize, most: usize) -> std::ops::Range<usize> {
        let from = self.below(len + 1);
        from..(from + self.below(most + 1)).min(len)
    }
}

/// Changes a file in one to five ways.
pub fn change(bytes: &mut Vec<u8>, kind: SomeBytes, random: &mut ChaCha8Rng, corpus: &Corpus) {
    let mut draw = Draw(random);
    let mut ways = 1;
    while ways < 5 && draw.one_in(2) {
        ways += 1;
    }
    for _ in 0..ways {
        match kind {
            _ if draw.one_in(4) => change_bytes(bytes, kind, &mut draw, corpus),
            SomeBytes::Export => csv_changes::change(bytes, &mut draw),
            SomeBytes::Toml => toml_changes::change(bytes, &mut draw),
        }
        bytes.truncate(LONGEST);
    }
}

/// Bytes on which a reader turns.
const TURNS: &[u8] = b"\",;\t|\n\r\0\x1a\x1b\x7f\x80\xa0\xc3\xe2\xef\xf0\xfe\xff'.+-=0 9eE#[]{}\\%/:";

fn change_bytes(bytes: &mut Vec<u8>, kind: SomeBytes, draw: &mut Draw<'_>, corpus: &Corpus) {
    let at = draw.below(bytes.len() + 1);
    match draw.below(9) {
        0 => {
            if let Some(byte) = bytes.get_mut(at) {
                *byte ^= 1 << draw.below(8);
            }
        }
        1 => {
            let byte = TURNS[draw.below(TURNS.len())];
            match bytes.get_mut(at) {
                Some(place) => *place = byte,
                None => bytes.push(byte),
            }
        }
        2 => {
            let new: Vec<u8> = (0..1 + draw.below(8)).map(|_| TURNS[draw.below(TURNS.len())]).collect();
            bytes.splice(at..at, new);
        }
        3 => {
            let new: Vec<u8> = (0..1 + draw.below(8)).map(|_| draw.below(256) as u8).collect();
            bytes.splice(at..at, new);
        }
        4 => {
            let gone = draw.stretch(bytes.len(), 40);
            bytes.drain(gone);
        }
        5 => {
            let copied = bytes[draw.stretch(bytes.len(), 400)].to_vec();
            bytes.splice(at..at, copied);
        }
        6 => {
            let number = draw.below(1 << 30) as u32;
            let other = corpus.some_file(kind == SomeBytes::Toml, number).unwrap_or_default();
            let from = draw.stretch(other.len(), 600);
            let over = if draw.one_in(2) { at..at } else { draw.stretch(bytes.len(), 600) };
            bytes.splice(over, other[from].iter().copied());
        }
        7 => {
            if draw.one_in(3) {
                bytes.truncate(at);
            }
        }
        _ => {
            // two stretches change places
            let (a, b) = (draw.stretch(bytes.len(), 60), draw.stretch(bytes.len(), 60));
            if a.end <= b.start {
                let mid = bytes[a.end..b.start].to_vec();
                let swapped: Vec<u8> = [&bytes[b.clone()], &mid, &bytes[a.clone()]].concat();
                bytes.splice(a.start..b.end, swapped);
            }
        }
    }
}

/// Texts that a cell or a value may hold and that a reader may stumble over.
pub const AWKWARD: &[&str] = &[
    "",
    " ",
    "NA",
    "-",
    "999",
    "null",
    "NaN",
    "nan",
    "inf",
    "-inf",
    "Infinity",
    "1e308",
    "-1e308",
    "1e400",
    "5e-324",
    "1e-320",
    "0",
    "-0",
    "00",
    "1",
    "-1",
    "+1",
    "2",
    "3",
    "5",
    "9",
    "10",
    "10.0",
    "10.5",
    "11",
    "100",
    "101",
    "0.5",
    "1,5",
    "1.5",
    "1.234.567,8",
    "1'234.5",
    "1 000",
    "1,000,000",
    "0x10",
    "1_000",
    "1e5",
    "½",
    "٣",
    "−5",
    "12 345",
    "40 lb",
    "40lb",
    "40 LBF",
    "18 kg",
    "200 N",
    "200 %",
    "0.25 in",
    "1 m",
    "60 s",
    "2 min",
    "65535",
    "65536",
    "-3660",
    "-3661",
    "36600",
    "36601",
    "255",
    "256",
    "2147483647",
    "2147483648",
    "-2147483649",
    "4294967296",
    "18446744073709551616",
    "99999999999999999999999999999999999999",
    "0.1e-999",
    "1990-01-01",
    "1989-12-31",
    "2026-09-30",
    "2026-10-01",
    "2026-09-29",
    "2025-02-29",
    "2024-02-29",
    "2026-13-01",
    "0000-00-00",
    "9999-12-31",
    "-0001-01-01",
    "+262142-12-31",
    "01.01.1990",
    "30.09.2026",
    "31.02.2026",
    "09/30/2026",
    "30/09/2026",
    "04 Jul 2025",
    "4 July 25",
    "2026-Q1",
    "2026-Q3",
    "2026-Q5",
    "1900-Q1",
    "2200-Q4",
    "2201-Q1",
    "Q3 2026",
    "yes",
    "no",
    "Y",
    "ja",
    "true",
    "FALSE",
    "F",
    "M",
    "M54.16",
    "M54.5",
    "M5416",
    "M54.16; M51.16",
    "M54.16,M50.123",
    "Z99.9",
    "M48.06",
    "prone",
    "supine",
    "lumbar",
    "cervical",
    "other",
    "none",
    "completed",
    "ongoing",
    "lost",
    "acute",
    "=1+1",
    "@SUM(A1)",
    "+cmd",
    "-2+3",
    "\u{feff}",
    "\u{feff}1",
    "\u{202e}abc",
    "\u{0}",
    "\u{1}",
    "\u{1b}[31m",
    "\u{7f}",
    "\u{85}",
    "\u{a0}",
    "\u{2028}",
    "é",
    "e\u{301}",
    "ß",
    "İ",
    "ﬀ",
    "👩‍⚕️",
    "\"",
    "\"\"",
    "a\"b",
    "'",
    "\\",
    "/",
    "../x",
    "%",
    "%Y",
    "#",
    "a#2",
    "a#0",
    "<b>",
    "&amp;",
    "{{x}}",
    "a\tb",
    "a;b",
    "a|b",
    "a,b",
    "a\nb",
    "a\r\nb",
    "\"a\nb\"",
    "\"a\"\"b\"",
    "\"open",
];
