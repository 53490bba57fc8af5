"""What a room file may hold: the keys of a job file for each surface, and what brings the surfaces together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields

from flatness.job import schema, values
from flatness.job.schema import ANY, PLACE, POSITIVE, TEXT, UPWARD, Field, Keys, Nested
from flatness.room.records import Agreed
from flatness.room.targets import WALLS

DATUM: Keys = {
    "benchmarks": Field(values.Named(ANY), "height of each benchmark above the room's datum, by its label", True),
    "error": Field(UPWARD, "of each of these heights, one standard deviation (0)"),
}
# of a surface: where it stands; all keys of a job file stand beside these
LEVEL: Keys = {
    "datum": Field(ANY, "height of its survey's datum above the room's", when="no benchmark was read"),
    "datum_error": Field(UPWARD, "of that height, one standard deviation (0)"),
}
WALL: Keys = {
    "from": Field(PLACE, "on the plan, where its x axis begins; x runs left to right as seen from the room"),
    "to": Field(PLACE, "on the plan, where its x axis ends"),
    "control_offset": Field(ANY, "how far off that line, into the room, its control line stood (0)"),
    "control_error": Field(UPWARD, "of the control line at each end, one standard deviation (1/32 in)"),
    "control": Field(TEXT, "name of the control line, where other walls were read off it, too"),
    "base": Field(ANY, "height of its y = 0 above the room's datum (0)"),
}
PLACED: Keys = {
    "name": Field(TEXT, "what it is called", True),
    "room": Field(TEXT, "which room it belongs to, where there are several"),
    **LEVEL,
    **WALL,
}
OF_JOB = ("surveys", "limits", *(name for name in schema.SINGLE if name != "surveys"), *schema.SEVERAL)
SURFACE: Keys = {**PLACED, **{name: schema.TOP[name] for name in OF_JOB}}
INHERITED = ("unit", "show", "confidence", "draws", "seed")

_PAIR = values.Many(TEXT, 'a list of names, such as ["gallery floor", "store floor"]')
_TWO = values.Many(UPWARD, 'two lengths, such as ["7 ft 2 in", "7 ft 2 1/8 in"]')
_ENDS = values.Many(PLACE, f"a list of two places, each {values.Place.such_as}")
DOOR: Keys = {
    "hinge": Field(PLACE, "on the plan", True),
    "tip": Field(PLACE, "on the plan, of the leaf's other edge, shut", True),
    "bottom": Field(ANY, "height of the underside of the leaf above the room's datum", True),
    "least": Field(UPWARD, "gap that it needs over the floor", True),
    "opens": Field(values.Choice("left", "right"), "which way it turns about its hinge, from above (left)"),
    "swing": Field(values.Number(0, 180, above=True), "how far it turns, in degrees (90)"),
}
OPENING: Keys = {
    "name": Field(TEXT, "what it is called", True),
    "jamb_left": Field(ANY, "how far it is out of plumb over its height, the top into the opening positive"),
    "jamb_right": Field(ANY, "how far it is out of plumb over its height, the top into the opening positive"),
    "head": Field(ANY, "how far it is out of level over its width, the right end up positive"),
    "diagonals": Field(_TWO, "both, corner to corner"),
    "error": Field(UPWARD, "of one of these measures, one standard deviation (1/16 in)"),
    "ends": Field(_ENDS, "of the threshold, on the plan"),
    "floors": Field(_PAIR, "surfaces that meet there; one alone with next_height"),
    "ceilings": Field(_PAIR, "two surfaces that meet over it"),
    "next_height": Field(ANY, "finished floor beyond, above the room's datum"),
    "door": Field(Nested(DOOR), "the leaf, and what it swings over"),
}
TAPE: Keys = {
    "name": Field(TEXT, "the corner", True),
    "legs": Field(_TWO, "along both walls, such as 6 ft and 8 ft", True),
    "diagonal": Field(POSITIVE, "between their ends", True),
    "error": Field(UPWARD, "of one measure, one standard deviation (1/16 in)"),
}
RECESS: Keys = {
    "name": Field(TEXT, "what is recessed", True),
    "ceiling": Field(TEXT, "the surface above: the framing that was read", True),
    "height": Field(ANY, "of the finished ceiling above the room's datum", True),
    "depth": Field(POSITIVE, "that it needs above the finished ceiling", True),
    "area": Field(values.Area(), "corners on the plan of the part where it is"),
}
KEEP: Keys = {
    "name": Field(TEXT, "what needs it, such as a bath, a stair or a door head", True),
    "surfaces": Field(_PAIR, "two walls that face, a floor and a ceiling, or one surface alone", True),
    "least": Field(POSITIVE, "that stays clear"),
    "most": Field(POSITIVE, "that may be clear"),
    "places": Field(values.Many(PLACE, f"a list of places, each {values.Place.such_as}"), "on the plan (everywhere)"),
    "height": Field(ANY, "of what stands over a floor or under a ceiling, above the room's datum"),
}
TRIM: Keys = {
    "name": Field(TEXT, "what it is called", True),
    "wall": Field(TEXT, "along which it runs", True),
    "reveal": Field(POSITIVE, "gap over the floor that is wanted", True),
    "height": Field(ANY, "of its foot above the room's datum (so high that the gap is nowhere less)"),
}
TARGETS: Keys = {
    "walls": Field(
        values.Choice(*WALLS, names=("All square", "Parallel in pairs", "Each as it is")),
        "all square, parallel in pairs, or each as it is (square)",
        label="Walls",
    ),
    "plumb": Field(schema.FLAG, "whether walls are brought to plumb (true)"),
    "level": Field(schema.FLAG, "whether floors and ceilings are brought to level (true)"),
    "setting_error": Field(UPWARD, "of setting a plane out, one standard deviation (1/32 in)"),
    "one_ceiling": Field(schema.FLAG, "whether all ceilings come to one height (true)"),
}
_AGREED_HELP = {
    "clear_height": "least (IRC: 7 ft)",
    "ceiling": "most that a ceiling falls from one end to the other (DIN 18202 table 2)",
    "ceiling_plane": "most off one plane, from lowest to highest",
    "ceiling_step": "most step between two ceilings",
    "parallel": "most taper of facing walls over their run",
    "square": "most offset of a corner over the leg (DIN 18202 table 2)",
    "leg": "over which an offset is told (the shorter wall)",
    "plumb": "most lean of a wall over the height that was read (DIN 18202 table 2)",
    "wall_foot": "most that the floor varies along a wall",
    "jamb": "most out of plumb",
    "head": "most out of level",
    "diagonals": "most difference",
    "threshold": "most step (ADA standards: 1/4 in)",
}
CHECKS: Keys = {one.name: Field(POSITIVE, _AGREED_HELP[one.name]) for one in fields(Agreed)}
SINGLE: Mapping[str, tuple[Keys, str]] = {
    "datum": (DATUM, "the one datum of the room: benchmarks that its surveys read"),
    "checks": (CHECKS, "what is agreed; a published limit counts where one is left out"),
    "targets": (TARGETS, "how the planes that all surfaces are brought to are chosen"),
}
SEVERAL: Mapping[str, tuple[Keys, str]] = {
    "surface": (SURFACE, "a floor, ceiling or wall: a job of its own, with where it stands"),
    "opening": (OPENING, "an opening, by level and tape, and what it joins"),
    "trim": (TRIM, "a trim whose foot is set to a level line along a wall"),
    "keep": (KEEP, "a clear width or height that the targets must keep"),
    "tape": (TAPE, "a corner by tape: two legs and the diagonal"),
    "recess": (RECESS, "what is recessed above a finished ceiling"),
}
ABOUT: Keys = {name: schema.ABOUT[name] for name in ("title", *INHERITED)}
TOP: Keys = {
    **ABOUT,
    **{name: Field(values.Kept(), told) for name, (_, told) in SINGLE.items()},
    **{name: Field(values.Kept(), told, name == "surface") for name, (_, told) in SEVERAL.items()},
}
