//! What every page says whatever the numbers are.

use crate::group::settings::Audience;

/// The notice, one paragraph an entry. Sources: the Cochrane review of traction for low-back pain (32 trials),
/// NICE guideline NG59, and guidance on neck pain with radiating symptoms.
pub const NOTICE: [&str; 4] = [
    "This bulletin describes patients who were treated. It has no comparison group, so an improvement in it \
     cannot be put down to traction: back and neck pain often ease with time, people come when they are at \
     their worst, and those who do well may be likelier to return and be measured.",
    "For low-back pain, a Cochrane review of 32 randomised trials found that traction may make little or no \
     difference, and NICE guideline NG59 advises against offering it. For neck pain with radiating symptoms, \
     guidance supports traction only together with other care.",
    "It is not a screening tool. It does not look for contraindications to traction and cannot say that \
     treatment is safe for anyone.",
    "It supports review by licensed clinicians. It is not a medical device, makes no diagnosis and advises no \
     dose. Local codes, the equipment maker's instructions and the clinician's judgement come first.",
];

/// The same in one line, under the title of each page.
pub const NOTICE_IN_BRIEF: &str = "Descriptive figures without a comparison group: an improvement cannot be put \
     down to traction.";

/// Heading of the notice.
pub const NOTICE_HEADING: &str = "Notice";

/// Heading of what is said of small cells.
pub const SMALL_CELLS_HEADING: &str = "Small numbers";

/// What is withheld, and from which count on. `up_to` is the highest count withheld.
pub fn small_cells(up_to: u32, audience: Audience) -> String {
    let readers = match audience {
        Audience::Release => "for release outside the group",
        Audience::Internal => "for use inside the group",
    };
    if up_to == 0 {
        return format!("This edition is {readers}. No number is withheld for being small.");
    }
    format!(
        "This edition is {readers}. Counts of 1 to {up_to}, and what rests on so few patients, are withheld and \
         shown as a dash; further numbers are withheld where one could be worked out by subtraction. {}",
        rounding(audience).in_words
    )
}

/// How the numbers of an edition are rounded.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Rounding {
    /// As sentences.
    pub in_words: &'static str,
    /// What is added to the meaning of a count.
    pub of_counts: &'static str,
}

/// How the numbers of an edition are rounded.
pub fn rounding(audience: Audience) -> Rounding {
    match audience {
        Audience::Release => Rounding {
            in_words: "Counts are rounded to fives, to the next below or above, so they need not add up; 15 is the least, and some counts of 11 \
                       and 12 are withheld, too. \
                       Shares are worked out from the rounded counts, and are as rough as these; other numbers are rounded to \
                       about half their standard error, p values up to one digit.",
            of_counts: "; rounded to fives",
        },
        Audience::Internal => Rounding {
            in_words: "Counts are exact. Other numbers are rounded to about a tenth of their standard error, p values up to two \
                       digits: further digits would say nothing of the group, but much of the patients behind a number.",
            of_counts: "",
        },
    }
}

/// Beside each sheet that holds a dash.
pub fn withheld_note(up_to: u32) -> String {
    format!("– withheld: {up_to} or fewer patients, or a number that would give such a one away.")
}

/// In the foot of each page: what made it.
pub fn made_by(version: &str) -> String {
    format!("Made by mendcurve {version}. The same exports give the same bulletin, byte for byte.")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_edition_names_its_own_limit() {
        assert!(small_cells(4, Audience::Internal).contains("Counts of 1 to 4"));
        assert!(small_cells(10, Audience::Release).contains("1 to 10"));
        assert!(small_cells(10, Audience::Release).contains("release outside"));
        assert!(
            small_cells(10, Audience::Release).contains("rounded to fives")
                && small_cells(4, Audience::Internal).contains("exact")
        );
    }

    #[test]
    fn the_notice_names_what_the_evidence_says() {
        let notice = NOTICE.join(" ");
        for part in [
            "no comparison group",
            "32 randomised trials",
            "NG59",
            "together with other care",
            "contraindications",
            "not a medical device",
            "advises no",
        ] {
            assert!(notice.contains(part), "{part}");
        }
    }
}
