//! A sentence for every kind: plain, exact, and about no person's worth.

use super::*;
use crate::findings::setups::UsualValue;
use crate::report::invented_setups::setups;
use std::collections::BTreeSet;

fn of(kind: Kind) -> (String, String) {
    let setups = setups();
    let found = setups.findings.iter().find(|found| found.kind == kind).unwrap();
    let plain = |text: String| text.replace('\u{a0}', " ");
    (plain(sentence(found, &setups)), plain(look_at(found, &setups)))
}

#[test]
fn every_kind_says_what_where_how_far_and_on_how_many_visits() {
    let expected = [
        (
            Kind::Conformance,
            "Coldlarch: return tension (low back) meets the standard on 11 % (95 % CI 7 to 16) of 1,240 visits of 131 patients, \
             at the other sites on 93 %. The item is required.",
        ),
        (
            Kind::Unlike,
            "Coldlarch: return tension (low back) is 52 lbf on average, on 1,240 visits of 131 patients; at the other sites it is \
             40 lbf (chance and what sites usually differ by give 37 to 43 lbf).",
        ),
        (
            Kind::Spread,
            "Eastlow: values of peak pull, share of body weight (low back) are spread unlike those of the other sites, beyond one lying \
             higher than the other, on 980 visits of 102 patients: the distance between the distributions is 8 % of the most it can be; \
             chance gives up to 3 %.",
        ),
        (
            Kind::Shift,
            "Alderwick, clinician AC4: pelvic belt on its landmark (low back) fell at once about 4 May 2026 (likely between 27 April 2026 \
             and 18 May 2026), from 95 % to 71 % (95 % CI 64 to 78), on 390 visits of 44 patients.",
        ),
        (
            Kind::Drift,
            "Dunnock Hill, table DT2: opening of the split (low back) has been rising since about 2 February 2026 (likely between \
             12 January 2026 and 2 March 2026), by 0.11 mm a week (95 % CI 0.08 to 0.14 mm), from 6.4 mm before, on 640 visits of \
             88 patients.",
        ),
        (
            Kind::CopiedForward,
            "Fennick Bridge, clinician FC2: entries of the setup repeat those of the same patient's visit before, field for field, on 91 % \
             (95 % CI 86 to 95) of 310 visits of 41 patients; as others repeat them 42 % would be expected.",
        ),
        (
            Kind::Digits,
            "Dunnock Hill, clinician DC3: recorded values of opening of the split (low back) end in 5 on 46 % (95 % CI 41 to 51) of \
             420 visits of 52 patients; with other clinicians they do on 10 %.",
        ),
        (
            Kind::NotPossible,
            "Brindleford: recorded numbers break the rule \u{201c}The session is as long as its cycles\u{201d} on 6 % (95 % CI 4 to 8) of \
             1,830 visits of 190 patients, at the other sites on <1 %.",
        ),
        (
            Kind::Opening,
            "Dunnock Hill, table DT2: at equal return tension the split opens by 8.6 mm (95 % CI 8.2 to 9.0 mm), at its sibling tables by \
             6.3 mm, on 640 visits of 88 patients.",
        ),
    ];
    for (kind, text) in expected {
        assert_eq!(of(kind).0, text);
    }
    let kinds: BTreeSet<Kind> = setups().findings.iter().map(|found| found.kind).collect();
    assert_eq!(kinds.len(), expected.len(), "the invented findings hold every kind");
}

#[test]
fn a_share_below_what_is_required_everywhere_and_digits_of_a_score_are_told_as_such() {
    let setups = setups();
    let of = |kind: Kind| setups.findings.iter().find(|found| found.kind == kind).unwrap().clone();
    let least = SetupFinding { is_against_least: true, reference: 0.9, ..of(Kind::Conformance) };
    assert!(sentence(&least, &setups).contains("at least 90\u{a0}% are needed at every site"));
    let usual = UsualValue { observed: 52.0, reference: 41.1, unit: "lbf".into(), decimals: 1 };
    let far = SetupFinding { usual: Some(usual), ..of(Kind::Conformance) };
    let said = sentence(&far, &setups).replace('\u{a0}', " ");
    assert!(said.contains(" On average it is 52.0 lbf, at the other sites 41.1 lbf. The item is required."), "{said}");
    let score = SetupFinding { about: None, measure: Some("Pain on a line".into()), ..of(Kind::Digits) };
    assert!(sentence(&score, &setups).contains("recorded values of pain on a line end in 5"));
    let pull = of(Kind::Digits)
        .about
        .map(|about| crate::catalogue::parameter::About { parameter: Parameter::PullShare, ..about });
    let pull = SetupFinding { about: pull, ..of(Kind::Digits) };
    assert!(sentence(&pull, &setups).contains("recorded values of the peak pull end in 5"));
    assert!(look_at(&pull, &setups).contains("what the peak pull is read from"));
}

#[test]
fn every_finding_says_what_to_look_at_and_none_blames_a_person() {
    let setups = setups();
    for found in &setups.findings {
        let look = look_at(found, &setups);
        assert!(look.ends_with('.') && look.len() > 40, "{look}");
        let all = explanation(found, &setups).to_lowercase();
        for word in ["fault", "wrong", "careless", "mistake", "fraud", "false", "guilty", "bad "] {
            assert!(!all.contains(word), "{word}: {all}");
        }
        assert!(!all.contains("not recorded") && !all.contains('\u{a0}'), "{all}");
    }
    assert!(of(Kind::CopiedForward).1.starts_with("Ask how the entries of FC2 are made"));
    assert!(of(Kind::Drift).1.contains("table looked at"));
}

#[test]
fn a_falling_drift_turns_its_interval_too() {
    let setups = setups();
    let mut found = setups.findings.iter().find(|found| found.kind == Kind::Drift).unwrap().clone();
    (found.observed, found.interval) = (-0.11, (-0.14, -0.08));
    let text = sentence(&found, &setups).replace('\u{a0}', " ");
    assert!(
        text.contains("has been falling") && text.contains("by 0.11 mm a week (95 % CI 0.08 to 0.14 mm)"),
        "{text}"
    );
}

#[test]
fn a_rule_that_is_not_listed_is_named_by_its_key() {
    let mut setups = setups();
    setups.rules.clear();
    let found = setups.findings.iter().find(|found| found.kind == Kind::NotPossible).unwrap();
    assert!(sentence(found, &setups).contains("session_length"));
    assert!(look_at(found, &setups).ends_with("filled in."));
}

#[test]
fn a_withheld_share_is_told_as_withheld_and_no_number_stands_beside_it() {
    let setups = setups();
    let withheld = |kind: Kind| {
        let found = setups.findings.iter().find(|found| found.kind == kind && found.unit == "share").unwrap();
        let (observed, interval, p, q) = (0.0, (0.0, 0.0), 0.0, 0.0);
        SetupFinding { few_on_one_side: true, observed, interval, p, q, ..found.clone() }
    };
    let found = withheld(Kind::Conformance);
    let said = sentence(&found, &setups).replace('\u{a0}', " ");
    assert_eq!(
        said,
        "Coldlarch: return tension (low back) meets the standard on a share that is withheld of 1,240 visits of 131 patients, \
         at the other sites on 93 %. The item is required."
    );
    assert_eq!(
        note(&found),
        ["Standard met less often than elsewhere. Few patients stand on one side of the share, so it is withheld."]
    );
    for kind in [Kind::CopiedForward, Kind::Digits, Kind::NotPossible] {
        let said = sentence(&withheld(kind), &setups);
        assert!(said.contains("on a share that is withheld of"), "{said}");
    }
}
