//! Checks of groups compared.

use mendcurve_stats::between_groups::between_groups;
use mendcurve_stats::logistic::{Rows, logistic};
use mendcurve_stats::standardised::WithoutGroups;

use crate::reader::Dataset;

pub fn dyestuff(d: &Dataset) {
    let batch: Vec<usize> = d.column("batch").iter().map(|batch| *batch as usize - 1).collect();
    let result = d.column("yield");
    let found = between_groups(1, &vec![1.0; result.len()], result, &batch).unwrap().unwrap();
    d.compare("average", found.average);
    d.compare("sd", found.sd);
    d.compare("residual_sd", found.residual_sd);
    for (number, group) in (1..).zip(&found.groups) {
        d.compare(&format!("effect_{number}"), group.value);
        d.compare(&format!("effect_{number}_sd"), group.sd);
    }
}

pub fn rao_score(d: &Dataset) {
    let case = d.column("case");
    let design: Vec<f64> =
        d.column("age").iter().zip(d.column("spontaneous")).flat_map(|(age, lost)| [1.0, *age, *lost]).collect();
    let successes: Vec<u32> = case.iter().map(|case| *case as u32).collect();
    let trials = vec![1; case.len()];
    let names = ["intercept", "age", "spontaneous"];
    let rows = Rows { successes: &successes, trials: &trials, design: &design, names: &names, offset: None };
    let fitted = logistic(&rows).unwrap();
    let model = WithoutGroups::logistic(fitted.fit().unwrap(), design.clone(), case.to_vec()).unwrap();
    for group in ["few_years", "many_years"] {
        let inside = d.column(group);
        let members: Vec<usize> = (0..inside.len()).filter(|i| inside[*i] == 1.0).collect();
        let held = model.hold(&members);
        d.compare(&format!("{group}_observed"), held.observed);
        d.compare(&format!("{group}_expected"), held.expected);
        d.compare(&format!("{group}_chi_square"), held.score.unwrap().powi(2));
    }
}
