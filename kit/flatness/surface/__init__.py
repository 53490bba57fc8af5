"""The surface between the readings."""
