"""Quantities of a plan: fill by volume and by bag, what it weighs where it is deepest, what is planed, what to buy.

Every number that is not measured is a :class:`Setting`, shown with its source or as "set by you".
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from flatness.errors import ArgumentError, check_choice
from flatness.framing.cutting import KERF_MM, CutPlan, cut_stock
from flatness.lengths import MM3_PER_FT3, settle
from flatness.notes import Note
from flatness.planning.volumes import cut_and_fill
from flatness.surroundings.cautions import Caution, cautions_for
from flatness.surroundings.finished_surface import Planned, target_heights

SET_BY_YOU = "set by you"
GRAVITY = 9.80665  # m/s2, standard gravity (CGPM 1901)
POUND_KG = 0.45359237  # international pound, 1959
_LB_FT3 = POUND_KG / MM3_PER_FT3


@dataclass(frozen=True)
class Setting:
    """A number that a quantity rests on and that no reading gives.

    Attributes
    ----------
    name, value, unit : what it is
    source : where it comes from, or ``set by you``
    """

    name: str
    value: float
    unit: str
    source: str


DEFAULTS: dict[str, Setting] = {
    setting.name: setting
    for setting in (
        Setting(
            "bag_yield",
            0.42 * MM3_PER_FT3,
            "mm3 a bag",
            "0.42 ft3, the lesser yield of a 50 lb bag of self-levelling underlayment, as quoted by its trade",
        ),
        Setting("fill_density", 120 * _LB_FT3, "kg/mm3", "cement fill, wet, about 120 lb/ft3; from memory"),
        Setting("sister_density", 40 * _LB_FT3, "kg/mm3", "LVL, about 40 lb/ft3, as quoted by its trade"),
        Setting("strapping_density", 28 * _LB_FT3, "kg/mm3", "spruce, about 28 lb/ft3; computed"),
        Setting("spare", 0.0, "share added", "none was set"),
        Setting("kerf", KERF_MM, "mm", "a saw blade of about 1/8 in; common practice, no source"),
        Setting("gravity", GRAVITY, "m/s2", "standard gravity, CGPM 1901"),
    )
}

DENSITY_OF = {"sisters": "sister_density", "strapping": "strapping_density"}

# what levels itself on a floor does not hang from a ceiling: there and on walls hollows are skimmed
SKIMMED = {
    "bag_yield": replace(
        DEFAULTS["bag_yield"],
        value=0.4 * MM3_PER_FT3,
        source="about 0.4 ft3 from a 25 lb bag of setting compound to skim with; from memory",
    ),
    "fill_density": replace(
        DEFAULTS["fill_density"], value=100 * _LB_FT3, source="setting compound, wet, about 100 lb/ft3; from memory"
    ),
}


@dataclass(frozen=True, eq=False, kw_only=True)
class Quantities:
    """What a plan takes.

    Attributes
    ----------
    fill_volume, cut_volume : [mm3], without spare
    fill_area, planed_area : [mm2]
    bags : whole bags of fill, spare included
    fill_mass, sister_mass : [kg], spare not included; the latter of the strapping, where that is what is framed with
    greatest_load : added dead load where the fill is deepest [Pa], and ``load_at``, (x, y) [mm]; None without fill
    lengths : what to buy for the sisters or the strapping, or None
    settings : DataFrame ``name, value, unit, source`` of all that is not measured
    cautions : that go with it
    framed : ``sisters`` or ``strapping``, and ``pieces`` how many of them
    """

    fill_volume: float
    cut_volume: float
    fill_area: float
    planed_area: float
    bags: int
    fill_mass: float
    sister_mass: float
    greatest_load: float
    load_at: tuple[float, float] | None
    lengths: CutPlan | None
    settings: pd.DataFrame
    cautions: tuple[Caution, ...]
    framed: str = "sisters"
    pieces: int = 0

    @property
    def table(self) -> pd.DataFrame:
        """DataFrame ``quantity, value, unit, from`` of all of it."""
        deepest = Note("deepest-fill-at", at=self.load_at) if self.load_at else "no fill"
        rows: list[tuple[str, float, str, str]] = [
            ("fill volume", self.fill_volume, "mm3", "the change above zero, split at the line of no change"),
            ("filled area", self.fill_area, "mm2", "where the change is above zero, with feathered edges"),
            ("bags of fill", self.bags, "bags", "volume with spare over the yield of a bag, rounded up"),
            ("mass of fill", self.fill_mass, "kg", "volume x density"),
            ("greatest added dead load", self.greatest_load, "Pa", deepest),
            ("planed volume", self.cut_volume, "mm3", "the change below zero, split at the line of no change"),
            ("planed area", self.planed_area, "mm2", "where the change is below zero, with feathered edges"),
        ]
        if self.pieces:
            rows.append((self.framed, self.pieces, "pieces", "as listed"))
            rows.append((f"mass of {self.framed}", self.sister_mass, "kg", "volume x density"))
        if self.lengths is not None:
            least, gap = self.lengths.is_optimal, 100 * self.lengths.gap
            how = "proven least" if least else f"a better plan could save at most {gap:.2g} %"
            bought = "strapping to buy" if self.framed == "strapping" else "stock to buy"
            rows.append((bought, self.lengths.bought_mm, "mm", how))
            rows.append(("waste of it", self.lengths.waste_mm, "mm", "bought less used"))
        return pd.DataFrame(rows, columns=["quantity", "value", "unit", "from"])


def settings_of(**values: float | None) -> dict[str, Setting]:
    """The settings with the user's own values in place of defaults; None keeps the default.

    Raises
    ------
    ArgumentError : an unknown name, or a value that is not a finite number above zero (spare and kerf: 0 or more)

    Examples
    --------
    >>> settings_of(kerf=2.4)["kerf"].source
    'set by you'
    """
    chosen = dict(DEFAULTS)
    for name, value in values.items():
        check_choice("settings", name, DEFAULTS, "unknown setting")
        if value is None:
            continue
        least_is_zero = name in ("spare", "kerf")
        if not math.isfinite(value) or value < 0 or (value == 0 and not least_is_zero):
            expected = f"{DEFAULTS[name].unit}, {'0 or more' if least_is_zero else 'above zero'}"
            raise ArgumentError(f"{name} out of range", column=name, value=str(value), expected=expected)
        chosen[name] = Setting(name, float(value), DEFAULTS[name].unit, SET_BY_YOU)
    return chosen


def settings_for(surface: str, settings: Mapping[str, Setting] | None = None) -> dict[str, Setting]:
    """The settings for a ``floor``, ``ceiling`` or ``wall``: what the user has not set fits the surface.

    Examples
    --------
    >>> settings_for("ceiling")["bag_yield"].source[-11:], settings_for("ceiling")["kerf"] == DEFAULTS["kerf"]
    ('from memory', True)
    """
    chosen = dict(DEFAULTS if settings is None else settings)
    own = {} if surface == "floor" else SKIMMED
    return {name: own.get(name, one) if one == DEFAULTS[name] else one for name, one in chosen.items()}


def settings_table(settings: Mapping[str, Setting]) -> pd.DataFrame:
    """The settings as a DataFrame: ``name, value, unit, source``."""
    rows = [(s.name, s.value, s.unit, s.source) for s in settings.values()]
    return pd.DataFrame(rows, columns=["name", "value", "unit", "source"])


def bags_of(volume: float, bag_yield: float, spare: float = 0.0) -> int:
    """Whole bags for a volume [mm3], each giving ``bag_yield`` [mm3], with ``spare`` (a share) added.

    >>> bags_of(1000.0, 250.0), bags_of(1000.1, 250.0), bags_of(1000.0, 250.0, spare=0.1)
    (4, 5, 5)
    """
    return math.ceil(settle(volume * (1 + spare) / bag_yield))


def quantities(
    plan: Planned,
    *,
    fill: NDArray[np.bool_] | None = None,
    plane: NDArray[np.bool_] | None = None,
    sisters: Sequence[float] = (),
    sister_section: tuple[float, float] | None = None,
    stock: Sequence[float] | Mapping[float, float] | None = None,
    settings: Mapping[str, Setting] | None = None,
    framed: str = "sisters",
) -> Quantities:
    """What a plan takes.

    Parameters
    ----------
    plan : anything with ``.surface`` and ``.change`` ([ny, nx] mm, adding positive)
    fill, plane : [ny, nx] True at the nodes that are filled, and planed; None takes all, which is right only
        where everything added is fill
    sisters : length of each sister, or strap [mm]
    sister_section : depth and thickness of a sister or strap [mm], from which its mass comes
    stock : lengths on sale [mm], or their prices by length; see :func:`flatness.framing.cutting.cut_stock`
    settings : from :func:`settings_of`
    framed : ``sisters`` or ``strapping``: what the lengths are of

    Returns
    -------
    Quantities

    Raises
    ------
    ArgumentError : masks of another shape, sisters without a section, or stock without sisters
    """
    chosen = dict(DEFAULTS if settings is None else settings)
    check_choice("framed", framed, DENSITY_OF, "unknown framing")
    target_heights(plan)
    added = _masked(plan, fill, "fill", positive=True)
    removed = _masked(plan, plane, "plane", positive=False)
    up, down = (cut_and_fill(change, plan.surface.spacing) for change in (added, removed))
    deepest, load_at = 0.0, None
    if np.nanmax(added, initial=0.0) > 0:
        deepest = float(np.nanmax(added))
        row, column = np.unravel_index(int(np.nanargmax(added)), added.shape)
        load_at = (float(plan.surface.x[column]), float(plan.surface.y[row]))
    if len(sisters) and sister_section is None:
        what, remedy = "sisters without a section", "give the section of the sisters, from which their mass comes"
        raise ArgumentError(what, column="sister_section", expected="(depth, thickness) in mm", remedy=remedy)
    if stock is not None and not len(sisters):
        raise ArgumentError("stock lengths without sisters", column="stock", expected="sisters=[lengths]")
    section = sister_section if sister_section is not None else (0.0, 0.0)
    density = chosen["fill_density"].value
    sister_mass = sum(sisters) * section[0] * section[1] * chosen[DENSITY_OF[framed]].value
    lengths = cut_stock(sisters, stock, kerf=chosen["kerf"].value) if stock is not None else None
    bags = bags_of(up.fill_volume, chosen["bag_yield"].value, chosen["spare"].value)
    # kg/mm3 x mm is kg/mm2, and there are a million mm2 in a square metre
    load = deepest * density * 1e6 * chosen["gravity"].value
    used = _used(chosen, up.fill_volume, DENSITY_OF[framed] if len(sisters) else "", lengths is not None)
    advice = ["fill"] * (up.fill_volume > 0) + ["plane"] * (down.cut_volume > 0) + ["sister"] * bool(len(sisters))
    return Quantities(
        fill_volume=up.fill_volume,
        cut_volume=down.cut_volume,
        fill_area=up.fill_area,
        planed_area=down.cut_area,
        bags=bags,
        fill_mass=up.fill_volume * density,
        sister_mass=sister_mass,
        greatest_load=load,
        load_at=load_at,
        lengths=lengths,
        settings=settings_table(used),
        cautions=cautions_for(advice),
        framed=framed,
        pieces=len(sisters),
    )


def _masked(plan: Planned, mask: NDArray[np.bool_] | None, name: str, *, positive: bool) -> NDArray[np.float64]:
    """[ny, nx] the change where the mask says, on one side of zero alone where a mask is given."""
    change = np.where(plan.surface.inside, np.asarray(plan.change, dtype=np.float64), np.nan)
    if mask is None:
        return change
    if np.shape(mask) != change.shape:
        what = f"the mask {name} does not lie on the surface's lattice"
        raise ArgumentError(what, column=name, value=str(np.shape(mask)), expected=f"[ny, nx] = {change.shape}")
    kept = np.where(np.asarray(mask, dtype=bool), change, 0.0)
    one_side = np.maximum(kept, 0.0) if positive else np.minimum(kept, 0.0)
    return np.where(np.isnan(change), np.nan, one_side)


def _used(chosen: Mapping[str, Setting], fill: float, density: str, cut: bool) -> dict[str, Setting]:
    names = ["bag_yield", "fill_density", "spare", "gravity"] * (fill > 0)
    names += [density] * bool(density) + ["kerf"] * cut
    return {name: chosen[name] for name in names}
