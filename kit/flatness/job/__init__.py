"""A whole job in one file: surveys, limits, plan, members, what the change meets, comparison; read, checked, run."""
