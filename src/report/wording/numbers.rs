//! How numbers are printed for people.
//!
//! Signs are true minus signs; a space before `%` does not break a line; thousands take a comma.

/// Stands for a number that is withheld because few people are behind it.
pub const WITHHELD: &str = "–";
/// Stands for a number that does not exist.
pub const NOT_RECORDED: &str = "not recorded";

/// A count: `1,234`.
pub fn count(n: u64) -> String {
    grouped(&n.to_string())
}

/// How many episodes stand behind something; without a number when it is withheld.
pub fn episodes_behind(episodes: Option<u64>) -> String {
    episodes.map_or_else(|| "episodes".to_string(), |n| counted(n, "episode", "episodes"))
}

/// A number with fixed decimals: `−1,234.5`. Not a number: `not recorded`.
pub fn decimal(value: f64, places: usize) -> String {
    if !value.is_finite() {
        return NOT_RECORDED.to_string();
    }
    let digits = format!("{:.places$}", value.abs());
    let is_zero = digits.chars().all(|c| c == '0' || c == '.');
    let (whole, rest) = match digits.split_once('.') {
        Some((whole, rest)) => (whole, format!(".{rest}")),
        None => (digits.as_str(), String::new()),
    };
    let sign = if value < 0.0 && !is_zero { "−" } else { "" };
    format!("{sign}{}{rest}", grouped(whole))
}

/// A change: `+1.2`, `−3.4`, `0.0`.
pub fn signed(value: f64, places: usize) -> String {
    let text = decimal(value, places);
    let is_zero = text.chars().all(|c| c == '0' || c == '.');
    if value > 0.0 && value.is_finite() && !is_zero { format!("+{text}") } else { text }
}

/// A share of 0 to 1 as whole percent: `62 %`; `<1 %` and `>99 %` rather than a false 0 or 100.
pub fn percent(share: f64) -> String {
    format!("{}\u{a0}%", percent_figure(share))
}

/// `n of N (p %)`; the percentage is left out when N is 0.
pub fn n_of(n: u64, total: u64) -> String {
    if total == 0 {
        return format!("{} of 0", count(n));
    }
    format!("{} of {} ({})", count(n), count(total), percent(n as f64 / total as f64))
}

/// `a to b`.
pub fn range(low: f64, high: f64, places: usize) -> String {
    format!("{} to {}", decimal(low, places), decimal(high, places))
}

/// `x (95 % CI a to b)`.
pub fn with_interval(value: f64, low: f64, high: f64, places: usize) -> String {
    format!("{} (95\u{a0}% CI {})", decimal(value, places), range(low, high, places))
}

/// `+x (95 % CI +a to +b)`: a change with its interval.
pub fn signed_with_interval(value: f64, low: f64, high: f64, places: usize) -> String {
    format!("{} (95\u{a0}% CI {} to {})", signed(value, places), signed(low, places), signed(high, places))
}

/// `62 % (95 % CI 56 to 67)`, from shares of 0 to 1.
pub fn percent_with_interval(share: f64, low: f64, high: f64) -> String {
    format!("{} (95\u{a0}% CI {} to {})", percent(share), percent_figure(low), percent_figure(high))
}

/// A noun with its count: `1 row`, `1,234 rows`.
pub fn counted(n: u64, one: &str, many: &str) -> String {
    format!("{}\u{a0}{}", count(n), if n == 1 { one } else { many })
}

fn percent_figure(share: f64) -> String {
    if !share.is_finite() {
        return NOT_RECORDED.to_string();
    }
    let value = 100.0 * share;
    match decimal(value, 0).as_str() {
        "0" if value > 0.0 => "<1".to_string(),
        "100" if value < 100.0 => ">99".to_string(),
        text => text.to_string(),
    }
}

fn grouped(digits: &str) -> String {
    let mut text = String::with_capacity(digits.len() + digits.len() / 3);
    for (position, digit) in digits.chars().enumerate() {
        if position > 0 && (digits.len() - position).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_that_is_neither_none_nor_all_is_not_told_as_such() {
        let told = [0.0, 0.002, 0.005, 0.014, 0.995, 0.998, 1.0].map(percent);
        assert_eq!(
            told.map(|text| text.replace('\u{a0}', " ")),
            ["0 %", "<1 %", "<1 %", "1 %", ">99 %", ">99 %", "100 %"]
        );
    }

    #[test]
    fn thousands_take_a_comma() {
        assert_eq!(count(0), "0");
        assert_eq!(count(999), "999");
        assert_eq!(count(1_000), "1,000");
        assert_eq!(count(12_345_678), "12,345,678");
        assert_eq!(decimal(-1234.56, 1), "−1,234.6");
    }

    #[test]
    fn a_rounded_zero_has_no_sign() {
        assert_eq!(decimal(-0.04, 1), "0.0");
        assert_eq!(signed(0.04, 1), "0.0");
        assert_eq!(signed(1.25, 1), "+1.2"); // halves go to the even digit, as the formatter does
        assert_eq!(signed(-3.4, 1), "−3.4");
    }

    #[test]
    fn a_share_is_never_rounded_to_all_or_nothing() {
        assert_eq!(n_of(34, 120), "34 of 120 (28\u{a0}%)");
        assert_eq!(n_of(1, 1000), "1 of 1,000 (<1\u{a0}%)");
        assert_eq!(n_of(999, 1000), "999 of 1,000 (>99\u{a0}%)");
        assert_eq!(n_of(0, 12), "0 of 12 (0\u{a0}%)");
        assert_eq!(n_of(12, 12), "12 of 12 (100\u{a0}%)");
        assert_eq!(n_of(0, 0), "0 of 0");
    }

    #[test]
    fn intervals_say_their_level() {
        assert_eq!(with_interval(4.06, 3.2, 5.0, 1), "4.1 (95\u{a0}% CI 3.2 to 5.0)");
        assert_eq!(signed_with_interval(-2.0, -4.5, 0.5, 1), "−2.0 (95\u{a0}% CI −4.5 to +0.5)");
        assert_eq!(percent_with_interval(0.62, 0.56, 0.674), "62\u{a0}% (95\u{a0}% CI 56 to 67)");
    }

    #[test]
    fn what_is_not_a_number_is_said_in_words() {
        assert_eq!(decimal(f64::NAN, 1), "not recorded");
        assert_eq!(signed(f64::INFINITY, 1), "not recorded");
    }
}
