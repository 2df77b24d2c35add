//! A patient: the facts that stay the same through an episode.

use super::draw::Draw;
use super::plan::SitePlan;

/// Who comes.
#[derive(Clone, Debug)]
pub struct Patient {
    /// Opaque key, twelve hexadecimal digits, the same at every site.
    pub key: String,
    /// Position of the site where care begins.
    pub home: usize,
    /// Years.
    pub age: i64,
    /// Female or not.
    pub female: bool,
    /// Centimetres.
    pub height_cm: f64,
    /// Kilograms.
    pub mass_kg: f64,
    /// Surgery of the spine before.
    pub prior_surgery: bool,
    /// A compensation claim is open.
    pub compensation: bool,
}

impl Patient {
    /// Draws a patient from a stream of their own.
    pub fn draw(draw: &mut Draw, home: usize) -> Self {
        let key = draw.hex_key();
        let female = draw.chance(0.54);
        let age =
            if draw.chance(0.004) { draw.whole(90, 94) } else { draw.normal_within(52.0, 14.0, 18.0, 88.0) as i64 };
        let height_cm = if female {
            draw.normal_within(164.0, 6.5, 145.0, 185.0)
        } else {
            draw.normal_within(178.0, 7.0, 158.0, 202.0)
        }
        .round();
        let mass_index = draw.normal_within(27.3, 4.0, 18.5, 41.0);
        Self {
            key,
            home,
            age,
            female,
            height_cm,
            mass_kg: (mass_index * height_cm * height_cm / 10_000.0).round(),
            prior_surgery: draw.chance(0.08),
            compensation: draw.chance(0.07),
        }
    }
}

/// How long ago the trouble began.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Onset {
    /// Under 6 weeks.
    Acute,
    /// 6 to 12 weeks.
    Subacute,
    /// Over 12 weeks.
    Persistent,
}

impl Onset {
    /// Draws the class at a site's own mix.
    pub fn draw(draw: &mut Draw, site: &SitePlan) -> Self {
        let persistent = 1.0 - site.acute - site.subacute;
        match draw.weighted([site.acute, site.subacute, persistent].into_iter()) {
            0 => Self::Acute,
            1 => Self::Subacute,
            _ => Self::Persistent,
        }
    }

    /// Days since onset that fit the class.
    pub fn days(self, draw: &mut Draw) -> i64 {
        match self {
            Self::Acute => draw.whole(4, 41),
            Self::Subacute => draw.whole(43, 83),
            Self::Persistent => {
                let long = draw.unit();
                91 + (long * long * long * 1500.0) as i64 / 7 * 7
            }
        }
    }

    /// The canonical word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Acute => "acute",
            Self::Subacute => "subacute",
            Self::Persistent => "persistent",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::plan::Plan;

    #[test]
    fn bodies_are_plausible() {
        for n in 0..500 {
            let p = Patient::draw(&mut Draw::keyed(5, &["body", &n.to_string()]), 0);
            assert!((40.0..=170.0).contains(&p.mass_kg), "{p:?}");
            assert!((18..=94).contains(&p.age), "{p:?}");
            assert_eq!(p.key.len(), 12);
        }
    }

    #[test]
    fn days_since_onset_lie_inside_their_class() {
        let mut draw = Draw::keyed(5, &["onset"]);
        for _ in 0..300 {
            assert!(Onset::Acute.days(&mut draw) < 42);
            assert!((42..84).contains(&Onset::Subacute.days(&mut draw)));
            assert!(Onset::Persistent.days(&mut draw) > 84);
        }
    }

    #[test]
    fn a_site_of_persistent_patients_gets_them() {
        let plan = Plan::shipped().unwrap();
        let share = |name: &str| {
            let site = plan.sites.iter().find(|s| s.name == name).unwrap();
            let mut draw = Draw::keyed(5, &["mix", name]);
            (0..1000).filter(|_| Onset::draw(&mut draw, site) == Onset::Persistent).count()
        };
        assert!(share("Fennick Bridge") > share("Alderwick") + 150);
    }
}
