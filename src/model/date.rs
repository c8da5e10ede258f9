//! Calendar dates, as rules and needs carry them.

/// A day of the proleptic Gregorian calendar, without time or zone.
pub type Date = jiff::civil::Date;
