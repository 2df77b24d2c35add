//! How an export writes its dates: a chrono format that settles year, month and day.

use chrono::NaiveDate;
use chrono::format::{Item, Numeric, StrftimeItems};
use std::fmt::Write;

/// 2026-12-31.
pub(crate) const ISO: &str = "%Y-%m-%d";

/// Why a text is no date format, and what to do.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) struct Fault {
    pub what: String,
    pub remedy: &'static str,
}

/// The chrono format of `iso`, `day first`, `month first` or a pattern such as `%d.%m.%Y`.
pub(crate) fn read(written: &str) -> Result<String, Fault> {
    let format = match written {
        "iso" => ISO,
        "day first" => "%d/%m/%Y",
        "month first" => "%m/%d/%Y",
        format => format,
    };
    let fault = |what: &str, remedy| Fault { what: format!("`{format}` {what}"), remedy };
    let items: Vec<Item> = StrftimeItems::new(format).collect();
    if items.iter().any(|item| matches!(item, Item::Error)) || !format.contains('%') {
        return Err(fault(
            "is not a date format",
            "use \"iso\", \"day first\" (31/12/2026), \"month first\" (12/31/2026), or a pattern such as \"%d.%m.%Y\"",
        ));
    }
    // %D and %x stand for patterns with a two-digit year in them
    if items.iter().any(|item| matches!(item, Item::Numeric(Numeric::YearMod100, _))) && !format.contains("%y") {
        return Err(fault(
            "hides a two-digit year",
            "write the parts out, with %y if the export really gives two digits, such as \"%m/%d/%y\"",
        ));
    }
    if !settles_the_date(format) {
        return Err(fault("does not settle year, month and day", "name all three, such as \"%d.%m.%Y\""));
    }
    Ok(format.to_owned())
}

/// Whether a date written in the format is read back as the same date.
fn settles_the_date(format: &str) -> bool {
    [(2026, 11, 23), (2021, 2, 3)].into_iter().all(|(year, month, day)| {
        let Some(time) = NaiveDate::from_ymd_opt(year, month, day).and_then(|date| date.and_hms_opt(13, 5, 9)) else {
            return false;
        };
        let mut written = String::new();
        write!(written, "{}", time.format(format)).is_ok()
            && NaiveDate::parse_from_str(&written, format).is_ok_and(|date| date == time.date())
    })
}
