"""Scans: clouds of points read in one pass into surveys of a room's floor, ceiling and walls."""
