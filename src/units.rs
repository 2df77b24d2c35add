//! Quantities: checked once, NaN refused. (placeholder until the catalogue lands)
