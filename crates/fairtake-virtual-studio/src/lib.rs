//! Ground truth: sources, microphones and placements whose answer is known.
