//! How sites are compared, and how the first page's findings are chosen, for the methods page.

use super::methods::Explanation;

pub(super) fn sites() -> Explanation {
    Explanation::new(
        "sites",
        "Sites compared",
        &[
            "A site's patients are compared with what a model without sites expects of them, given what was known before treatment: burden \
             at the start and its square, measure and condition, time since onset, burden at the start in the other domain, age, \
             compensation claim, prior surgery, sex and body-mass index, in that order, as far as there is room: ten events and ten \
             non-events to a column (Peduzzi and others 1996, J Clin Epidemiol 49:1373-9). Those who lack a value are a class of their \
             own. Nothing that the site decides afterwards is allowed for: dose, setup and number of visits are part of what is compared.",
            "A yes or no (minimal important change, followed up) has a logistic model, by Firth's penalised likelihood where a class predicts \
             perfectly (Firth 1993, Biometrika 80:27-38; Heinze and Schemper 2002, Stat Med 21:2409-19); a fall of burden has a linear one. \
             Observed / expected x the group's rate is the adjusted rate. For a follow-up the scores at the start are not allowed \
             for, since that they are missing is part of what is compared.",
            "Over all conditions each episode counts with one measure: the one its condition names first of which it has a baseline, limb \
             pain before trunk pain with radiating symptoms and after it without. The choice looks at no later score.",
            "Limits of chance are exact for a site's own case mix (the distribution of a sum of unlike yes-or-no events), at 95 % and 99.8 % \
             (Spiegelhalter 2005, Stat Med 24:1185-202). The p value is that of the score test of the site in the model, with a continuity correction, which allows for the \
             site's own part in it. With at least ten other sites their over-dispersion, winsorised at a tenth, widens what chance explains; \
             with fewer it cannot be told from one site that differs, and is taken as none.",
            "All p values of a report, over sites, conditions, measures and both periods, go through one Benjamini-Hochberg step (1995, J R Stat Soc B \
             57:289-300). 'Above' and 'below' need an adjusted value of at most 0.05: where no site differs, at most one report in twenty \
             calls any. 'Too few' is said below ten episodes, or where fewer than five are expected to respond, or not to.",
            "The best guess for a site comes from a model with a random site (logistic by adaptive Gauss-Hermite quadrature, linear by restricted \
             maximum likelihood): it is drawn towards the group, the further the fewer its episodes. Its interval takes the model's \
             coefficients as known.",
            "Discrimination and calibration of the case-mix model are of predictions for each fifth of the patients by a model of the other four. \
             A model that tells patients poorly apart cannot make unlike sites alike, whatever it allows for.",
            "Quarter by quarter a site's rate stands on a control chart of shares around its own rate, three standard deviations of chance to each \
             side (Shewhart 1931). Four rules signal: a point beyond three; two of three beyond two on one side; four of five beyond one; eight in \
             a row on one side.",
        ],
    )
}

pub(super) fn leads() -> Explanation {
    Explanation::new(
        "leads",
        "What the first page leads with",
        &[
            "At most five findings. How many responded in the two conditions with the most due episodes comes first. The other places go to what \
             differs most for certain: findings are ranked by how far the nearer end of their 95 % interval lies from no difference, in units \
             of 10 percentage points of a rate or 10 points of burden; a difference that may be chance weighs nothing. At most two of a \
             kind. Places that are left go to this quarter against the last, and to how many were followed up.",
        ],
    )
}
