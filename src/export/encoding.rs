//! Bytes of any encoding -> UTF-8, as a stream.
//!
//! A byte-order mark always wins; otherwise the mapping's encoding holds. Nothing is guessed: text
//! that does not fit the declared encoding ends the run, and the message names the likely encoding.

use encoding_rs::{CoderResult, Decoder, Encoding, UTF_8};
use std::io::{self, Read};

/// A reader that gives UTF-8 whatever the source's encoding.
///
/// UTF-8 itself passes through unchecked; [`super::blocks`] checks it block by block, where the line is known.
pub struct Utf8Reader {
    source: Box<dyn Read + Send>,
    decoder: Option<Decoder>,
    raw: Vec<u8>,
    raw_at: usize,
    ended: bool,
    malformed: bool,
    encoding: &'static Encoding,
}

const RAW: usize = 1 << 16;

impl Utf8Reader {
    /// Looks at the first bytes and sets up decoding.
    ///
    /// # Errors
    /// The source cannot be read.
    pub fn new(mut source: Box<dyn Read + Send>, declared: &'static Encoding) -> io::Result<Self> {
        let mut raw = Vec::with_capacity(RAW);
        source.by_ref().take(3).read_to_end(&mut raw)?;
        let (encoding, mark) = Encoding::for_bom(&raw).unwrap_or((declared, 0));
        raw.drain(..mark);
        let decoder = (encoding != UTF_8).then(|| encoding.new_decoder_without_bom_handling());
        Ok(Self { source, decoder, raw, raw_at: 0, ended: false, malformed: false, encoding })
    }

    /// The encoding in force.
    pub fn encoding(&self) -> &'static Encoding {
        self.encoding
    }

    /// Whether the bytes read so far held a sequence that the encoding does not know.
    pub fn malformed(&self) -> bool {
        self.malformed
    }
}

impl Read for Utf8Reader {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let Some(decoder) = &mut self.decoder else {
            let waiting = self.raw.get(self.raw_at..).unwrap_or_default();
            if waiting.is_empty() {
                return self.source.read(out);
            }
            let n = waiting.len().min(out.len());
            for (to, from) in out.iter_mut().zip(waiting) {
                *to = *from;
            }
            self.raw_at += n;
            return Ok(n);
        };
        if out.len() < 4 {
            return Err(io::Error::new(io::ErrorKind::InvalidInput, "the buffer is too small for a character"));
        }
        loop {
            let waiting = self.raw.get(self.raw_at..).unwrap_or_default();
            let (result, read, written, replaced) = decoder.decode_to_utf8(waiting, out, self.ended);
            self.raw_at += read;
            self.malformed |= replaced;
            if written > 0 || (self.ended && result == CoderResult::InputEmpty) {
                return Ok(written);
            }
            // nothing came out yet: half a character stands at the end of the raw bytes
            self.raw.clear();
            self.raw_at = 0;
            self.raw.resize(RAW, 0);
            let n = self.source.read(&mut self.raw)?;
            self.raw.truncate(n);
            self.ended = n == 0;
        }
    }
}

/// The encoding that bytes which are not UTF-8 most likely have, for a message or a draft.
pub fn likely_encoding(bytes: &[u8]) -> &'static Encoding {
    let mut detector = chardetng::EncodingDetector::new(chardetng::Iso2022JpDetection::Deny);
    detector.feed(bytes, true);
    detector.guess(None, chardetng::Utf8Detection::Deny)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(bytes: &[u8], declared: &'static Encoding) -> (String, bool) {
        let mut reader = Utf8Reader::new(Box::new(io::Cursor::new(bytes.to_vec())), declared).unwrap();
        let mut out = Vec::new();
        reader.read_to_end(&mut out).unwrap();
        (String::from_utf8(out).unwrap(), reader.malformed())
    }

    #[test]
    fn a_byte_order_mark_wins_over_the_mapping() {
        let mut utf16 = vec![0xff, 0xfe];
        utf16.extend("Größe;µ\n".encode_utf16().flat_map(u16::to_le_bytes));
        assert_eq!(read(&utf16, encoding_rs::WINDOWS_1252), ("Größe;µ\n".into(), false));
        assert_eq!(read(b"\xef\xbb\xbfa,b", encoding_rs::WINDOWS_1252), ("a,b".into(), false));
    }

    #[test]
    fn windows_1252_becomes_utf_8() {
        assert_eq!(read(b"R\xfccken \x80", encoding_rs::WINDOWS_1252), ("Rücken €".into(), false));
    }

    #[test]
    fn a_long_utf_16_text_is_read_whole_and_a_cut_one_is_malformed() {
        let text = "ä,1\r\n".repeat(50_000);
        let mut bytes = vec![0xfe, 0xff];
        bytes.extend(text.encode_utf16().flat_map(u16::to_be_bytes));
        assert_eq!(read(&bytes, UTF_8), (text, false));
        bytes.pop();
        assert!(read(&bytes, UTF_8).1);
    }

    #[test]
    fn a_file_shorter_than_a_mark_is_read() {
        assert_eq!(read(b"a", UTF_8).0, "a");
        assert_eq!(read(b"", UTF_8).0, "");
    }
}
