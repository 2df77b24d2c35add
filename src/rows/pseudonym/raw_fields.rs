//! Records cut into fields without unquoting, so that an untouched field stays as it was.

/// One record: its fields as written, quotation marks included, and its line end.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct RawRecord<'t> {
    /// The line it begins on, from 1.
    pub line: u64,
    /// The fields as written; none for an empty line.
    pub fields: Vec<&'t str>,
    /// `\n`, `\r\n`, `\r`, or nothing at the end of the text.
    pub line_end: &'t str,
}

/// Cuts the records of a text. A quotation mark opens a quoted field only at the field's start.
pub(super) fn records(text: &str, first_line: u64, delimiter: u8) -> impl Iterator<Item = RawRecord<'_>> {
    let mut rest = text;
    let mut line = first_line;
    let returns_end_lines = !text.contains('\n');
    std::iter::from_fn(move || {
        if rest.is_empty() {
            return None;
        }
        let (record, after) = record(rest, line, delimiter);
        let taken = rest.get(..rest.len() - after.len()).unwrap_or_default();
        line += taken.bytes().filter(|byte| *byte == if returns_end_lines { b'\r' } else { b'\n' }).count() as u64;
        rest = after;
        Some(record)
    })
}

fn record(text: &str, line: u64, delimiter: u8) -> (RawRecord<'_>, &str) {
    let bytes = text.as_bytes();
    let mut fields = Vec::new();
    let mut start = 0;
    loop {
        let end = field_end(bytes, start, delimiter);
        fields.push(text.get(start..end).unwrap_or_default());
        if bytes.get(end) == Some(&delimiter) {
            start = end + 1;
            continue;
        }
        let width = match bytes.get(end..) {
            Some([b'\r', b'\n', ..]) => 2,
            Some([_, ..]) => 1,
            _ => 0,
        };
        let line_end = text.get(end..end + width).unwrap_or_default();
        if let [only] = fields.as_slice()
            && only.is_empty()
        {
            fields.clear();
        }
        return (RawRecord { line, fields, line_end }, text.get(end + width..).unwrap_or_default());
    }
}

/// The position of the delimiter, line end or end of text that closes the field.
fn field_end(bytes: &[u8], start: usize, delimiter: u8) -> usize {
    let mut quoted = bytes.get(start) == Some(&b'"');
    let mut at = start + usize::from(quoted);
    while let Some(byte) = bytes.get(at) {
        if quoted {
            if *byte == b'"' {
                if bytes.get(at + 1) == Some(&b'"') {
                    at += 1;
                } else {
                    quoted = false;
                }
            }
        } else if *byte == delimiter || matches!(byte, b'\n' | b'\r') {
            break;
        }
        at += 1;
    }
    at
}

/// The text of a field without its quotation marks.
pub(super) fn unquoted(field: &str) -> String {
    match field.strip_prefix('"') {
        None => field.to_owned(),
        Some(rest) => {
            let mut text = String::with_capacity(rest.len());
            let mut marks = rest.chars().peekable();
            let mut quoted = true;
            while let Some(letter) = marks.next() {
                match letter {
                    '"' if quoted && marks.peek() == Some(&'"') => {
                        marks.next();
                        text.push('"');
                    }
                    '"' if quoted => quoted = false,
                    other => text.push(other),
                }
            }
            text
        }
    }
}

/// A text as a field: in quotation marks when it stood in them before or needs them now.
pub(super) fn quoted_like(before: &str, text: &str, delimiter: u8) -> String {
    let needs = text.contains([char::from(delimiter), '"', '\n', '\r']);
    if before.starts_with('"') || needs { format!("\"{}\"", text.replace('"', "\"\"")) } else { text.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::records::Records;

    const AWKWARD: &str = "a;\"b;\"\"c\";5\" belt\r\n\n\"x\ny\";;\"z\"q\nlast;\"\";\"open";

    #[test]
    fn fields_and_line_ends_put_together_are_the_text_again() {
        let again: String = records(AWKWARD, 1, b';').map(|record| record.fields.join(";") + record.line_end).collect();
        assert_eq!(again, AWKWARD);
    }

    #[test]
    fn records_are_cut_and_unquoted_as_the_reader_of_exports_does() {
        let mut reader = Records::of_text(AWKWARD.as_bytes(), 1, b';');
        let mut expected = Vec::new();
        while let Some(record) = reader.next_record() {
            let fields: Vec<String> = record.iter().map(|field| String::from_utf8_lossy(field).into_owned()).collect();
            expected.push((record.line, fields));
        }
        let got: Vec<(u64, Vec<String>)> = records(AWKWARD, 1, b';')
            .filter(|record| !record.fields.is_empty())
            .map(|record| (record.line, record.fields.iter().map(|field| unquoted(field)).collect()))
            .collect();
        assert_eq!(got, expected);
    }

    #[test]
    fn a_new_text_is_quoted_when_it_must_be() {
        assert_eq!(quoted_like("old", "new", b','), "new");
        assert_eq!(quoted_like("\"old\"", "new", b','), "\"new\"");
        assert_eq!(quoted_like("old", "Jul 1, 2026", b','), "\"Jul 1, 2026\"");
        assert_eq!(quoted_like("old", "a\"b", b','), "\"a\"\"b\"");
    }
}
