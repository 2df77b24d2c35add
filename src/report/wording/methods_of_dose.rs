//! How dose is summed up and held against outcome, for the methods page.

use super::methods::Explanation;

pub(super) fn dose() -> Explanation {
    Explanation::new(
        "dose",
        "Dose",
        &[
            "Peak pull is given as percent of body weight on the day (standard gravity). Minutes under pull: the session of a static pull; \
             cycles x (two ramps and the hold) of an intermittent one, with as many cycles as were recorded or fit into the session. A visit \
             that lacks what a number needs is left out of it. Progression is the least-squares slope of pull on the number of the visit, of episodes \
             with three pulls or more. Delivered against planned, first and last visit are of episodes that have ended or are due.",
            "Dose and setup against outcome: each exposure is the mean over the first four treated visits that record it and fall before the \
             endpoint's window opens, since later ones follow from how the patient fares. A logistic model of the minimal important change \
             holds an indicator of each site, the case mix of the comparison of sites as far as there is room (five events and five non-events to a \
             column; Vittinghoff and McCulloch 2007, Am J Epidemiol 165:710-8), and one exposure. So only differences within a site count: a \
             site of high dose and good outcome makes no association. Pulls and angles of neck and low back are looked at apart.",
            "Up to 2,000 episodes limits are of the profile likelihood and p values of the likelihood-ratio test; beyond, where the two agree, \
             Wald's. Where a class predicts perfectly the likelihood is penalised (Firth 1993). Beyond 10,000 episodes patients are drawn by a hash of \
             their key. Nothing is tested under 100 episodes, under 20 responders or 20 others, or where under 20 episodes differ from \
             their site's median. All p values go through one Benjamini-Hochberg step with the other findings on setups.",
            "E-value: with RR the risk ratio, inverted where below 1, RR + sqrt(RR (RR - 1)) (VanderWeele and Ding 2017, Ann Intern Med \
             167:268-74); RR is taken as the root of the odds ratio where more than 15 % responded. Of an interval that holds 1 it is 1.",
            "None of this is proof. Patients who do well tolerate more, so that a good course can raise the dose already in the first visits; \
             clinicians choose dose and setup by what they see; severity is recorded in part only. The number of visits delivered is not tested, \
             since the outcome itself decides when care ends. Nothing here says what dose to give.",
        ],
    )
}
