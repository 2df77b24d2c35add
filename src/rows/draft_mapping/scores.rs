//! Which columns hold scores: the measure, the site of pain, the scale, and groups of items.

use super::aliases::{Aliases, likeness, plain_words};
use super::column::Column;
use super::fields::Confidence;
use super::shape::{Shape, nearly_all};
use crate::catalogue::measure::Domain;
use crate::catalogue::{Measure, MeasureId, Measures, PainSite};

/// A measure that a name may mean.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Named {
    pub measure: MeasureId,
    pub pain_site: PainSite,
    pub likeness: f64,
}

/// One score of the draft.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct ScoreGuess {
    pub measure: MeasureId,
    pub pain_site: PainSite,
    /// One column, or one an item.
    pub columns: Vec<usize>,
    pub items: bool,
    pub likeness: f64,
    pub confidence: Confidence,
    pub scale: ScaleGuess,
}

/// The scale that a score seems to be written in.
#[derive(Clone, PartialEq, Default, Debug)]
pub(super) struct ScaleGuess {
    /// The tightest scale that holds every number; none when no scale does, or without numbers.
    pub name: Option<String>,
    /// Other scales that hold every number too.
    pub others: Vec<String>,
    /// Whether the header names it.
    pub named: bool,
}

/// The measure that words name: `NRS back`, `ODI`, `Schmerz Bein`.
pub(super) fn named(words: &[String], aliases: &Aliases, measures: &Measures) -> Option<Named> {
    let site = aliases
        .pain_site
        .iter()
        .find(|site| site.words.iter().any(|alias| holds(words, alias)))
        .and_then(|site| PainSite::parse(&site.key));
    let is_site = |word: &String| {
        aliases.pain_site.iter().any(|site| site.words.iter().any(|a| a.split(' ').any(|part| part == word)))
    };
    let telling: Vec<String> =
        words.iter().filter(|word| !is_site(word) && !aliases.fillers.contains(word)).cloned().collect();
    let mut best: Option<Named> = None;
    for entry in &aliases.measure {
        let Some(measure) = measures.find(&entry.key) else { continue };
        let like = likeness(words, &entry.words).max(likeness(&telling, &entry.words));
        if like > best.map_or(0.0, |best| best.likeness) {
            let of_pain = measures.get(measure).domain == Domain::Pain;
            let pain_site = site.filter(|_| of_pain).unwrap_or(PainSite::Unspecified);
            best = Some(Named { measure, pain_site, likeness: like });
        }
    }
    best
}

/// A column called `leg` with numbers up to 10 is a guess at pain there.
fn bare_site(of: &Column, aliases: &Aliases, measures: &Measures) -> Option<Named> {
    let site = aliases.pain_site.iter().find(|site| site.words.contains(&of.words.join(" ")))?;
    let numbers = of.shape.is_number() && of.shape.lies_within(0.0, 10.0);
    let measure = measures.find("pain_nrs").filter(|_| numbers)?;
    Some(Named { measure, pain_site: PainSite::parse(&site.key)?, likeness: 0.1 })
}

fn holds(words: &[String], alias: &str) -> bool {
    alias.split(' ').all(|part| words.iter().any(|word| word == part))
}

/// A score in one column.
pub(super) fn guess(column: usize, of: &Column, aliases: &Aliases, measures: &Measures) -> Option<ScoreGuess> {
    let named = named(&of.words, aliases, measures).or_else(|| bare_site(of, aliases, measures))?;
    let measure = measures.get(named.measure);
    let shape = &of.shape;
    let in_words = !measure.words.is_empty() && shape.is_text() && !shape.is_free_text();
    if shape.filled > 0 && !in_words && (!shape.is_number() || shape.dates.is_some()) {
        return None;
    }
    Some(ScoreGuess {
        measure: named.measure,
        pain_site: named.pain_site,
        columns: vec![column],
        items: false,
        likeness: named.likeness,
        confidence: Confidence::of(named.likeness, shape.filled > 0),
        scale: scale(measure, &shape.numbers, &of.header),
    })
}

/// The scale that the written numbers fit, but for a slip here and there.
pub(super) fn scale(measure: &Measure, written: &[f64], header: &str) -> ScaleGuess {
    let mut fitting: Vec<(f64, &str)> = measure
        .scale_names()
        .filter_map(|name| {
            let scale = measure.scale(name)?;
            let inside = written.iter().filter(|number| measure.contains(scale.to_native(**number))).count();
            nearly_all(inside, written.len()).then_some(((measure.high - measure.low) / scale.factor.abs(), name))
        })
        .collect();
    fitting.sort_by(|a, b| a.0.total_cmp(&b.0)); // stable: of equal spans the registry's first
    let words = plain_words(header);
    let said = |name: &str| {
        (name == "percent" && header.contains('%')) || {
            let spoken: &[&str] = match name {
                "percent" => &["percent", "pct", "prozent", "pourcent", "porcentaje"],
                "raw" => &["raw", "roh", "sum", "summe"],
                other => &[other],
            };
            spoken.iter().any(|word| words.iter().any(|in_header| in_header == word))
        }
    };
    let named = fitting.iter().position(|(_, name)| said(name));
    let chosen = named.or((!fitting.is_empty()).then_some(0));
    let name = chosen.and_then(|i| fitting.get(i)).map(|(_, name)| (*name).to_owned());
    let others =
        fitting.iter().map(|(_, other)| (*other).to_owned()).filter(|other| Some(other) != name.as_ref()).collect();
    ScaleGuess { name, others, named: named.is_some() }
}

/// Groups of columns that differ in a running number only, as many as a measure has items.
pub(super) fn item_groups(columns: &[Column], aliases: &Aliases, measures: &Measures) -> Vec<ScoreGuess> {
    let mut groups: Vec<(&str, Vec<(usize, usize)>)> = Vec::new(); // name before the number, (number, column)
    for (i, column) in columns.iter().enumerate() {
        let Some((name, number)) = numbered(&column.header) else { continue };
        match groups.iter_mut().find(|(known, _)| *known == name) {
            Some((_, members)) => members.push((number, i)),
            None => groups.push((name, vec![(number, i)])),
        }
    }
    groups.into_iter().filter_map(|(name, members)| items(name, members, columns, aliases, measures)).collect()
}

fn numbered(header: &str) -> Option<(&str, usize)> {
    let name = header.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = header.get(name.len()..)?.parse().ok()?;
    Some((name, number))
}

fn items(
    name: &str,
    mut members: Vec<(usize, usize)>,
    columns: &[Column],
    aliases: &Aliases,
    measures: &Measures,
) -> Option<ScoreGuess> {
    members.sort_unstable();
    if members.iter().enumerate().any(|(i, (number, _))| *number != i + 1) {
        return None;
    }
    let shapes: Vec<&Shape> = members.iter().filter_map(|(_, column)| columns.get(*column)).map(|c| &c.shape).collect();
    let fits = |measure: &Measure| {
        measure.items.as_ref().is_some_and(|items| {
            let holds = |shape: &&Shape| {
                shape.filled == 0
                    || (shape.is_whole() && shape.lies_within(0.0, items.item_max))
                    || (items.item_max == 1.0 && shape.is_text() && shape.distinct.len() <= 3)
            };
            usize::from(items.count) == members.len() && shapes.iter().all(holds)
        })
    };
    let words = plain_words(name);
    let by_name =
        named(&words, aliases, measures).filter(|named| named.likeness >= 0.9 && fits(measures.get(named.measure)));
    let (measure, likeness) = match by_name {
        Some(named) => (named.measure, named.likeness),
        None => {
            // two measures have ten items: the first letter, `o1` or `n1`, is a hint and no more
            let initial = |measure: &Measure| words.first().is_some_and(|word| measure.key.starts_with(word.as_str()));
            let fitting = || measures.iter().filter(|(_, measure)| fits(measure) && measure.key != "psfs");
            (fitting().find(|(_, measure)| initial(measure)).or_else(|| fitting().next())?.0, 0.0)
        }
    };
    let filled = shapes.iter().any(|shape| shape.filled > 0);
    Some(ScoreGuess {
        measure,
        pain_site: PainSite::Unspecified,
        columns: members.into_iter().map(|(_, column)| column).collect(),
        items: true,
        likeness,
        confidence: Confidence::of(likeness, filled),
        scale: ScaleGuess::default(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(header: &str) -> Option<(String, PainSite)> {
        let (aliases, measures) = (Aliases::load().unwrap(), Measures::embedded().unwrap());
        let named = named(&plain_words(header), &aliases, &measures)?;
        Some((measures.get(named.measure).key.clone(), named.pain_site))
    }

    #[test]
    fn a_measure_and_its_site_are_read_from_a_name() {
        let is = |header: &str, measure: &str, site: PainSite| {
            assert_eq!(key(header), Some((measure.to_owned(), site)), "{header}");
        };
        is("NRS back", "pain_nrs", PainSite::Back);
        is("Schmerz Bein heute", "pain_nrs", PainSite::Leg);
        is("EVA dolor cuello", "pain_vas", PainSite::Neck);
        is("ODI %", "odi", PainSite::Unspecified);
        is("NDI total", "ndi", PainSite::Unspecified);
        is("pain_avg", "pain_nrs", PainSite::Unspecified);
        is("Roland-Morris", "rmdq", PainSite::Unspecified);
        assert_eq!(key("Weight"), None);
        assert_eq!(key("back"), None);
    }

    #[test]
    fn the_tightest_scale_that_holds_every_number_is_proposed_with_the_others_beside_it() {
        let measures = Measures::embedded().unwrap();
        let scale_of = |key: &str, written: &[f64], header: &str| {
            scale(measures.get(measures.find(key).unwrap()), written, header)
        };
        assert_eq!(scale_of("pain_nrs", &[0.0, 9.0], "NRS").name.as_deref(), Some("0-10"));
        assert_eq!(scale_of("pain_nrs", &[0.0, 72.0], "NRS").name.as_deref(), Some("0-100"));
        assert_eq!(scale_of("pain_nrs", &[0.0, 720.0], "NRS").name, None);
        assert_eq!(scale_of("pain_nrs", &[], "NRS").name, None);
        let with_a_slip: Vec<f64> = (0..100).map(|i| if i == 50 { 11.0 } else { f64::from(i % 11) }).collect();
        assert_eq!(scale_of("pain_nrs", &with_a_slip, "NRS").name.as_deref(), Some("0-10"));
        let odi = scale_of("odi", &[4.0, 44.0], "ODI");
        assert_eq!((odi.name.as_deref(), odi.others.as_slice()), (Some("raw"), &["percent".to_owned()][..]));
        assert_eq!(scale_of("odi", &[4.0, 44.0], "ODI %").name.as_deref(), Some("percent"));
        assert!(scale_of("odi", &[4.0, 44.0], "ODI %").named);
    }
}
