use super::*;
use crate::report::invented;
use askama::Template;

fn sections(change: impl FnOnce(&mut DoseFindings)) -> (Vec<String>, Vec<Figure>) {
    let bulletin = invented::bulletin();
    let mut dose = bulletin.dose.clone().unwrap();
    change(&mut dose);
    let (sections, figures) = dose_parts(&Edition::new(&bulletin, &invented::rules()), &dose).unwrap();
    (sections.iter().map(|section| section.render().unwrap()).collect(), figures)
}

#[test]
fn the_sections_hold_three_figures_and_what_is_not_proof() {
    let (sections, figures) = sections(|_| ());
    let names: Vec<&str> = figures.iter().map(|figure| figure.name.as_str()).collect();
    assert_eq!(names, ["dose_by_visit", "dose_first_last", "dose_associations"]);
    let [delivered, outcome] = sections.as_slice() else { panic!("{} sections", sections.len()) };
    assert!(delivered.contains("<section id=\"dose-delivered\""));
    assert!(
        delivered.contains("Lumbar care: 78\u{a0}% of the visits planned were delivered; 61\u{a0}% of the episodes")
    );
    assert!(
        delivered.contains("figures/dose_by_visit.png") && delivered.contains("Median pull rises from 31.0\u{a0}%")
    );
    assert!(outcome.contains("class=\"lead\">Pain: where return tension was 5 lbf (22 N) higher"));
    assert!(outcome.matches("Nothing here says what dose to give").count() >= 2, "with the lead, and once for all");
    assert!(outcome.contains("The number of visits delivered is not compared with outcome"));
    assert!(outcome.contains("Angle, cervical care, pain: too few episodes"));
    assert!(
        outcome.contains("Return tension, lumbar care goes along with response in pain by more than chance explains")
    );
}

#[test]
fn what_is_withheld_is_a_dash_and_is_not_drawn() {
    let (sections, figures) = sections(|_| ());
    assert!(sections[0].contains("withheld: 4 or fewer patients"));
    let rows = &figures[1].svg;
    assert!(rows.contains("Coldlarch: withheld") && rows.contains("– withheld"));
    let panels = &figures[0].svg;
    assert!(panels.contains("visit 11") && !panels.contains("visit 12"), "the twelfth visit is withheld");
}

#[test]
fn before_the_number_of_findings_is_allowed_for_nothing_is_called() {
    let (sections, figures) = sections(|dose| dose.associations.iter_mut().for_each(|found| found.q = None));
    assert!(!sections[1].contains("class=\"lead\""));
    assert!(figures[2].title.contains("before allowing for the number of findings"));
}

#[test]
fn nothing_recorded_makes_no_section_and_only_untested_no_figure() {
    let empty = sections(|dose| {
        (dose.by_visit, dose.by_site) = (Vec::new(), Vec::new());
        (dose.associations, dose.untested) = (Vec::new(), Vec::new());
    });
    assert!(empty.0.is_empty() && empty.1.is_empty());
    let (sections, figures) = sections(|dose| dose.associations.clear());
    assert_eq!((sections.len(), figures.len()), (2, 2));
}
