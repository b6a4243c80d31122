//! The mark of a workbook that holds results and no records.

/// A name that every workbook of results defines: one that is kept beside the records is known by it
/// and passed over, whatever its sheets are called and whoever saved it again.
pub const NAME: &str = "wearcast_results";
