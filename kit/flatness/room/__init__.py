"""Several surfaces of one room on one datum, and one target for all."""
