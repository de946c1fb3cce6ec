//! Settings: what the leg is and what it is held against; and the plan derived from them, which is all that a box runs on.

pub mod plan;
