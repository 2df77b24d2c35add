//! The colours of a drawing, each once.

/// Slots of the table that finds a colour: four times the most colours, so that few collide.
const SLOTS: usize = 1024;
const MOST_COLOURS: usize = 256;

/// An image as places in a palette.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Indexed {
    /// Red, green and blue of each colour, in the order they are met.
    pub palette: Vec<u8>,
    /// The place of each pixel's colour.
    pub places: Vec<u8>,
}

/// Puts colours into a palette; `None` where there are more than 256. `pixels`: four bytes each, the last one ignored; `width` of
/// them a row, at least one.
///
/// A row is often the one above, and a row mostly runs of one colour: only where a run begins is anything looked up.
pub(super) fn indexed(pixels: &[u8], width: usize) -> Option<Indexed> {
    let mut found = Indexed { palette: Vec::new(), places: Vec::with_capacity(pixels.len() / 4) };
    let mut slots: Vec<Option<(u32, u8)>> = vec![None; SLOTS];
    let mut above: &[u8] = &[];
    for row in pixels.chunks(4 * width) {
        let done = found.places.len();
        if row == above {
            found.places.extend_from_within(done - width..);
            continue;
        }
        above = row;
        for run in row.as_chunks::<4>().0.chunk_by(|a, b| a == b) {
            let &[[red, green, blue, _], ..] = run else { continue };
            let place = place_of(u32::from_le_bytes([red, green, blue, 0]), &mut slots, &mut found.palette)?;
            found.places.resize(found.places.len() + run.len(), place);
        }
    }
    Some(found)
}

/// The place of a colour, a new one if it was not met before.
fn place_of(colour: u32, slots: &mut [Option<(u32, u8)>], palette: &mut Vec<u8>) -> Option<u8> {
    // Knuth's multiplicative hash; a slot that is taken sends to the next
    let mut at = (colour.wrapping_mul(0x9E37_79B1) >> 22) as usize;
    loop {
        match slots.get_mut(at % SLOTS)? {
            Some((known, place)) if *known == colour => return Some(*place),
            Some(_) => at += 1,
            slot @ None => {
                let place = palette.len() / 3;
                if place >= MOST_COLOURS {
                    return None;
                }
                *slot = Some((colour, place as u8));
                palette.extend(colour.to_le_bytes().iter().take(3));
                return Some(place as u8);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pixels(colours: impl Iterator<Item = [u8; 3]>) -> Vec<u8> {
        colours.flat_map(|[red, green, blue]| [red, green, blue, 255]).collect()
    }

    #[test]
    fn each_colour_has_one_place_whatever_the_order() {
        let (teal, white) = ([15, 92, 92], [255; 3]);
        let rows = [[white, white, teal], [white, teal, teal], [white, teal, teal]];
        let found = indexed(&pixels(rows.into_iter().flatten()), 3).unwrap();
        assert_eq!(found.places, [0, 0, 1, 0, 1, 1, 0, 1, 1]);
        assert_eq!(found.palette, [255, 255, 255, 15, 92, 92]);
    }

    #[test]
    fn as_many_colours_as_a_byte_counts_fit_and_no_more() {
        let many = |n: u32| pixels((0..n).map(|i| [(i * 37) as u8, (i / 7) as u8, (i >> 3) as u8]));
        let colours = |pixels: &[u8]| pixels.chunks(4).collect::<std::collections::BTreeSet<_>>().len();
        let just = many(256);
        assert_eq!(colours(&just), 256);
        let found = indexed(&just, 16).unwrap();
        let shown: Vec<&[u8]> = found.places.iter().map(|p| &found.palette[3 * usize::from(*p)..][..3]).collect();
        assert!(shown.iter().zip(just.chunks(4)).all(|(shown, pixel)| *shown == &pixel[..3]));
        assert_eq!(colours(&many(257)), 257);
        assert_eq!(indexed(&many(257), 257), None);
    }
}
