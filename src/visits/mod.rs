//! Rows -> canonical visits: no duplicate, each with its dose.
