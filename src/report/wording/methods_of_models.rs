//! How the models behind a condition's page are fitted and tried, for the methods page.

use super::methods::Explanation;

/// Courses, what is imputed from them, waiting times, predictions, the comparison of sites, and the choice of what leads.
pub fn explanations() -> Vec<Explanation> {
    vec![
        course(),
        imputation(),
        time_to_response(),
        predictions(),
        super::methods_of_sites::sites(),
        super::methods_of_sites::leads(),
        super::methods_of_dose::dose(),
    ]
}

fn course() -> Explanation {
    Explanation::new(
        "course",
        "Course by week",
        &[
            "Week 0 holds the baselines, week w the readings of days 7w − 3 to 7w + 3, one an episode. Patients leave as \
             weeks go by, so later medians and means are of other patients than earlier ones; the number of episodes \
             stands under each week. Where no curve could be fitted, the weekly means are drawn with their t intervals.",
            "Two models are fitted to every reading of every patient at its own day. Both are mixed models: each patient \
             has a course of their own, and the courses vary around that of the population.",
            "Spline: y = X b + Z u + e, with u ~ N(0, G) by patient and e ~ N(0, σ²); X and Z hold 1 and a natural cubic \
             spline in log(1 + day). G is profiled over its Cholesky factor relative to σ (Bates and others 2015, J Stat \
             Softw 67(1)).",
            "Exponential: score(t) = plateau + (baseline − plateau) exp(−t ln 2 / half-time), where baseline, plateau and \
             log half-time vary between patients and may be correlated (a nonlinear mixed model; Pinheiro and Bates 2000, \
             Mixed-Effects Models in S and S-PLUS). Given the half-time the score is linear in the rest, so the likelihood of a \
             patient is one integral, which is worked out numerically; nothing is linearised, unlike in the usual alternating \
             fit (Lindstrom and Bates 1990, Biometrics 46:673-87).",
            "Which of the two is drawn is decided by patients they have not seen: in each of five folds both are fitted \
             without a fifth of the patients, and the one that gives the readings of those patients the higher log density \
             wins. The page prints the margin with its standard error; a margin within two of those decides little. A fit \
             counts only when its gradient and curvature show that it has arrived; otherwise the other model is used, or none.",
            "The interval of the mean says where the mean of such patients lies. The individual band says where 80 % of \
             single readings of single patients are expected; it holds the differences between patients and the scatter of \
             readings, and does not get narrower with more patients. Half-time, plateau and the day of minimal important \
             change have 95 % intervals from the fit's own standard errors. They take the model as given: the choice \
             between models adds an uncertainty that they do not hold.",
            "Both models use all readings of patients who were lost later, which is right if leaving depends only on \
             readings that were seen. Neither knows that a score cannot pass the ends of its scale; the page says how \
             many readings lie there.",
            "In a very large group an outcome's models are fitted to 600 patients, and tried on them, since more would make \
             the errors of the curve no smaller than matters. The patients are drawn by a keyed hash of their key, blind to how \
             they fared; the note beside the curve then says of how many episodes. Everything that is counted is counted \
             over everybody, and every patient is compared with the curve.",
            "Published cohorts are drawn as points with their intervals. They count from entry into a study.",
        ],
    )
}

fn imputation() -> Explanation {
    Explanation::new(
        "imputation",
        "Imputed rates and tipping points",
        &[
            "In each of 50 draws the parameters of the fitted course are drawn from their sampling distribution, then the \
             course of each patient without a baseline or an endpoint from what their own readings leave possible, then the \
             missing score with its scatter, rounded and held inside the scale. Patients without any reading are drawn from \
             the population. Where more than 1,000 episodes of an outcome are lost there are 10 draws. The rates of sites come \
             from the same draws as those of conditions.",
            "The 50 rates are pooled on the logit by Rubin's rules (Rubin 1987, Multiple Imputation for Nonresponse in \
             Surveys): total variance = mean variance within draws + (1 + 1/number of draws) × variance between draws, with the degrees of \
             freedom of Barnard and Rubin (1999, Biometrika 86:948-55).",
            "That is right if who is lost depends only on readings that were seen. The tipping point says how far the truth \
             would have to be from that: the number of points by which every endpoint that was imputed must be worse for the \
             pooled rate to fall below the interval of the rate seen.",
        ],
    )
}

fn time_to_response() -> Explanation {
    Explanation::new(
        "time-to-response",
        "Time to a response",
        &[
            "From the first treated visit to the first reading that meets the definition, among episodes whose baseline lets \
             it be met; sustained: that reading and the next. A response counts from the day it was seen. Care that was \
             stopped, lost or referred on before a response ends the wait on the last day of care; all others are censored at \
             their last reading.",
            "The figure counts those who stopped as lost to a response (cumulative incidence, Aalen and Johansen 1978, Scand J \
             Stat 5:141-50). The median does not: it is that of Kaplan and Meier (1958, J Am Stat Assoc 53:457-81), which \
             takes those who stopped as if they went on like the others, with limits by Brookmeyer and Crowley (1982, \
             Biometrics 38:29-41). The log-rank test compares acute, subacute and persistent onset.",
        ],
    )
}

fn predictions() -> Explanation {
    Explanation::new(
        "predictions",
        "How predictions are tried",
        &[
            "Every prediction is repeated for patients whom the model has not seen, in two ways: five folds by patient, and \
             later episodes from a model of earlier ones. Each follow-up reading before the endpoint is taken as the latest, \
             and what would have been said then is compared with what happened: whether the reading fell inside the 80 % band \
             predicted before it, and whether the patient responded in the end.",
            "Area under the receiver operating characteristic with the interval of DeLong and others (1988, Biometrics \
             44:837-45); Brier score, the mean of (chance − outcome)²; calibration intercept and slope of a logistic \
             regression of the outcome on the logit of the chance; coverage, sensitivity, specificity and predictive value \
             with Wilson's interval. The readings of one patient stand in several lines, so the lines are not independent.",
            "The words 'behind' and 'ahead' are withheld for a measure when the band's coverage is off by more than 10 \
             percentage points, or when fewer than 30 patients were there to try it on.",
        ],
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_method_names_where_it_comes_from() {
        let text: String = explanations().into_iter().flat_map(|e| e.paragraphs).collect();
        for source in [
            "Lindstrom and Bates 1990",
            "Bates and others 2015",
            "Rubin 1987",
            "Barnard and Rubin (1999",
            "Kaplan and Meier (1958",
            "Brookmeyer and Crowley (1982",
            "Aalen and Johansen 1978",
            "DeLong and others (1988",
        ] {
            assert!(text.contains(source), "{source}");
        }
    }
}
