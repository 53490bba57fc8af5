"""Two surveys of one surface: what changed, how surely, and whether it is what was planned."""
