"""Numbers that describe a surface."""
