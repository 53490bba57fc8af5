"""Rooms of known truth: walls on a plan that may be turned, floor and ceiling by z; read with error or without."""

from __future__ import annotations

import numpy as np

from flatness.room.records import Level, Room, RoomSurface, WallLine
from flatness.survey.readings import make_survey

FT, IN = 304.8, 25.4


def turned(places, degrees, about=(0.0, 0.0)):
    """Places on the plan turned about one of them, counterclockwise."""
    angle = np.radians(degrees)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return np.asarray(about) + (np.asarray(places, dtype=float) - about) @ turn.T


def level_surface(kind, height, length=4000.0, width=3000.0, *, name=None, error=0.0, noise=0.0, seed=1, step=500.0):
    """A floor or ceiling from its z(x, y) [mm]."""
    x, y = (v.ravel() for v in np.meshgrid(np.arange(0, length + 1, step), np.arange(0, width + 1, step)))
    up = -1.0 if kind == "ceiling" else 1.0
    heights = up * height(x, y) + np.random.default_rng(seed).normal(0, noise, x.shape)
    survey = make_survey(x, y, heights, surface=kind, reference="level", accuracy=noise or 0.02, unit="mm")
    return RoomSurface(name=name or kind, survey=survey, level=Level(error=error))


def wall(name, start, end, off=lambda x, y: 0.0 * x, *, height=2500.0, noise=0.0, seed=1, step=500.0, **options):
    """A wall from how far it stands into the room at x along it and y up it [mm], off the line from start to end."""
    run = float(np.hypot(*np.subtract(end, start)))
    across = np.linspace(0, run, round(run / step) + 1)
    x, y = (v.ravel() for v in np.meshgrid(across, np.linspace(0, height, 4)))
    offset = options.get("offset", 0.0)
    heights = off(x, y) - offset + np.random.default_rng(seed).normal(0, noise, x.shape)
    survey = make_survey(x, y, heights, surface="wall", reference="plumb", accuracy=noise or 0.02, unit="mm")
    options = {"error": 0.0, **options}
    return RoomSurface(name=name, survey=survey, wall=WallLine(start=tuple(start), end=tuple(end), **options))


def four_walls(corners, names=("south", "west", "north", "east"), **options):
    """Straight plumb walls through four corners of the plan, given clockwise."""
    return [wall(name, corners[i], corners[(i + 1) % 4], **options) for i, name in enumerate(names)]


def room(*surfaces, **options):
    """A room of these surfaces."""
    return Room(title="built", surfaces={one.name: one for one in surfaces}, show="mm", **options)
