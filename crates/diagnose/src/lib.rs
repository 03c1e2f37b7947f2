//! What is wrong with the machine: exact probabilities from what was reported.

pub mod evidence;
