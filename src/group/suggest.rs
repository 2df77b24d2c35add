//! What somebody may have meant by an unknown word.

/// The known word nearest to `word`, when one is near enough to be a slip of the pen.
pub(crate) fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let word = word.to_lowercase();
    known
        .into_iter()
        .map(|candidate| (strsim::jaro_winkler(&word, &candidate.to_lowercase()), candidate))
        .filter(|(likeness, _)| *likeness >= 0.85)
        .reduce(|best, next| if next.0 > best.0 { next } else { best })
        .map(|(_, candidate)| candidate)
}

/// A remedy for an unknown word: the nearest known one, else all of them.
pub(crate) fn did_you_mean<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> String {
    let known: Vec<&str> = known.into_iter().collect();
    match nearest(word, known.iter().copied()) {
        Some(candidate) => format!("did you mean `{candidate}`?"),
        None => format!("use one of: {}", known.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_pen_finds_its_word_and_a_stranger_finds_the_list() {
        assert_eq!(nearest("Peak_Forse", ["peak_force", "low_force"]), Some("peak_force"));
        assert_eq!(nearest("zzz", ["peak_force", "low_force"]), None);
        assert_eq!(did_you_mean("zzz", ["a", "b"]), "use one of: a, b");
    }
}
