"""Readings taken one after another at the laser: each held at once against those before, until the verdict stands."""
