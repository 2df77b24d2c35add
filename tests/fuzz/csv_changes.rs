//! Changes to what an export is made of: records, cells, line ends, encodings, packing.

use super::mutate::{AWKWARD, Draw};
use std::io::Write;

/// What no message may tell: it stands in cells alone.
pub const SECRET: &str = "qzx7Geheim";

/// Changes an export in one way. Wide text is changed as such.
pub fn change(bytes: &mut Vec<u8>, draw: &mut Draw<'_>) {
    if let Some(wide) = bytes.strip_prefix(&[0xff, 0xfe]) {
        let units: Vec<u16> = wide.as_chunks::<2>().0.iter().map(|pair| u16::from_le_bytes(*pair)).collect();
        let mut text = String::from_utf16_lossy(&units).into_bytes();
        change_records(&mut text, draw);
        *bytes = utf_16(&text);
        return;
    }
    match draw.below(40) {
        0 => *bytes = utf_16(bytes),
        1 => *bytes = [b"\xef\xbb\xbf", bytes.as_slice()].concat(),
        2 => *bytes = String::from_utf8_lossy(bytes).chars().map(|c| u8::try_from(c).unwrap_or(b'?')).collect(),
        3 => *bytes = packed(bytes, draw),
        4 => bytes.clear(),
        _ => change_records(bytes, draw),
    }
}

fn utf_16(text: &[u8]) -> Vec<u8> {
    let text = String::from_utf8_lossy(text);
    [0xff, 0xfe].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect()
}

fn packed(bytes: &[u8], draw: &mut Draw<'_>) -> Vec<u8> {
    let mut out = if draw.one_in(2) {
        let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        gzip.write_all(bytes).expect("memory");
        gzip.finish().expect("memory")
    } else {
        zstd::encode_all(bytes, 1).expect("memory")
    };
    match draw.below(4) {
        0 => out.truncate(draw.below(out.len() + 1)),
        1 => {
            let at = draw.below(out.len());
            out[at] ^= 1 << draw.below(8);
        }
        _ => {}
    }
    out
}

/// The delimiter that the first two lines hold most of.
fn delimiter(bytes: &[u8]) -> u8 {
    let head: Vec<u8> = bytes.split_inclusive(|b| *b == b'\n').take(5).flatten().copied().collect();
    let count = |byte: u8| head.iter().filter(|b| **b == byte).count();
    [b',', b';', b'\t', b'|'].into_iter().max_by_key(|byte| count(*byte)).unwrap_or(b',')
}

type Rows = Vec<Vec<Vec<u8>>>;

fn change_records(bytes: &mut Vec<u8>, draw: &mut Draw<'_>) {
    let delimiter = delimiter(bytes);
    let mut rows: Rows =
        bytes.split(|b| *b == b'\n').map(|row| row.split(|b| *b == delimiter).map(<[u8]>::to_vec).collect()).collect();
    let mut end: &[u8] = b"\n";
    let row = draw.below(rows.len());
    let column = draw.below(rows[row].len());
    match draw.below(24) {
        0 => {
            let copy = rows[row].clone();
            rows.insert(draw.below(rows.len() + 1), copy);
        }
        1 => {
            rows.remove(row);
        }
        2 => {
            let other = draw.below(rows.len());
            rows.swap(row, other);
        }
        3 => {
            let other = draw.below(rows[row].len());
            rows[row].swap(column, other);
        }
        4 => {
            // a cell of the same column elsewhere
            let from = draw.below(rows.len());
            if let Some(cell) = rows[from].get(column).cloned() {
                rows[row][column] = cell;
            }
        }
        5..=8 => rows[row][column] = draw.of(AWKWARD).as_bytes().to_vec(),
        9 => fill_column(&mut rows, column, draw),
        10 => {
            let cell = &mut rows[row][column];
            *cell = [b"\"", cell.as_slice(), b"\""].concat();
        }
        11 => rows[row][column].insert(0, b'"'),
        12 => rows[row].insert(column, draw.of(AWKWARD).as_bytes().to_vec()),
        13 => {
            rows[row].remove(column);
        }
        14 => {
            let header = rows[0].clone();
            rows.insert(draw.below(rows.len() + 1), header);
        }
        15 => {
            for _ in 0..1 + draw.below(3) {
                rows.insert(draw.below(rows.len() + 1), vec![Vec::new()]);
            }
        }
        16 => end = draw.of::<[u8]>(&[b"\r\n", b"\r", b"\n\n", b"\n\r"]),
        17 => {
            for row in rows.iter_mut().filter(|row| column < row.len()) {
                row.remove(column);
            }
        }
        18 => {
            for row in rows.iter_mut().filter(|row| column < row.len()) {
                let cell = row.remove(column);
                row.push(cell);
            }
        }
        19 => {
            let times = 1 + draw.below(60);
            let copy = rows[row].clone();
            rows.splice(row..row, std::iter::repeat_n(copy, times));
        }
        20 => scale(&mut rows, row, column, draw),
        21 if row > 4 => rows[row][column] = SECRET.into(),
        22 => {
            let long = "x".repeat([199, 200, 201, 5_000][draw.below(4)]);
            rows[row][column] = long.into();
        }
        _ => {
            // one column as in another row, from here on: patients, days and sites fall together
            let cell = rows[row][column].clone();
            for later in rows.iter_mut().skip(row.max(1)).filter(|row| column < row.len()) {
                later[column].clone_from(&cell);
            }
        }
    }
    let rows: Vec<Vec<u8>> = rows.iter().map(|row| row.join(&delimiter)).collect();
    *bytes = rows.join(end);
}

fn fill_column(rows: &mut Rows, column: usize, draw: &mut Draw<'_>) {
    let text = draw.of(AWKWARD).as_bytes().to_vec();
    let every = 1 + draw.below(4);
    for row in rows.iter_mut().skip(1).step_by(every).filter(|row| column < row.len()) {
        row[column].clone_from(&text);
    }
}

/// Makes a number in a cell, or in a column, another number.
fn scale(rows: &mut Rows, row: usize, column: usize, draw: &mut Draw<'_>) {
    let factor: f64 = [10.0, -1.0, 0.1, 1e6, 0.0, 1e-9, 2.2][draw.below(7)];
    let whole_column = draw.one_in(2);
    for (at, cells) in rows.iter_mut().enumerate().skip(1) {
        if !(whole_column || at == row) {
            continue;
        }
        let Some(cell) = cells.get_mut(column) else { continue };
        if let Some(number) = std::str::from_utf8(cell).ok().and_then(|text| text.trim().parse::<f64>().ok()) {
            *cell = (number * factor).to_string().into_bytes();
        }
    }
}
