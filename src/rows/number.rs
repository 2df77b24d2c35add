//! A number in a cell, with the export's own decimal mark and thousands separator.

/// How numbers are written.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct NumberForm {
    /// `.` or `,`.
    pub decimal: u8,
    /// The thousands separator, if any; it must stand before groups of three digits.
    pub thousands: Option<u8>,
}

impl NumberForm {
    /// Reads a whole cell, trimmed. `None` for anything but one finite number in this form: no
    /// exponent, no `nan` or `inf`, no other mark than the declared ones.
    pub fn read(self, cell: &[u8]) -> Option<f64> {
        let mut plain = [0u8; 40];
        let mut n = 0;
        let mut digits_before = 0usize; // digits since the start or the last separator
        let mut grouped = false;
        let mut seen_decimal = false;
        let mut digits = 0usize;
        for (i, &byte) in cell.iter().enumerate() {
            let out = match byte {
                b'0'..=b'9' => {
                    digits += 1;
                    digits_before += 1;
                    byte
                }
                b'-' | b'+' if i == 0 => byte,
                _ if byte == self.decimal && !seen_decimal => {
                    if grouped && digits_before != 3 {
                        return None;
                    }
                    seen_decimal = true;
                    b'.'
                }
                _ if Some(byte) == self.thousands && !seen_decimal && (1..=3).contains(&digits_before) => {
                    if grouped && digits_before != 3 {
                        return None;
                    }
                    grouped = true;
                    digits_before = 0;
                    continue;
                }
                _ => return None,
            };
            *plain.get_mut(n)? = out;
            n += 1;
        }
        if digits == 0 || (grouped && !seen_decimal && digits_before != 3) {
            return None;
        }
        fast_float2::parse::<f64, _>(plain.get(..n)?).ok().filter(|x| x.is_finite())
    }

    /// Splits `40 lb` into its number and what follows it.
    pub fn read_with_unit(self, cell: &[u8]) -> Option<(f64, &[u8])> {
        let is_number =
            |b: &u8| b.is_ascii_digit() || *b == self.decimal || Some(*b) == self.thousands || matches!(b, b'-' | b'+');
        let end = cell.iter().position(|b| !is_number(b)).unwrap_or(cell.len());
        let (number, unit) = cell.split_at(end);
        Some((self.read(number)?, unit.trim_ascii()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: NumberForm = NumberForm { decimal: b'.', thousands: None };
    const GERMAN: NumberForm = NumberForm { decimal: b',', thousands: Some(b'.') };

    #[test]
    fn a_number_is_read_in_its_declared_form_only() {
        assert_eq!(PLAIN.read(b"12.5"), Some(12.5));
        assert_eq!(PLAIN.read(b"-3"), Some(-3.0));
        assert_eq!(PLAIN.read(b".5"), Some(0.5));
        for bad in ["", "-", ".", "1,5", "1e5", "nan", "inf", "1.2.3", "12 lb", "0x10", "1_000", "--1", "1-"] {
            assert_eq!(PLAIN.read(bad.as_bytes()), None, "{bad}");
        }
        assert_eq!(GERMAN.read(b"1.234,5"), Some(1234.5));
        assert_eq!(GERMAN.read(b"12,5"), Some(12.5));
        assert_eq!(GERMAN.read(b"1.234.567"), Some(1_234_567.0));
        for bad in ["12.5", "1.23", "1.2345", "1.23,4", "1..234", ".234", "1.234.5"] {
            assert_eq!(GERMAN.read(bad.as_bytes()), None, "{bad}");
        }
        assert_eq!(PLAIN.read(&[b'9'; 41]), None);
    }

    #[test]
    fn a_unit_in_the_cell_is_split_off() {
        assert_eq!(PLAIN.read_with_unit(b"40 lb"), Some((40.0, b"lb".as_slice())));
        assert_eq!(PLAIN.read_with_unit(b"40lb"), Some((40.0, b"lb".as_slice())));
        assert_eq!(PLAIN.read_with_unit(b"40"), Some((40.0, b"".as_slice())));
        assert_eq!(GERMAN.read_with_unit(b"6,35 mm"), Some((6.35, b"mm".as_slice())));
        assert_eq!(PLAIN.read_with_unit(b"lb 40"), None);
    }
}
