//! How each number is computed, for the methods page.

use super::percent;

/// A heading with its paragraphs.
pub struct Explanation {
    /// Name within the page.
    pub id: &'static str,
    /// Heading.
    pub heading: &'static str,
    /// Paragraphs.
    pub paragraphs: Vec<String>,
}

impl Explanation {
    pub(super) fn new(id: &'static str, heading: &'static str, paragraphs: &[&str]) -> Self {
        Self { id, heading, paragraphs: paragraphs.iter().map(|p| p.to_string()).collect() }
    }
}

/// Heading of the sheet of thresholds.
pub const THRESHOLDS: &str = "Measures and thresholds";
/// Before the sheet of thresholds.
pub const THRESHOLDS_INTRO: &str = "Each value keeps its source. A group can set its own; such a value is marked so.";
/// What the marks mean.
pub const MARKS: &str = "V read in the source itself; V2 read in another text that cites it; M from memory, check \
     before relying on it; C computed from other values; D a design choice; G set by the group.";

/// A measure's range.
pub fn range(low: f64, high: f64, unit: &str, is_lower_better: bool) -> String {
    let direction = super::figures::direction(is_lower_better);
    format!("{low} to {high} {unit}").trim_end().to_string() + ", " + direction
}

/// A definition that holds for patients with radiculopathy.
pub fn with_radiculopathy(definition: &str) -> String {
    format!("With radiculopathy: {definition}")
}

/// The reliable-change limit.
pub fn reliable_change(limit: f64, sem: f64, unit: &str) -> String {
    let limit = super::decimal(limit, 2);
    format!("Reliable change: more than {limit} {unit} = 1.96 × √2 × {sem}, the standard error of measurement")
}

/// From visits to readings.
pub fn readings(gap_days: i32, baseline: (i32, i32), endpoint: (i32, i32)) -> Vec<Explanation> {
    vec![
        Explanation {
            id: "episodes",
            heading: "Episodes",
            paragraphs: vec![
                format!(
                    "An episode is one course of care of one patient for one region of the spine. A gap of more than \
                     {gap_days} days between treated visits starts a new one. It belongs to the site where most of its \
                     visits fell."
                ),
                format!(
                    "It is due, and counted in results, once its endpoint window has closed, on day {} after the first \
                     treated visit, and belongs to the quarter in which that happened.",
                    endpoint.1
                ),
            ],
        },
        Explanation {
            id: "readings",
            heading: "Baseline and endpoint",
            paragraphs: vec![format!(
                "Baseline: the last reading in days {} to {}, counted from the first treated visit; else the first one \
                 before the second treated visit. Endpoint: the last reading in days {} to {}. A reading outside its scale \
                 is never used.",
                super::decimal(f64::from(baseline.0), 0),
                baseline.1,
                endpoint.0,
                endpoint.1
            )],
        },
    ]
}

/// From readings to results.
pub fn results() -> Vec<Explanation> {
    let explain = |id, heading, paragraphs: &[&str]| Explanation {
        id,
        heading,
        paragraphs: paragraphs.iter().map(|p| p.to_string()).collect(),
    };
    vec![
        explain(
            "change",
            "Change",
            &[
                "Mean of endpoint − baseline over the episodes that have both, with Student's t interval. Effect size: the \
               mean improvement divided by the standard deviation of the baseline. Scales of words are never averaged.",
            ],
        ),
        explain(
            "responders",
            "Responders",
            &[
                "Could respond: every due episode but those whose baseline leaves no room to respond, which are counted \
                 beside them. Episodes without a baseline stay in, for nothing shows that they could not respond and \
                 leaving them out would reward losing baselines. Rate: responders among those that have the readings \
                 which the definition needs, with Wilson's interval.",
                "Worst and best case count every other episode that could respond as no response, or as a response. The \
                 truth lies between; where in between, these data cannot tell. The imputed rate is a guess at it, explained \
                 below.",
                "The distribution of change gives the share for every threshold. Its second line counts the missing as \
                 not improved.",
            ],
        ),
        explain(
            "quarters",
            "Two quarters compared",
            &[
                "Difference of mean changes with Welch's interval; difference of rates with Newcombe's. Neither allows for \
               who was treated.",
            ],
        ),
    ]
}

/// From files to rows.
pub fn rows(reject_limit: f64) -> Explanation {
    Explanation {
        id: "rows",
        heading: "Rows",
        paragraphs: vec![format!(
            "Each export is read by a mapping that names its columns, units, scales and words; nothing is guessed. A row \
             that cannot be understood is rejected with its line and the reason. Should more than {} of the rows be \
             rejected, those left out by a declared filter aside, the run ends with a warning. Columns that look like \
             direct identifiers stop it.",
            percent(reject_limit)
        )],
    }
}

/// Heading of what is withheld.
pub const SMALL_NUMBERS: &str = "Small numbers";
