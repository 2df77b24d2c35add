//! Dose delivered, and dose and setup against outcome, in words. Never advice on dose, and no association without its limits.

use super::phrases::{capital, within};
use super::sites::{domain, q_value};
use super::{count, counted, decimal, percent, signed};
use crate::catalogue::Region;
use crate::findings::dose::{DoseAssociation, NotTested};
use crate::models::dose::association::{Test, Untested};
use crate::models::dose::exposures::Exposure;

/// Heading of the dose delivered.
pub const DELIVERED: &str = "Dose delivered";
/// Heading of dose and setup against outcome.
pub const AGAINST_OUTCOME: &str = "Dose and setup against outcome";
/// Before the dose delivered.
pub const DELIVERED_INTRO: &str = "What tables were told to pull, as visits record it. Later visits are of patients who are still in care, so \
     that a rise from visit to visit is partly a change of who is there.";
/// First column of the sheet by site.
pub const SITE: &str = "site";
/// Columns of the sheet by site.
pub const SITE_COLUMNS: [&str; 8] = [
    "episodes",
    "first visit, %\u{a0}of body weight",
    "last visit",
    "progression, points a\u{a0}visit",
    "minutes under pull",
    "delivered of planned",
    "got 80\u{a0}% of plan",
    "visits a\u{a0}week",
];
/// Beside the sheet by site.
pub const SITE_NOTE: &str = "Episodes that have ended or are due, to whole tens, at the site of most of their visits. Pull: means over \
     the episodes that record it at first and last visit. Progression: median of the episodes' least-squares slopes. Minutes: median over visits. \
     Delivered: visits over visits planned, of the episodes with a plan.";

/// What the comparison is.
pub const DESIGN: &str = "Each exposure is the mean over an episode's first four treated visits: later ones follow from how the patient \
     fares. It is held, one at a time, against the minimal important change of pain and of disability over all conditions, of those with both \
     readings. Only differences between patients of one site count, at equal case mix as far as it is recorded.";
/// Why none of it is proof. With every association.
pub const NOT_PROOF: &str = "An association is not proof: patients who do well tolerate more, clinicians choose dose and setup by how a \
     patient looks, and how severe a case is was not measured in full. Nothing here says what dose to give.";
/// At the end of each sentence on an association that stands beside [`NOT_PROOF`].
const NOT_PROOF_IN_BRIEF: &str = "An association, not proof.";
/// What is not tested, and why.
pub const NOT_VISITS: &str = "The number of visits delivered is not compared with outcome: the outcome itself decides when care ends, so that \
     the two go together whatever visits do.";
/// What an E-value is.
pub const E_VALUE: &str = "E-value (VanderWeele and Ding 2017): the least risk ratio by which something that nobody measured would have to go \
     along with the exposure, and with the response, to explain an association away. Near 1, little is enough.";
/// Over the exposures that could not be tested.
pub const UNTESTED: &str = "Not tested";

/// An exposure's name.
pub fn exposure(exposure: Exposure) -> &'static str {
    match exposure {
        Exposure::LumbarPull => "Peak pull, lumbar care",
        Exposure::CervicalPull => "Peak pull, cervical care",
        Exposure::MinutesUnderPull => "Time under pull a visit",
        Exposure::ReturnTension => "Return tension, lumbar care",
        Exposure::SplitGap => "Opening of the split, lumbar care",
        Exposure::LumbarAngle => "Angle, lumbar care",
        Exposure::CervicalAngle => "Angle, cervical care",
        Exposure::Intermittent => "Intermittent pull",
        Exposure::MeetsStandard => "Setup standard met",
    }
}

/// The step that an odds ratio is for.
pub fn step(exposure: Exposure) -> &'static str {
    match exposure {
        Exposure::LumbarPull => "per 5 points of body weight",
        Exposure::CervicalPull => "per point of body weight",
        Exposure::MinutesUnderPull => "per 5 min",
        Exposure::ReturnTension => "per 5 lbf (22 N)",
        Exposure::SplitGap => "per mm",
        Exposure::LumbarAngle | Exposure::CervicalAngle => "per 5 degrees of flexion",
        Exposure::Intermittent => "all visits against none",
        Exposure::MeetsStandard => "all visits against none",
    }
}

/// Where there is one step more.
fn with_more(exposure: Exposure) -> &'static str {
    match exposure {
        Exposure::LumbarPull => "where peak pull was 5 points of body weight higher (lumbar care)",
        Exposure::CervicalPull => "where peak pull was 1 point of body weight higher (cervical care)",
        Exposure::MinutesUnderPull => "where a visit had 5 minutes more under pull",
        Exposure::ReturnTension => "where return tension was 5 lbf (22 N) higher (lumbar care)",
        Exposure::SplitGap => "where the split opened 1 mm more (lumbar care)",
        Exposure::LumbarAngle => "where the angle was 5 degrees more in flexion (lumbar care)",
        Exposure::CervicalAngle => "where the angle was 5 degrees more in flexion (cervical care)",
        Exposure::Intermittent => "where all visits rather than none had intermittent pull",
        Exposure::MeetsStandard => "where all visits rather than none met what they record of the setup standard",
    }
}

/// An association that is more than chance explains, as it stands alone: with interval, E-value and why it is not proof.
pub fn lead(found: &DoseAssociation) -> String {
    format!("{} {NOT_PROOF}", sentence(found))
}

/// An association among others, under the paragraph that says why none is proof.
pub fn item(found: &DoseAssociation) -> String {
    format!("{} {NOT_PROOF_IN_BRIEF}", sentence(found))
}

fn sentence(found: &DoseAssociation) -> String {
    let odds = &found.odds_ratio;
    let verdict = match (found.q, found.is_beyond_chance()) {
        (None, _) => format!("p {}, before allowing for the number of findings", q_value(found.p)),
        (Some(q), true) => format!("more than chance explains, q {}", q_value(q)),
        (Some(q), false) => format!("no more than chance explains, q {}", q_value(q)),
    };
    format!(
        "{}: {}, the odds of a minimal important change were {} times as high (95\u{a0}% CI {}), within sites and at equal case mix, in \
         about {} episodes: {verdict}. {}",
        capital(domain(found.domain)),
        with_more(found.exposure),
        ratio(odds.value),
        ratios(odds.low, odds.high),
        count(u64::from(found.episodes)),
        e_value_of(found)
    )
}

/// An odds ratio for people: far ones roughly.
pub fn ratio(ratio: f64) -> String {
    match ratio {
        ratio if ratio < 0.01 => "<0.01".to_owned(),
        ratio if ratio >= 99.5 => ">99".to_owned(),
        ratio if ratio >= 9.95 => decimal(ratio, 0),
        ratio => decimal(ratio, 2),
    }
}

/// Two of them.
pub fn ratios(low: f64, high: f64) -> String {
    format!("{} to {}", ratio(low), ratio(high))
}

/// What a confounder would have to be.
fn e_value_of(found: &DoseAssociation) -> String {
    let estimate = decimal(found.e_value, 1);
    match found.e_value_of_limit > 1.0 {
        true => format!("E-value {estimate}, of the nearer limit {}.", decimal(found.e_value_of_limit, 1)),
        false => format!("E-value {estimate}; of the interval 1, since it holds no difference."),
    }
}

/// Beside an association.
pub fn note(found: &DoseAssociation) -> String {
    let how = match found.test {
        Test::LikelihoodRatio => "Profile limits, likelihood-ratio test.",
        Test::Wald => "Wald's limits and test.",
        Test::Penalised => "Penalised, since a class predicts perfectly; Wald's test.",
    };
    format!(
        "{} of them responded, at {}. {how}",
        percent(found.responded),
        counted(u64::from(found.sites), "site", "sites")
    )
}

/// Why an exposure was not tested.
pub fn not_tested(of: &NotTested) -> String {
    let why = match of.why {
        Untested::NotRecorded => "no first visit of an episode with an outcome records it",
        Untested::TooFew => {
            "too few episodes: a hundred, with twenty responders and twenty others at sites that have both, and more \
             where there are many sites"
        }
        Untested::NoVariation => "it hardly varies within sites, so that it cannot be told from the site",
        Untested::NotFitted => "the model could not be fitted",
    };
    format!("{}, {}: {why}.", exposure(of.exposure), domain(of.domain))
}

/// A region's care.
pub fn care(region: Region) -> &'static str {
    match region {
        Region::Lumbar => "Lumbar care",
        Region::Cervical => "Cervical care",
        Region::Other => "Other care",
    }
}

/// Caption of the sheet by site.
pub fn site_caption(region: Region) -> String {
    format!("{}: dose delivered by site; all quarters", care(region))
}

/// The leading sentence on what was delivered of the plan, over the whole group.
pub fn delivered_lead(region: Region, delivered: f64, most: Option<f64>) -> String {
    let most = match most {
        Some(share) => format!("; {} of the episodes with a plan got at least 80\u{a0}% of it", percent(share)),
        None => String::new(),
    };
    format!("{}: {} of the visits planned were delivered{most}.", care(region), percent(delivered))
}

/// A share of body weight.
pub fn of_body_weight(percent: f64) -> String {
    format!("{}\u{a0}%", decimal(percent, 1))
}

/// A progression.
pub fn progression(points: f64) -> String {
    signed(points, 2)
}

/// Title of the pull by visit: the condition of the most visits from its first to its last visit shown.
pub fn by_visit_title(condition: &str, (first, last): (f64, f64), visit: u32) -> String {
    let condition = within(condition);
    match last - first {
        rise if rise.abs() < 0.5 => {
            format!("Median pull stays at {} of body weight to visit {visit}: {condition}", of_body_weight(first))
        }
        rise => format!(
            "Median pull {} from {} of body weight at the first visit to {} at visit {visit}: {condition}",
            if rise > 0.0 { "rises" } else { "falls" },
            of_body_weight(first),
            of_body_weight(last)
        ),
    }
}

/// Subtitle of the pull by visit.
pub fn by_visit_subtitle(conditions: usize, visits: u32) -> String {
    format!(
        "Treated visits that record pull and body mass, about {} of them; {} with the most visits",
        count(u64::from(visits)),
        counted(conditions as u64, "condition", "conditions")
    )
}

/// Title of the first and last visit by site: where pull rises most and least from first to last visit.
pub fn first_last_title(region: Region, most: (&str, f64), least: Option<(&str, f64)>) -> String {
    let points = |rise: f64| format!("{} points", signed(rise, 1));
    let care = within(care(region));
    match least {
        Some((site, rise)) => format!(
            "From first to last visit pull changes by {} at {} and by {} at {site}: {care}",
            points(most.1),
            most.0,
            points(rise)
        ),
        None => format!("From first to last visit pull changes by {} at {}: {care}", points(most.1), most.0),
    }
}

/// Subtitle of the first and last visit by site.
pub fn first_last_subtitle(region: Region, episodes: Option<u32>) -> String {
    let care = within(care(region));
    let of = match episodes {
        Some(n) => format!("About {} episodes of {care}", count(u64::from(n))),
        None => "Episodes".to_owned(),
    };
    format!(
        "{of} that have ended or are due; means of those that record the pull at both visits; not adjusted for case mix"
    )
}

/// Title of the associations.
pub fn associations_title(associations: &[DoseAssociation]) -> String {
    let beyond: Vec<&DoseAssociation> = associations.iter().filter(|found| found.is_beyond_chance()).collect();
    if associations.iter().any(|found| found.q.is_none()) {
        return "Dose and setup against response, before allowing for the number of findings".to_owned();
    }
    match beyond.as_slice() {
        [] => "No dose or setup goes along with response by more than chance explains".to_owned(),
        [one] => format!(
            "{} goes along with response in {} by more than chance explains",
            exposure(one.exposure),
            domain(one.domain)
        ),
        several => format!(
            "{} of {} associations of dose and setup with response are more than chance explains",
            several.len(),
            associations.len()
        ),
    }
}

/// Subtitle of the associations.
pub fn associations_subtitle(fewest: u32, most: u32) -> String {
    let episodes = match fewest == most {
        true => count(u64::from(most)),
        false => format!("{} to {}", count(u64::from(fewest)), count(u64::from(most))),
    };
    format!(
        "About {episodes} episodes with both readings; odds ratios of a minimal important change, within sites and at equal case mix. \
         Associations, not proof"
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::measure::Domain;
    use crate::findings::bulletin::Estimate;

    fn found(q: Option<f64>, odds_ratio: Estimate, e_value_of_limit: f64) -> DoseAssociation {
        DoseAssociation {
            exposure: Exposure::ReturnTension,
            domain: Domain::Pain,
            episodes: 640,
            sites: 6,
            responded: 0.62,
            spread: 20.0,
            odds_ratio,
            p: 0.002,
            test: Test::LikelihoodRatio,
            q,
            e_value: 1.6,
            e_value_of_limit,
            allowed_for: Vec::new(),
        }
    }

    #[test]
    fn an_association_carries_interval_e_value_and_why_it_is_no_proof() {
        let clear = found(Some(0.02), Estimate { value: 1.32, low: 1.1, high: 1.58 }, 1.27);
        let text = lead(&clear);
        for part in [
            "Pain: where return tension was 5 lbf (22 N) higher (lumbar care), the odds",
            "1.32 times as high (95\u{a0}% CI 1.10 to 1.58), within sites and at equal case mix, in about 640 episodes",
            "more than chance explains, q 0.020. E-value 1.6, of the nearer limit 1.3.",
            "patients who do well tolerate more, clinicians choose",
            "Nothing here says what dose to give",
        ] {
            assert!(text.contains(part), "{part}: {text}");
        }
        let unclear = found(Some(0.4), Estimate { value: 1.05, low: 0.9, high: 1.2 }, 1.0);
        assert!(item(&unclear).contains("no more than chance explains, q 0.400"));
        assert!(item(&unclear).contains("of the interval 1, since it holds no difference. An association, not proof."));
        let untested = found(None, Estimate { value: 1.32, low: 1.1, high: 1.58 }, 1.27);
        assert!(item(&untested).contains("p 0.002, before allowing for the number of findings"));
    }

    #[test]
    fn far_ratios_are_told_roughly() {
        assert_eq!([0.004, 0.5, 9.96, 2453.3].map(ratio), ["<0.01", "0.50", "10", ">99"]);
    }

    #[test]
    fn titles_say_what_was_found() {
        let clear = found(Some(0.02), Estimate { value: 1.32, low: 1.1, high: 1.58 }, 1.27);
        let unclear = found(Some(0.4), Estimate { value: 1.05, low: 0.9, high: 1.2 }, 1.0);
        assert!(associations_title(std::slice::from_ref(&unclear)).starts_with("No dose or setup"));
        assert!(
            associations_title(&[unclear.clone(), clear.clone()]).starts_with("Return tension, lumbar care goes along")
        );
        assert!(associations_title(&[clear.clone(), clear, unclear]).starts_with("2 of 3 associations"));
        assert!(by_visit_title("Low back pain", (30.0, 36.2), 12).starts_with("Median pull rises from 30.0"));
        assert!(by_visit_title("Low back pain", (30.0, 30.2), 12).contains("stays at 30.0"));
    }
}
