//! later
use crate::replay::Outcome;
/// later
pub fn page(_outcome: &Outcome) -> String {
    String::new()
}
