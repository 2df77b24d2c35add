//! `[file]`: the form of the export.

use super::super::date_format;
use super::super::document::{Node, Table};
use super::super::mapping::{FileForm, Layout};
use super::super::suggest::did_you_mean;
use crate::error::Problem;
use encoding_rs::Encoding;

const NAME: &str = "[file]";
const LAYOUTS: [&str; 2] = ["visit rows", "reading rows"];

/// Reads `[file]`; everything in it may be left out but `treated` of reading rows.
pub(super) fn parse(mapping: &Table) -> Result<FileForm, Problem> {
    let empty = Table { entries: Vec::new(), spot: mapping.spot.clone() };
    let table = match mapping.get("file") {
        Some(node) => node.table(NAME)?,
        None => &empty,
    };
    let keys = ["layout", "treated", "delimiter", "encoding", "decimal", "thousands", "dates", "missing", "skip_lines"];
    table.only(&keys, NAME)?;

    let layout = table.get("layout").map_or(Ok(Layout::VisitRows), layout)?;
    let treated = match (table.get("treated"), layout) {
        (Some(node), _) => node.yes_no("treated")?,
        (None, Layout::VisitRows) => true,
        (None, Layout::ReadingRows) => {
            return Err(table
                .problem("a mapping of reading rows must say whether its rows are treated visits")
                .hint("add `treated = false` to [file] when the file holds readings only, else `treated = true`"));
        }
    };
    let form = FileForm {
        layout,
        treated,
        delimiter: table.get("delimiter").map_or(Ok(b','), delimiter)?,
        encoding: table.get("encoding").map_or(Ok(encoding_rs::UTF_8), encoding)?,
        decimal: table.get("decimal").map_or(Ok(b'.'), |node| mark(node, "decimal", &[".", ","]))?,
        thousands: match table.get("thousands") {
            Some(node) => Some(mark(node, "thousands", &[".", ",", "'", " "])?),
            None => None,
        },
        dates: table.get("dates").map_or(Ok(date_format::ISO.to_owned()), dates)?,
        missing: table.get("missing").map_or(Ok(Vec::new()), |node| node.cells("missing"))?,
        skip_lines: match table.get("skip_lines") {
            Some(node) => u32::try_from(node.whole("skip_lines", 0..=10_000)?).unwrap_or(0),
            None => 0,
        },
    };
    refuse_clashes(table, &form)?;
    Ok(form)
}

fn layout(node: &Node) -> Result<Layout, Problem> {
    match node.filled_text("layout")? {
        "visit rows" => Ok(Layout::VisitRows),
        "reading rows" => Ok(Layout::ReadingRows),
        other => Err(node.problem(format!("there is no layout `{other}`")).hint(did_you_mean(other, LAYOUTS))),
    }
}

fn delimiter(node: &Node) -> Result<u8, Problem> {
    delimiter_of(node.text("delimiter")?).ok_or_else(|| {
        node.problem("fields cannot be told apart by this delimiter").hint(format!("use one of: {DELIMITERS}"))
    })
}

/// The delimiters that may be declared, for messages.
pub(crate) const DELIMITERS: &str = "\",\", \";\", \"|\", \"tab\"";

/// The byte of a delimiter as a mapping or the command line writes it.
pub(crate) fn delimiter_of(text: &str) -> Option<u8> {
    match text {
        "," => Some(b','),
        ";" => Some(b';'),
        "|" => Some(b'|'),
        "tab" | "\t" => Some(b'\t'),
        _ => None,
    }
}

fn encoding(node: &Node) -> Result<&'static Encoding, Problem> {
    let label = node.filled_text("encoding")?;
    encoding_of(label).ok_or_else(|| {
        node.problem(format!("there is no encoding `{label}`")).hint(did_you_mean(label, USUAL_ENCODINGS))
    })
}

/// Encodings offered in messages.
pub(crate) const USUAL_ENCODINGS: [&str; 7] =
    ["utf-8", "windows-1252", "iso-8859-15", "utf-16le", "utf-16be", "windows-1250", "macintosh"];

/// The encoding of a WHATWG label.
pub(crate) fn encoding_of(label: &str) -> Option<&'static Encoding> {
    Encoding::for_label_no_replacement(label.as_bytes())
}

fn mark(node: &Node, name: &str, allowed: &[&str]) -> Result<u8, Problem> {
    let text = node.text(name)?;
    match (allowed.contains(&text), text.as_bytes().first()) {
        (true, Some(byte)) => Ok(*byte),
        _ => {
            let allowed: Vec<String> = allowed.iter().map(|mark| format!("\"{mark}\"")).collect();
            Err(node.problem(format!("`{name}` cannot be this")).hint(format!("use one of: {}", allowed.join(", "))))
        }
    }
}

fn refuse_clashes(table: &Table, form: &FileForm) -> Result<(), Problem> {
    let at = |key: &str, what: &str, remedy: &str| {
        let spot = table.get(key).map_or(&table.spot, |node| &node.spot);
        Err(Problem::input(what).at(spot.clone()).hint(remedy))
    };
    if form.decimal == form.delimiter {
        return at(
            "decimal",
            "the decimal mark and the delimiter are the same",
            "an export with decimal commas is nearly always delimited by semicolons or tabs: set `delimiter`",
        );
    }
    if form.thousands == Some(form.decimal) {
        return at(
            "thousands",
            "the thousands separator and the decimal mark are the same",
            "set `decimal` as well, or leave `thousands` out when numbers are written without one",
        );
    }
    if form.thousands == Some(form.delimiter) {
        return at(
            "thousands",
            "the thousands separator and the delimiter are the same",
            "set `delimiter`, or leave `thousands` out when numbers are written without one",
        );
    }
    Ok(())
}

/// A chrono format that settles a calendar date.
fn dates(node: &Node) -> Result<String, Problem> {
    let written = node.filled_text("dates")?;
    date_format::read(written).map_err(|fault| node.problem(fault.what).hint(fault.remedy))
}

#[cfg(test)]
mod tests {
    use super::super::super::document;
    use super::*;
    use std::path::Path;

    fn parsed(text: &str) -> Result<FileForm, String> {
        let table = document::parse(Path::new("m.toml"), text).unwrap();
        parse(&table).map_err(|problem| problem.to_string())
    }

    fn complaint(text: &str) -> String {
        parsed(text).unwrap_err()
    }

    #[test]
    fn a_mapping_that_says_nothing_reads_plain_comma_separated_utf8() {
        let form = parsed("").unwrap();
        assert_eq!(form.layout, Layout::VisitRows);
        assert!(form.treated);
        assert_eq!((form.delimiter, form.decimal, form.thousands), (b',', b'.', None));
        assert_eq!(form.encoding, encoding_rs::UTF_8);
        assert_eq!(form.dates, "%Y-%m-%d");
    }

    #[test]
    fn each_key_is_read() {
        let form = parsed(
            "[file]\nlayout = 'reading rows'\ntreated = false\ndelimiter = 'tab'\nencoding = 'latin1'\n\
             decimal = ','\nthousands = '.'\ndates = '%d.%m.%y'\nmissing = ['NA', 999]\nskip_lines = 2\n",
        )
        .unwrap();
        assert_eq!(form.layout, Layout::ReadingRows);
        assert!(!form.treated);
        assert_eq!((form.delimiter, form.decimal, form.thousands), (b'\t', b',', Some(b'.')));
        assert_eq!(form.encoding.name(), "windows-1252", "the WHATWG reading of latin1");
        assert_eq!(form.dates, "%d.%m.%y");
        assert_eq!(form.missing, ["NA", "999"]);
        assert_eq!(form.skip_lines, 2);
    }

    #[test]
    fn named_date_orders_stand_for_slashes_and_four_digit_years() {
        let dates = |name: &str| parsed(&format!("[file]\ndates = '{name}'\n")).unwrap().dates;
        assert_eq!(dates("iso"), "%Y-%m-%d");
        assert_eq!(dates("day first"), "%d/%m/%Y");
        assert_eq!(dates("month first"), "%m/%d/%Y");
        assert_eq!(dates("%Y-%m-%dT%H:%M:%S"), "%Y-%m-%dT%H:%M:%S");
        assert_eq!(dates("%e %b %Y"), "%e %b %Y");
    }

    #[test]
    fn a_date_format_that_is_none_hides_a_short_year_or_leaves_a_part_out_is_refused() {
        let dates = |format: &str| complaint(&format!("[file]\ndates = '{format}'\n"));
        assert!(dates("dd.mm.yyyy").starts_with("m.toml:2:9: `dd.mm.yyyy` is not a date format"));
        assert!(dates("%Q").starts_with("m.toml:2:9: `%Q` is not a date format"));
        assert!(dates("%D").starts_with("m.toml:2:9: `%D` hides a two-digit year"));
        assert!(dates("%d.%m.").starts_with("m.toml:2:9: `%d.%m.` does not settle year, month and day"));
        assert!(dates("%Y-%m-%d %z").contains("does not settle"), "a time zone cannot be written for a day");
    }

    #[test]
    fn marks_that_clash_are_refused_at_the_mark() {
        assert_eq!(
            complaint("[file]\ndecimal = ','\n"),
            "m.toml:2:11: the decimal mark and the delimiter are the same\n  what to do: an export with decimal commas \
             is nearly always delimited by semicolons or tabs: set `delimiter`"
        );
        let text = "[file]\ndelimiter = ';'\nthousands = '.'\n";
        assert!(complaint(text).starts_with("m.toml:3:13: the thousands separator and the decimal mark are the same"));
        let text = "[file]\nthousands = ','\n";
        assert!(complaint(text).starts_with("m.toml:2:13: the thousands separator and the delimiter are the same"));
    }

    #[test]
    fn words_that_are_not_known_are_answered_with_those_that_are() {
        assert_eq!(
            complaint("[file]\nencoding = 'window-1252'\n"),
            "m.toml:2:12: there is no encoding `window-1252`\n  what to do: did you mean `windows-1252`?"
        );
        assert!(complaint("[file]\nlayout = 'visits rows'\n").contains("did you mean `visit rows`?"));
        assert!(complaint("[file]\ndelimiter = ';;'\n").contains("use one of: \",\", \";\""));
        assert!(complaint("[file]\ndecimal = '·'\n").starts_with("m.toml:2:11: `decimal` cannot be this"));
        assert!(complaint("[file]\nskip_lines = -1\n").contains("from 0 to 10000"));
    }

    #[test]
    fn reading_rows_must_say_whether_they_are_visits() {
        let message = complaint("\n[file]\nlayout = 'reading rows'\n");
        assert!(message.contains("must say whether its rows are treated visits"), "{message}");
    }
}
