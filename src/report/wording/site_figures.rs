//! Words that several figures and sheets about sites share.

use super::{decimal, percent, range};
use crate::models::sites::cases::Quantity;

/// At the group's line.
pub const GROUP: &str = "whole group";
/// At the outer limits.
pub const LIMIT_998: &str = "chance, 99.8\u{a0}%";
/// At the inner limits.
pub const LIMIT_95: &str = "chance, 95\u{a0}%";

/// Whether sites are compared on a share, written in percent.
pub fn is_share(quantity: Quantity) -> bool {
    match quantity {
        Quantity::Response | Quantity::FollowedUp => true,
        Quantity::Change => false,
    }
}

/// What sites are compared on, as the title of an axis.
pub fn axis(quantity: Quantity, measure: &str) -> String {
    match quantity {
        Quantity::Response => format!("share with a minimal important change, {measure}"),
        Quantity::Change => format!("fall of burden, {measure}, points of 100"),
        Quantity::FollowedUp => format!("share with baseline and endpoint, {measure}"),
    }
}

/// A value of that quantity.
pub fn value(value: f64, quantity: Quantity, decimals: usize) -> String {
    if is_share(quantity) { percent(value) } else { decimal(value, decimals) }
}

/// Two values of that quantity.
pub fn between(limits: (f64, f64), quantity: Quantity) -> String {
    if is_share(quantity) {
        format!("{} to {}", percent(limits.0), percent(limits.1))
    } else {
        range(limits.0, limits.1, 1)
    }
}
