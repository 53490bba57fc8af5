"""Walls and edges that curve: arcs, ellipses, ovals, chains; fitted, set out, and compared with what was built."""
