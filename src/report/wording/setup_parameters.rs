//! Parameters of setup and dose, places and amounts, in words.

use super::{counted, decimal, percent};
use crate::catalogue::Region;
use crate::catalogue::parameter::{Nature, Parameter};
use crate::findings::setups::{About, Asked, AskedTarget, Where};
use chrono::NaiveDate;

/// A parameter's name for people.
pub fn title(parameter: Parameter) -> &'static str {
    match parameter {
        Parameter::ReturnTension => "Return tension",
        Parameter::TensionTurns => "Turns back from full tension",
        Parameter::SplitGap => "Opening of the split",
        Parameter::Angle => "Angle of the pull",
        Parameter::Position => "Position",
        Parameter::UpperRestraint => "Hold of the upper body",
        Parameter::BeltLandmark => "Pelvic belt on its landmark",
        Parameter::BeltSeated => "Pelvic belt seated",
        Parameter::SlackCycle => "Slack taken out before the half is freed",
        Parameter::LevelPull => "Line of pull level",
        Parameter::TableLevel => "Table level",
        Parameter::Mode => "Mode of the pull",
        Parameter::PullShare => "Peak pull, share of body weight",
        Parameter::Hold => "Time at peak",
        Parameter::Rest => "Time at low pull",
        Parameter::Ramp => "Time from low to peak",
        Parameter::Session => "Length of the session",
    }
}

/// A region inside a sentence.
pub fn region(region: Region) -> &'static str {
    match region {
        Region::Lumbar => "low back",
        Region::Cervical => "neck",
        Region::Other => "other region",
    }
}

/// A parameter with its region: a heading.
pub fn heading(about: About) -> String {
    format!("{}, {}", title(about.parameter), region(about.region))
}

/// The same inside a sentence.
pub fn within(about: About) -> String {
    format!("{} ({})", super::phrases::within(title(about.parameter)), region(about.region))
}

/// Where something is, at the head of a sentence.
pub fn place(place: &Where) -> String {
    match (&place.clinician, &place.table) {
        (Some(clinician), Some(table)) => format!("{}, clinician {clinician} on table {table}", place.site),
        (Some(clinician), None) => format!("{}, clinician {clinician}", place.site),
        (None, Some(table)) => format!("{}, table {table}", place.site),
        (None, None) => place.site.clone(),
    }
}

/// A place beside the name of its site.
pub fn place_at_site(place: &Where) -> String {
    match (&place.clinician, &place.table) {
        (None, None) => place.site.clone(),
        (Some(one), None) | (None, Some(one)) => one.clone(),
        (Some(clinician), Some(table)) => format!("{clinician} on {table}"),
    }
}

/// A traction table in a list of tables.
pub fn table(place: &Where) -> String {
    format!("{}, {}", place.site, place_at_site(place))
}

/// A day: `2 February 2026`.
pub fn day(day: NaiveDate) -> String {
    day.format("%-d\u{a0}%B\u{a0}%Y").to_string()
}

/// A day in a small figure: `2 Feb 2026`.
pub fn day_short(day: NaiveDate) -> String {
    day.format("%-d\u{a0}%b\u{a0}%Y").to_string()
}

/// An amount in its unit: `40 lbf`, `92 %`, `28 % of body weight`. A slope of shares is in percentage points.
pub fn amount(value: f64, unit: &str, decimals: usize) -> String {
    match unit {
        "share" => percent(value),
        "share a week" => format!("{} percentage points a week", decimal(100.0 * value, 1)),
        "" => decimal(value, decimals),
        "deg" => format!("{}°", decimal(value, decimals)),
        "deg a week" => format!("{}° a week", decimal(value, decimals)),
        "%BW" => format!("{}\u{a0}% of body weight", decimal(value, decimals)),
        "%BW a week" => format!("{}\u{a0}% of body weight a week", decimal(value, decimals)),
        "turns" if value == 1.0 => "1\u{a0}turn".to_owned(),
        unit => format!("{}\u{a0}{unit}", decimal(value, decimals)),
    }
}

/// Two amounts with their unit once: `38 to 42 lbf`.
pub fn amounts(low: f64, high: f64, unit: &str, decimals: usize) -> String {
    let bare = match unit {
        "share" => percent(low).replace("\u{a0}%", ""),
        "share a week" => decimal(100.0 * low, 1),
        "deg" | "deg a week" => format!("{}°", decimal(low, decimals)),
        _ => decimal(low, decimals),
    };
    format!("{bare} to {}", amount(high, unit, decimals))
}

/// The unit of an axis, after the parameter's name.
pub fn axis(parameter: Parameter, unit: &str) -> String {
    match unit {
        "" => title(parameter).to_owned(),
        "%BW" => "Peak pull, % of body weight".to_owned(),
        "deg" => format!("{}, degrees", title(parameter)),
        "turns" => title(parameter).to_owned(),
        unit => format!("{}, {unit}", title(parameter)),
    }
}

/// What an item of the standard asks, after "the standard asks": `for 40 lbf, 35 to 45 lbf being right`.
pub fn asked(about: About, asked: &Asked, unit: &str, decimals: usize) -> String {
    let what = match asked.target {
        AskedTarget::Number { aim, low, high } => {
            format!(
                "for {}, anything from {} being right",
                amount(aim, unit, decimals),
                amounts(low, high, unit, decimals)
            )
        }
        AskedTarget::YesNo(true) => "for this to be so".to_owned(),
        AskedTarget::YesNo(false) => "for this not to be so".to_owned(),
        AskedTarget::Word("none") => "for none".to_owned(),
        AskedTarget::Word(word) => format!("for {word}"),
    };
    match (asked.position, about.parameter.nature()) {
        (Some(position), _) => format!("{what}, patients lying {position}"),
        (None, _) => what,
    }
}

/// Whether the parameter's values are numbers.
pub fn is_number(parameter: Parameter) -> bool {
    matches!(parameter.nature(), Nature::Number { .. })
}

/// `1,240 visits of 130 patients`.
pub fn visits_of_patients(visits: u32, patients: u32) -> String {
    format!("{} of {}", visits_counted(visits), counted(u64::from(patients), "patient", "patients"))
}

/// `1,240 visits`.
pub fn visits_counted(visits: u32) -> String {
    counted(u64::from(visits), "visit", "visits")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_carry_their_unit() {
        assert_eq!(amount(40.0, "lbf", 0), "40\u{a0}lbf");
        assert_eq!(amount(0.915, "share", 2), "92\u{a0}%");
        assert_eq!(amount(28.0, "%BW", 0), "28\u{a0}% of body weight");
        assert_eq!(amount(0.0123, "share a week", 2), "1.2 percentage points a week");
        assert_eq!(amounts(38.0, 42.0, "lbf", 0), "38 to 42\u{a0}lbf");
        assert_eq!(amounts(0.87, 0.95, "share", 0), "87 to 95\u{a0}%");
        assert_eq!(amounts(0.1, 0.2, "mm a week", 1), "0.1 to 0.2\u{a0}mm a week");
    }

    #[test]
    fn every_parameter_has_a_name_of_its_own() {
        let names: std::collections::BTreeSet<&str> = Parameter::ALL.into_iter().map(title).collect();
        assert_eq!(names.len(), Parameter::ALL.len());
    }

    #[test]
    fn a_place_is_named_from_the_site_down() {
        let of = |clinician: Option<&str>, table: Option<&str>| Where {
            site: "Coldlarch".into(),
            clinician: clinician.map(str::to_owned),
            table: table.map(str::to_owned),
        };
        assert_eq!(place(&of(None, None)), "Coldlarch");
        assert_eq!(place(&of(Some("CC1"), None)), "Coldlarch, clinician CC1");
        assert_eq!(place(&of(None, Some("CT2"))), "Coldlarch, table CT2");
    }
}
