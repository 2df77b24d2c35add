//! Bytes of any encoding -> UTF-8, as a stream.
//!
//! A byte-order mark always wins; otherwise the mapping's encoding holds. Nothing is guessed: text
//! that does not fit the declared encoding ends the run, and the message names the likely encoding.

use encoding_rs::{Decoder, Encoding, UTF_8};
use std::io::{self, Read};

/// A reader that gives UTF-8 whatever the source's encoding.
///
/// UTF-8 itself passes through unchecked; [`super::blocks`] checks it block by block, where the line is known.
pub struct Utf8Reader {
    source: Box<dyn Read + Send>,
    decoder: Option<Decoder>,
    ready: Vec<u8>, // decoded, or the first bytes of a UTF-8 file
    ready_at: usize,
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
        let mut head = Vec::with_capacity(3);
        source.by_ref().take(3).read_to_end(&mut head)?;
        let (encoding, mark) = Encoding::for_bom(&head).unwrap_or((declared, 0));
        head.drain(..mark);
        let decoder = (encoding != UTF_8).then(|| encoding.new_decoder_without_bom_handling());
        let ended = head.is_empty() && mark == 0;
        let mut reader = Self { source, decoder, ready: head, ready_at: 0, ended, malformed: false, encoding };
        if reader.decoder.is_some() {
            let head = std::mem::take(&mut reader.ready);
            reader.decode(&head);
        }
        Ok(reader)
    }

    /// The encoding in force.
    pub fn encoding(&self) -> &'static Encoding {
        self.encoding
    }

    /// Whether the bytes read so far held a sequence that the encoding does not know.
    pub fn malformed(&self) -> bool {
        self.malformed
    }

    fn decode(&mut self, raw: &[u8]) {
        let Some(decoder) = &mut self.decoder else { return };
        self.ready_at = 0;
        // at least three bytes of UTF-8 for a byte, and room for what the decoder held back
        self.ready.resize(3 * raw.len() + 16, 0);
        let (_, _, written, replaced) = decoder.decode_to_utf8(raw, &mut self.ready, self.ended);
        self.ready.truncate(written);
        self.malformed |= replaced;
    }
}

impl Read for Utf8Reader {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        while self.ready_at == self.ready.len() {
            if self.decoder.is_none() {
                return self.source.read(out);
            }
            if self.ended {
                return Ok(0);
            }
            let mut raw = vec![0; RAW];
            let n = self.source.read(&mut raw)?;
            self.ended = n == 0;
            self.decode(raw.get(..n).unwrap_or_default());
        }
        let waiting = self.ready.get(self.ready_at..).unwrap_or_default();
        let n = waiting.len().min(out.len());
        for (to, from) in out.iter_mut().zip(waiting) {
            *to = *from;
        }
        self.ready_at += n;
        Ok(n)
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
