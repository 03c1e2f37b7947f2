//! What a machine does: a timed simulation.
