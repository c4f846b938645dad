"""Jobs, slots, decisions, assignments and refusals: what stands between roster and tower."""
