//! What both measures are fed, and how what they say is held against each other.

#![allow(dead_code, reason = "each test uses a part")]

pub mod legs;
pub mod plan;
pub mod rig;
