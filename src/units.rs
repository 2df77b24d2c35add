//! Quantities that are checked once: finite, and never NaN.
//!
//! Each is eight bytes, and so is `Option` of each: the upper half of the number's bits is kept XOR that of
//! a NaN, which a finite number can never equal, so that zero is free to mean "absent". In two halves, so that
//! four-byte fields beside it leave no gap.
//!
//! Factors: NIST Special Publication 811 (2008), appendix B.8; lbf = 4.448 221 615 260 5 N,
//! kgf = 9.806 65 N, inch = 25.4 mm and pound = 0.453 592 37 kg are exact there.

use std::fmt;
use std::num::NonZeroU32;

const UPPER_HALF_OF_NAN: u32 = 0x7ff8_0000;

/// A finite number in eight bytes with a free pattern for "absent".
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
struct Finite {
    upper: NonZeroU32,
    lower: u32,
}

impl Finite {
    fn new(value: f64) -> Option<Self> {
        // + 0.0 turns -0.0 into 0.0, so that equal numbers have equal bits
        let bits = (value + 0.0).to_bits();
        let (upper, lower) = ((bits >> 32) as u32, bits as u32);
        let upper = NonZeroU32::new(upper ^ UPPER_HALF_OF_NAN).filter(|_| value.is_finite())?;
        Some(Self { upper, lower })
    }

    fn get(self) -> f64 {
        f64::from_bits(u64::from(self.upper.get() ^ UPPER_HALF_OF_NAN) << 32 | u64::from(self.lower))
    }
}

macro_rules! quantity {
    ($($name:ident $unit:literal $inside:expr, $doc:literal;)*) => {$(
        #[doc = $doc]
        #[derive(Clone, Copy, PartialEq, Eq, Hash)]
        pub struct $name(Finite);

        impl $name {
            /// From a number; `None` when it is NaN, infinite or out of range.
            pub fn new(value: f64) -> Option<Self> {
                let inside: fn(f64) -> bool = $inside;
                inside(value).then(|| Finite::new(value)).flatten().map(Self)
            }

            pub fn get(self) -> f64 {
                self.0.get()
            }
        }

        impl PartialOrd for $name {
            fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
                Some(self.cmp(other))
            }
        }

        impl Ord for $name {
            fn cmp(&self, other: &Self) -> std::cmp::Ordering {
                self.get().total_cmp(&other.get())
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{} {}", self.get(), $unit)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{} {}", self.get(), $unit)
            }
        }
    )*};
}

quantity! {
    Newtons "N" |_| true, "A force in newtons; finite.";
    Kilograms "kg" |_| true, "A mass in kilograms; finite.";
    Millimetres "mm" |_| true, "A length in millimetres; finite.";
    Seconds "s" |_| true, "A time in seconds; finite.";
    Minutes "min" |_| true, "A time in minutes; finite.";
    Degrees "°" |_| true, "An angle in degrees; finite.";
    Share "" |x| (0.0..=1.0).contains(&x), "A share, 0 to 1.";
    Percent "%" |_| true, "A percentage; finite.";
    Burden "" |x| (0.0..=100.0).contains(&x), "A score on the common scale: 0 is best, 100 is worst.";
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Dimension {
    /// Force; SI unit N.
    Force,
    /// Length; in millimetres, as the trade writes gaps.
    Length,
    /// Mass; SI unit kg.
    Mass,
    /// Time; in seconds.
    Time,
    /// Angle; in degrees.
    Angle,
}

/// A unit that an export may use.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Unit {
    Newton,
    /// lbf, in force columns also written lb.
    PoundForce,
    /// kgf, in force columns also written kg or kp.
    KilogramForce,
    /// Percent of the patient's body weight.
    PercentBodyWeight,
    Millimetre,
    Centimetre,
    Inch,
    Kilogram,
    Pound,
    Second,
    Minute,
    /// Degree of arc.
    Degree,
}

/// Standard acceleration of gravity, m/s2 (NIST SP 811, B.8; exact by convention).
pub const STANDARD_GRAVITY: f64 = 9.806_65;
/// A pound-force in newtons.
pub const POUND_FORCE: f64 = 4.448_221_615_260_5;
/// An inch in millimetres.
pub const INCH: f64 = 25.4;

impl Dimension {
    /// The spellings of its units for messages.
    pub fn units(self) -> &'static str {
        match self {
            Self::Force => "N, lbf, kgf or %BW (percent of body weight)",
            Self::Length => "mm, cm or in",
            Self::Mass => "kg or lb",
            Self::Time => "s or min",
            Self::Angle => "deg",
        }
    }
}

impl Unit {
    /// The unit a text names in a column of a dimension; case does not matter.
    /// In a force column `lb` is pound-force and `kg` kilogram-force.
    pub fn parse(text: &str, dimension: Dimension) -> Option<Self> {
        let lower = text.trim().trim_end_matches('.').to_lowercase();
        Some(match (dimension, lower.as_str()) {
            (Dimension::Force, "n" | "newton" | "newtons") => Self::Newton,
            (Dimension::Force, "lbf" | "lb" | "lbs" | "pound" | "pounds" | "#") => Self::PoundForce,
            (Dimension::Force, "kgf" | "kg" | "kp" | "kilogram-force") => Self::KilogramForce,
            (Dimension::Force, "%bw" | "% bw" | "%" | "percent of body weight") => Self::PercentBodyWeight,
            (Dimension::Length, "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters") => Self::Millimetre,
            (Dimension::Length, "cm" | "centimetre" | "centimetres" | "centimeter" | "centimeters") => Self::Centimetre,
            (Dimension::Length, "in" | "inch" | "inches" | "\"" | "″" | "zoll") => Self::Inch,
            (Dimension::Mass, "kg" | "kilogram" | "kilograms") => Self::Kilogram,
            (Dimension::Mass, "lb" | "lbs" | "pound" | "pounds") => Self::Pound,
            (Dimension::Time, "s" | "sec" | "secs" | "second" | "seconds" | "sek") => Self::Second,
            (Dimension::Time, "min" | "mins" | "minute" | "minutes" | "'") => Self::Minute,
            (Dimension::Angle, "deg" | "°" | "degree" | "degrees" | "grad") => Self::Degree,
            _ => return None,
        })
    }

    pub fn dimension(self) -> Dimension {
        match self {
            Self::Newton | Self::PoundForce | Self::KilogramForce | Self::PercentBodyWeight => Dimension::Force,
            Self::Millimetre | Self::Centimetre | Self::Inch => Dimension::Length,
            Self::Kilogram | Self::Pound => Dimension::Mass,
            Self::Second | Self::Minute => Dimension::Time,
            Self::Degree => Dimension::Angle,
        }
    }

    /// How many N, mm, kg, s or degrees one is; `None` for percent of body weight, which needs the body's mass.
    pub fn factor(self) -> Option<f64> {
        Some(match self {
            Self::Newton | Self::Millimetre | Self::Kilogram | Self::Second | Self::Degree => 1.0,
            Self::PoundForce => POUND_FORCE,
            Self::KilogramForce => STANDARD_GRAVITY,
            Self::Centimetre => 10.0,
            Self::Inch => INCH,
            Self::Pound => 0.453_592_37,
            Self::Minute => 60.0,
            Self::PercentBodyWeight => return None,
        })
    }

    /// Its spelling in mappings and messages.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Newton => "N",
            Self::PoundForce => "lbf",
            Self::KilogramForce => "kgf",
            Self::PercentBodyWeight => "%BW",
            Self::Millimetre => "mm",
            Self::Centimetre => "cm",
            Self::Inch => "in",
            Self::Kilogram => "kg",
            Self::Pound => "lb",
            Self::Second => "s",
            Self::Minute => "min",
            Self::Degree => "deg",
        }
    }
}

/// The weight of a body mass in newtons: m g with standard gravity.
pub fn body_weight_n(mass: Kilograms) -> f64 {
    mass.get() * STANDARD_GRAVITY
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantity_refuses_what_is_not_a_number_and_costs_nothing_when_absent() {
        assert_eq!(size_of::<Option<Newtons>>(), 8);
        assert_eq!(Newtons::new(f64::NAN), None);
        assert_eq!(Newtons::new(f64::INFINITY), None);
        assert_eq!(Share::new(1.01), None);
        assert_eq!(Burden::new(-0.01), None);
        for value in [0.0, -0.0, 1.5, -3.0, f64::MAX, f64::MIN_POSITIVE] {
            assert_eq!(Newtons::new(value).map(Newtons::get), Some(value));
        }
        assert_eq!(Newtons::new(0.0), Newtons::new(-0.0));
        assert!(Newtons::new(-2.0) < Newtons::new(1.0));
    }

    #[test]
    fn nist_sp_811_appendix_b_factors() {
        let factor = |text, dimension| Unit::parse(text, dimension).and_then(Unit::factor);
        assert_eq!(factor("lbf", Dimension::Force), Some(4.448_221_615_260_5)); // B.8: 4.448 222 E+00, footnote exact
        assert_eq!(factor("kgf", Dimension::Force), Some(9.806_65));
        assert_eq!(factor("in", Dimension::Length), Some(25.4));
        assert_eq!(factor("lb", Dimension::Mass), Some(0.453_592_37));
        assert_eq!(factor("min", Dimension::Time), Some(60.0));
        // 40 lbf, a usual start of the return tension
        assert!((40.0 * 4.448_221_615_260_5 - 177.928_864_610_42_f64).abs() < 1e-12);
    }

    #[test]
    fn lb_and_kg_are_forces_in_a_force_column_and_masses_in_a_mass_column() {
        assert_eq!(Unit::parse("lb", Dimension::Force), Some(Unit::PoundForce));
        assert_eq!(Unit::parse(" LB. ", Dimension::Mass), Some(Unit::Pound));
        assert_eq!(Unit::parse("kg", Dimension::Force), Some(Unit::KilogramForce));
        assert_eq!(Unit::parse("mm", Dimension::Force), None);
        for unit in [Unit::Newton, Unit::PercentBodyWeight, Unit::Inch, Unit::Minute, Unit::Degree] {
            assert_eq!(Unit::parse(unit.symbol(), unit.dimension()), Some(unit));
        }
    }

    #[test]
    fn standard_gravity_turns_mass_into_weight() {
        let mass = Kilograms::new(80.0).unwrap();
        assert!((body_weight_n(mass) - 784.532).abs() < 1e-9);
    }
}
