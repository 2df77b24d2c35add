//! The queries that come with the program: the files of `queries/`, one question each.

/// A query that comes with the program.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct BuiltIn {
    /// Its name, as typed.
    pub name: &'static str,
    /// The file: a head of comments, then one SELECT.
    pub sql: &'static str,
}

macro_rules! built_in {
    ($($name:literal),* $(,)?) => {
        /// All of them, in order of name.
        pub const BUILT_IN: &[BuiltIn] =
            &[$(BuiltIn { name: $name, sql: include_str!(concat!("../../queries/", $name, ".sql")) }),*];
    };
}

built_in![
    "adverse_events",
    "attendance",
    "change_by_onset",
    "completeness_by_site",
    "delivered_against_planned",
    "dose_by_visit_number",
    "drop_outs_by_last_score",
    "episode_sums",
    "episodes_and_visits",
    "overdue_readings",
    "patients_at_two_sites",
    "repeated_settings",
    "responders_by_condition",
    "return_tension_by_site",
    "time_to_endpoint",
    "unusual_first_setups",
    "visits_without_reading",
];

impl BuiltIn {
    /// The query of a name.
    pub fn find(name: &str) -> Option<&'static Self> {
        BUILT_IN.iter().find(|query| query.name == name)
    }

    /// The built-in query whose name is most like a word, when one is.
    pub fn nearest(word: &str) -> Option<&'static Self> {
        let likeness = |query: &Self| strsim::jaro_winkler(query.name, word);
        let best = BUILT_IN.iter().max_by(|a, b| likeness(a).total_cmp(&likeness(b)))?;
        (likeness(best) > 0.8).then_some(best)
    }
}

/// What follows `-- Label:` on a line of a query's head; empty when there is no such line.
pub fn head<'a>(sql: &'a str, label: &str) -> &'a str {
    let after = |line: &'a str| line.strip_prefix("-- ")?.strip_prefix(label)?.strip_prefix(':');
    sql.lines().find_map(after).map_or("", str::trim)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    #[test]
    fn every_file_of_queries_is_built_in_with_its_head_and_a_full_order() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("queries");
        let mut files: Vec<String> =
            std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        files.sort();
        let names: Vec<String> = BUILT_IN.iter().map(|query| format!("{}.sql", query.name)).collect();
        assert_eq!(files, names);
        for query in BUILT_IN {
            for label in ["Question", "Asked by", "Reads", "Columns"] {
                assert!(!head(query.sql, label).is_empty(), "{} lacks {label}", query.name);
            }
            assert!(head(query.sql, "Question").ends_with('?'), "{}", query.name);
            assert!(query.sql.trim_end().lines().last().unwrap().starts_with("ORDER BY "), "{}", query.name);
        }
    }

    /// These differ or fail on one of the engines the files are meant for.
    #[test]
    fn no_query_leaves_the_portable_subset() {
        let banned = [
            "EXISTS",
            "EXCEPT",
            "ROLLUP",
            "CUBE",
            "NTILE",
            "DATE_TRUNC",
            "STRFTIME",
            "AVG(",
            "LOG(",
            "PERCENTILE",
            "QUANTILE",
            " CAST(NULL",
            "FIRST(",
            "LAST(",
            "RECURSIVE",
            "ABS(",
            "DOW",
            "\"",
        ];
        for query in BUILT_IN {
            let code: String = query.sql.lines().filter(|line| !line.starts_with("--")).collect::<Vec<_>>().join("\n");
            for word in banned {
                assert!(!code.to_uppercase().contains(word), "{} uses {word}", query.name);
            }
            for line in code.lines().filter(|line| line.contains(" DESC") && line.starts_with("ORDER BY")) {
                assert!(line.contains("NULLS LAST"), "{}: {line}", query.name);
            }
        }
    }

    #[test]
    fn a_name_with_a_slip_finds_its_query() {
        assert_eq!(BuiltIn::nearest("responder_by_condition").unwrap().name, "responders_by_condition");
        assert_eq!(BuiltIn::nearest("xyz"), None);
    }
}
