//! Every scenario.
