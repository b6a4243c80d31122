//! The machine in the rows that show how, in a records workbook to be filled in.

use super::Machine;

/// Its name.
pub const MACHINE: &str = "red spreader";
/// When it came into service, in ISO 8601.
pub const IN_SERVICE: &str = "2023-11-01";
/// Where it works.
pub const SITE: &str = "home yard";

/// Whether a row is the one that shows how, as it was written.
#[must_use]
pub fn is_left(machine: &Machine) -> bool {
    machine.name == MACHINE
        && machine.in_service.to_string() == IN_SERVICE
        && machine.site.as_deref() == Some(SITE)
}
