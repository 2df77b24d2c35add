//! How setups are compared, for the methods page.

use super::methods::Explanation;

/// The explanations on setups.
pub fn explanations() -> Vec<Explanation> {
    vec![setups(), over_time(), entries()]
}

fn setups() -> Explanation {
    Explanation::new(
        "setups",
        "Setups compared",
        &[
            "Setups are compared with the group's written standard, or, where it names none, with the program's own values, which are common \
             practice without a published source. A number meets the standard from its least to its most value, both included.",
            "Where the variation sits: nested variance components (site, clinician or table, patient, visit) by restricted maximum likelihood \
             (Patterson and Thompson 1971, Biometrika 58:545-54). A share is a level's variance over their sum; its interval is by profile \
             likelihood. With few sites the interval is wide, as it should be. A yes or no is taken as 1 and 0.",
            "How often the standard is met: a site is compared with the other sites, a clinician or table with the rest of its site, by the \
             binomial distribution with visits divided by their design effect (Donner and Klar 2000), since visits of one patient are alike. A \
             required item must also be met on 90 % of visits of every site, a choice of the program. The funnel shows what chance gives \
             at a number of visits (95 % and 99.8 %) with the average design effect; the call in the sheet decides, not the place in the funnel.",
            "Unlike the others: one value a patient's course, the mean of its visits there, less what its condition differs by; what builds up \
             over a course is read from the first three visits. The mean of a site is compared with those of the other sites, of a clinician or \
             table with the rest of its site, and the difference with chance and with what such units usually differ by (externally studentised \
             residual, Cook and Weisberg 1982). The larger p value counts, so that sites which all differ a little are not all called.",
            "Spread unlike the rest: the energy distance between the site's values and the others', after the means are laid on each other, with \
             a p value by permuting patients between them (Szekely and Rizzo 2013, J Stat Plan Inference 143:1249-72), and by how far other \
             sites' distances lie from nothing. It is given as a share of the most it can be.",
            "Table by table: over the last 91 days the opening of the split is regressed on return tension within tables, and each table's mean \
             opening is given at the group's mean tension. It is a finding when it differs from its siblings at the site beyond chance, beyond \
             what tables usually differ by, and by more than half the standard's tolerance.",
            "What matters: a finding must also be large. A number must differ by more than the standard's tolerance, a change by half of it; without a \
             standard by half a standard deviation. A yes or no must differ by 10, conformance by 5 percentage points.",
            "All p values on setups, over parameters, regions, sites, clinicians, tables and kinds of finding, go through one Benjamini-Hochberg step at \
             5 % (1995, J R Stat Soc B 57:289-300). A finding at a wider or narrower place that another explains is named beside it, not counted \
             again. None of it tells why: equipment, patients, forms and units differ between places too.",
        ],
    )
}

fn over_time() -> Explanation {
    Explanation::new(
        "setups-over-time",
        "Setups over time",
        &[
            "Numbers stand on an XmR chart of weekly means: centre and limits from the mean moving range between neighbouring weeks (NIST/SEMATECH \
             e-Handbook of Statistical Methods, 6.3.2.2). Shares stand on a p' chart, whose limits widen by how much more than chance the \
             weeks vary (Laney 2002, Qual Eng 14:531-7). Signals of these charts are shown and ringed. They are not findings: so many weeks of so \
             many charts signal somewhere by chance.",
            "Since when: one change in a series of weekly means is searched for at every week that leaves weeks enough on both sides. Its p value comes \
             from permuting the weeks, which allows for having looked at all of them. Whether it is a shift at once or a drift from then on is \
             chosen by the Bayesian information criterion (Schwarz 1978, Ann Stat 6:461-4). The days given with it hold the start with a \
             likelihood within 95 % of the best. One change is looked for, not several. A series whose weeks still follow each other gives no \
             finding. An opening of the split counts only where the pull is above the return tension, and no hold or rest of a static pull does.",
        ],
    )
}

fn entries() -> Explanation {
    Explanation::new(
        "setups-entries",
        "How setups are recorded",
        &[
            "Copied forward: the share of a clinician's visits whose fields of the setup all equal those of the same patient's visit before, \
             beside how often other clinicians' do, all numbers rounded to the coarsest step that a site records. A run of identical entries says \
             nothing about who made them or why; forms that fill themselves in do the same.",
            "Last digits: of values from a fine scale, one visit a patient's course. A clinician's are compared with those of the other clinicians \
             whose site writes in the same unit and step, since patients like round numbers too, by the binomial distribution of the \
             digit most above theirs, times ten for the choice of digit.",
            "Possible or not: each rule compares recorded numbers with each other or with a limit, and names its source. Places are compared with \
             the rest of the group, patients being clusters. A group can switch a rule off in its standard.",
        ],
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sources_are_named_and_the_ids_differ() {
        let all = explanations();
        let text: String = all.iter().flat_map(|e| &e.paragraphs).cloned().collect();
        for source in ["Patterson and Thompson 1971", "Laney 2002", "Schwarz 1978", "Szekely and Rizzo 2013", "6.3.2.2"]
        {
            assert!(text.contains(source), "{source}");
        }
        assert!(text.contains("one Benjamini-Hochberg step at") && text.contains("They are not findings"));
        let ids: std::collections::BTreeSet<&str> = all.iter().map(|e| e.id).collect();
        assert_eq!(ids.len(), all.len());
    }
}
