"""The controls of the Plan panel: what a person asks for, written into the state and read from it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from flatness.corrections.beneath import KINDS as BENEATH_KINDS
from flatness.corrections.members import KINDS as MEMBER_KINDS
from flatness.corrections.ways import PROPOSED
from flatness.errors import ArgumentError
from flatness.lengths import MM3_PER_FT3, MM3_PER_LITRE
from flatness.show.panels.check_state import AgreedNumbers
from flatness.show.panels.controls import (
    button,
    drop_down,
    is_filling,
    label_of,
    text_field,
    toggles,
    unit_switch,
)
from flatness.show.panels.plan_asked import Spot
from flatness.show.panels.plan_filling import fill_controls, fill_sliders
from flatness.show.panels.plan_look import slider
from flatness.show.panels.plan_more import MoreControls
from flatness.show.panels.plan_state import SUREST, PlanState
from flatness.show.panels.plan_typed import TypedControls

TIMES = (0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0)
NOT_ASKED = (
    "pointer", "draft", "plan", "schedule", "ways", "share", "progress", "running", "working", "problems", "saved",
    "current", "sure",
)  # fmt: skip
WAY_NAMES = {
    "Best way": PROPOSED, "Patches": "patches", "All members": "members", "Some members": "some-members",
    "Over all": "overlay",
}  # fmt: skip
AIMS: dict[str, Any] = {
    "Surest: as tight as it takes": SUREST, "To the limit itself": 1.0, "To 85 % of the limit": 0.85,
    "To 70 % of the limit": 0.7, "To 55 % of the limit": 0.55, "To 40 % of the limit": 0.4,
}  # fmt: skip


class PlanControls(TypedControls):
    """All controls of the Plan panel but the survey, the map and the files.

    Attributes
    ----------
    asked, costs, ground, spots : the controls by group, in order
    more : those that are seldom used
    """

    def __init__(self, state: PlanState) -> None:
        super().__init__(state)
        self.stepped: tuple[Any, float, tuple[tuple[str, float], ...]] = (None, 0.0, ())
        self._make_asked()
        self._make_costs()
        self._make_ground()
        self._make_spots()
        self.more = MoreControls(state)
        state.observe(self.fill)
        state.choice.observe(self.fill, "survey")
        self.fill()

    # made, by group

    def _make_asked(self) -> None:
        state, guard = self.state, self.state.guard
        self.units = unit_switch(state.unit, guard(state.choose_unit))
        self.finish = drop_down("Finish to come", "Whose limits the finished surface shall meet", (), "finish")
        self.agreed_length = text_field("Agreed straightedge", "Length of the straightedge that was agreed")
        self.agreed_gap = text_field("Agreed gap", "The gap that was agreed to be allowed under it")
        self.way = drop_down("Way", "How the work is done; all ways stand side by side below", WAY_NAMES.items(), "way")
        self.plane = drop_down("Plane", "That all members, or a layer over all, are set to", (), "way")
        self.target = drop_down("Bring patches to", "What patches bring the surface to", (), "finish")
        self.aim = drop_down(
            "How tight", "Readings have an error: planning tighter than the limit makes it surer to pass", AIMS.items(),
            "way",
        )  # fmt: skip
        self.on = drop_down(
            "Plan on", "The likely surface does not plane off the error of the readings",
            {"The likely surface": "likely", "The readings as they are": "as-read"}.items(), "way",
        )  # fmt: skip
        self.height = slider(
            "Level plane below the proudest spot", "How far the level plane lies below the proudest spot; 0 touches it",
            [("0", 0.0)],
        )  # fmt: skip
        self.level_within = text_field(
            "Level within", "Hold the whole finished surface between two level planes so far apart; empty: need not be"
        )
        self.finish.observe(guard(self._chosen(state.choose_finish)), "value")
        for field in (self.agreed_length, self.agreed_gap):
            field.observe(guard(self._agreed_typed), "value")
        self.way.observe(guard(self._chosen(lambda key: state.set_trait("way", key))), "value")
        self.plane.observe(guard(self._chosen(lambda key: state.set_trait("plane", key))), "value")
        self.target.observe(guard(self._chosen(lambda key: state.set_trait("target", key))), "value")
        self.aim.observe(guard(self._chosen(lambda value: state.set_trait("aim", value))), "value")
        self.on.observe(guard(self._chosen(lambda key: state.set_trait("on", key))), "value")
        self.height.observe(guard(self._height_moved), "value")
        self._reads(self.level_within, "level_within", self._small)
        self.asked = [
            self.finish, self.agreed_length, self.agreed_gap, self.way, self.plane, self.target, self.aim, self.on,
            self.level_within,
        ]  # fmt: skip

    def _make_costs(self) -> None:
        state, guard = self.state, self.state.guard
        self.times = slider(
            "Taking off costs [times what adding costs]", "By volume: 2 means that planing a litre is worth adding two",
            [(f"{value:g} times", value) for value in TIMES],
        )  # fmt: skip
        self.price = text_field("Adding costs", "Your price of a volume added; empty: costs are told as material")
        self.cut = text_field("Take off at most", "The deepest that you allow to come off; empty: as what lies beneath")
        self.fill_most = text_field("Add at most", "The deepest that you allow to be added; empty: any")
        self.deepest_fill = text_field(
            "Fill at most, then frame", "Deeper hollows are sistered or furred; empty: 1/2 in (12.7 mm)"
        )
        self.times.observe(guard(self._chosen(lambda value: state.set_trait("off_times", float(value)))), "value")
        self.price.observe(guard(self._price_typed), "value")
        for field, name in ((self.cut, "cut"), (self.fill_most, "fill"), (self.deepest_fill, "deepest_fill")):
            self._reads(field, name, self._small)
        self.costs = [self.times, self.price, self.cut, self.fill_most, self.deepest_fill]

    def _make_ground(self) -> None:
        known = [("Not known: nothing comes off", ""), *((name.capitalize(), name) for name in BENEATH_KINDS)]
        self.beneath = drop_down("What lies beneath", "What the surface is made of, or lies on", known, "way")
        self.may_be_planed = drop_down(
            "May it be taken down?", "Say yes only where you have seen what is there", {
                "No, or not seen": "", "Yes: seen, and it may be": "yes",
            }.items(), "way",
        )  # fmt: skip
        self.most_planed = text_field("Taken down at most", "How deep at most; empty: 1/8 in (3.2 mm)")
        kinds = [("(none given)", ""), *((name, name) for name in MEMBER_KINDS)]
        self.members = drop_down("Members", "What the surface is framed with: it gives the schedule", kinds, "way")
        self.direction = drop_down(
            "They run", "Along which side", {"along x": "x", "along y": "y"}.items(), "short"
        )  # fmt: skip
        self.first = text_field("First member at", "Centre line of the first member, across the members")
        self.spacing = text_field("Spacing", "Centre to centre")
        self.depth = text_field("Depth", "Of the members; notch limits of sawn joists need it")
        self.bearings = text_field(
            "Bearings at", "Where the members are carried, along them, with ; between: 0; 10 ft; 22 ft", "", "way"
        )
        values: Callable[[Any], Any] = lambda widget: widget.value  # noqa: E731
        under = {
            "kind": (self.beneath, values), "may_be_planed": (self.may_be_planed, lambda widget: widget.value == "yes"),
            "most_planed": (self.most_planed, self._small),
        }  # fmt: skip
        framing = {
            "kind": (self.members, values), "direction": (self.direction, values), "first": (self.first, self._inches),
            "spacing": (self.spacing, self._inches), "depth": (self.depth, self._small),
            "bearings": (self.bearings, self._bearings),
        }  # fmt: skip
        for parts, act in ((under, self._under_chosen), (framing, self._framing_chosen)):
            for name, (widget, read) in parts.items():
                widget.observe(self.state.guard(self._read_into(act, name, widget, read)), "value")
        self.ground = [widget for parts in (under, framing) for widget, _ in parts.values()]
        self.framing = [widget for widget, _ in framing.values()][1:]

    def _make_spots(self) -> None:
        state, guard = self.state, self.state.guard
        self.clicking = toggles(
            "A click on the map", "What a click on the map does", {"reads it": "", "fixes a spot": "spot"},
            ("Nothing is changed by a click", "Each click fixes a spot as the fields beside say"),
        )  # fmt: skip
        self.spot_name = text_field("Name of the spot", "As you call it: sill, hearth, nosing")
        self.raised = text_field("Raise it by", "0 leaves the spot as it was found; below zero lowers it", "0")
        self.allowance = text_field("Give or take", "How far off the finished height may be there", "0")
        self.meant = drop_down(
            "If that is far off the surface", "A spot far above or below what is there moves much of the surface", {
                "ask me": "", "it is meant": "yes",
            }.items(), "short",
        )  # fmt: skip
        self.spot_x = text_field("Spot at x", "Where the spot is; or click it on the map")
        self.spot_y = text_field("Spot at y", "Where the spot is; or click it on the map")
        self.fix = button("Fix this spot", "At the place typed", guard(self._spot_typed))
        self.fixed = drop_down("Fixed spots", "The spots that are fixed, as they are numbered on the map", (), "finish")
        self.free = button("Free it again", "Take the spot chosen in the list off", guard(self._spot_freed))
        self.clicking.observe(guard(lambda change: state.set_trait("clicking", bool(change["new"]))), "value")
        self.spots = [
            self.clicking, self.spot_name, self.raised, self.allowance, self.meant, self.spot_x, self.spot_y,
            self.fix, self.fixed, self.free,
        ]  # fmt: skip

    # what a person does

    @staticmethod
    def _read_into(
        act: Callable[[str, Any], Any], name: str, widget: Any, read: Callable[[Any], Any]
    ) -> Callable[[Any], None]:
        def chosen(_: Any) -> None:
            if not is_filling(widget):
                act(name, read(widget))

        return chosen

    def _reads(self, field: Any, name: str, read: Callable[[Any], float | None]) -> None:
        def typed(_: Any) -> None:
            if is_filling(field):
                return
            value = read(field)
            if value is not None and value < 0:
                raise ArgumentError(
                    "a depth below zero", column=label_of(field), value=field.value, expected="a length, 0 or more",
                    remedy="type how deep it is, without a sign",
                )  # fmt: skip
            self.state.set_trait(name, value)

        field.observe(self.state.guard(typed), "value")

    def _agreed_typed(self, change: Any) -> None:
        if not is_filling(change["owner"]):
            gap = self._inches(self.agreed_gap)
            self.state.agreed = AgreedNumbers(self._far(self.agreed_length), gap)

    def _height_moved(self, change: Any) -> None:
        surface = self.state.surface
        if surface is not None and not is_filling(self.height):
            self.state.height = float(surface.height[surface.inside].max()) - float(change["new"])

    def _price_typed(self, change: Any) -> None:
        if is_filling(self.price):
            return
        text = change["new"].strip().replace(",", ".")
        try:
            price = float(text) if text else None
        except ValueError:
            price = -1.0
        if price is not None and not 0 < price < 1e12:
            raise ArgumentError(
                "not a price", column=label_of(self.price), value=change["new"], expected="a number above zero",
                remedy="type the price of a volume, such as 120, or leave it empty",
            )  # fmt: skip
        self.state.price = None if price is None else price / self.volume

    @property
    def volume(self) -> float:
        """[mm3] of the volume that a price is for."""
        return MM3_PER_FT3 if self.state.unit == "in" else MM3_PER_LITRE

    def _under_chosen(self, name: str, value: Any) -> None:
        self.state.under = replace(self.state.under, **{name: value})

    def _framing_chosen(self, name: str, value: Any) -> None:
        self.state.framing = replace(self.state.framing, **{name: value})

    def _bearings(self, field: Any) -> tuple[float, ...]:
        bearings = self._listed(field)
        if len(bearings) == 1 or list(bearings) != sorted(set(bearings)):
            raise ArgumentError(
                "not bearings", column=label_of(field), value=field.value,
                expected="two places or more, rising, with ; between", remedy="type both ends, or leave it empty",
            )  # fmt: skip
        return bearings

    def spot_at(self, x: float, y: float) -> None:
        """Fix a spot at a place [mm] as the fields say."""
        allowance = self._small(self.allowance) or 0.0
        raised, name = self._small(self.raised) or 0.0, self.spot_name.value.strip()
        self.state.add_spot(Spot(x, y, raised, allowance, name, bool(self.meant.value)))

    def _spot_typed(self, _: Any) -> None:
        self.spot_at(self._far(self.spot_x), self._far(self.spot_y))

    def _spot_freed(self, _: Any) -> None:
        if self.fixed.value not in ("", None):
            self.state.drop_spot(int(self.fixed.value))

    # what the state says

    def fill(self, change: Any = None) -> None:
        """Show in each control what the state holds."""
        name = None if change is None else change["name"]
        if name in ("height", "off_times"):
            fill_sliders(self)  # a slider that moves changes nothing else
        elif name not in NOT_ASKED:
            fill_controls(self)
