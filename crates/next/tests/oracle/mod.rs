//! What both measures are fed, and how what they say is held against each other.

pub mod legs;
pub mod plan;
pub mod rig;
