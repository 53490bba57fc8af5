"""Walls and edges that curve: arcs, ellipses, ovals, chains; fitted, set out, and held against what was built."""
