"""Data that other programs take: workbooks, CSV tables, set-out points, drawings."""
