"""Tables of the crew sheet: patches in the order of work, members, quantities, what to buy, cautions."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely

from flatness.corrections.plan import Plan
from flatness.corrections.quantities import POUND_KG
from flatness.corrections.schedule import Schedule
from flatness.corrections.staying import STAYS
from flatness.lengths import MM2_PER_FT2, MM2_PER_M2, MM3_PER_FT3, MM3_PER_LITRE, format_length
from flatness.limits.wording import describe
from flatness.show.done_words import before_and_after, limit_of
from flatness.show.papers.lettering import Rule, depth_text, tape
from flatness.show.words import in_unit

PSF_PA = POUND_KG * 9.80665 / 0.3048**2  # a pound a square foot, from the pound, the foot and standard gravity
PLACE = re.compile(r"x (-?\d+), y (-?\d+) mm")
PIECE = re.compile(r"(\d+) x (\d+(?:\.\d+)?)")
STATION_STEP = 609.6  # members' stations are thinned to about this [mm]
WORDS = {
    "plane": "plane or grind down", "fill": "fill", "sister": "sister", "fur": "fur or shim",
    "engineer": "wait for the engineer",
}  # fmt: skip


def patch_rows(plan: Plan, rule: Rule) -> list[list[str]]:
    """The patches in the order of work: name, what to do, where, area, greatest depth and where, mean, volume, note."""
    rows, unit = [], rule.unit
    for row in plan.patches.to_dict("records"):
        x, y = _deepest(plan, row)
        where = ", ".join(f"{axis} {_stretch(row[f'from_{axis}_mm'], row[f'to_{axis}_mm'], unit)}" for axis in "xy")
        rows.append([
            str(row["name"]), WORDS.get(str(row["action"]), str(row["action"])), where, area(row["area_mm2"], unit),
            rule.listed(row["greatest_mm"]), f"x {tape(x, unit)}, y {tape(y, unit)}",
            rule.listed(row["mean_mm"]), volume(row["volume_mm3"], unit), in_unit(str(row["note"]), unit, both=False),
        ])  # fmt: skip
    return rows


def _stretch(start: float, end: float, unit: str) -> str:
    """From where to where [mm], the unit named once.

    >>> _stretch(0, 1676.4, "in"), _stretch(610, 1676, "mm")
    ('0 to 5\\' 6"', '0.61 to 1.676 m')
    """
    return f"{tape(start, unit).removesuffix(' m')} to {tape(end, unit)}"


def _deepest(plan: Plan, row: Mapping[Any, Any]) -> tuple[float, float]:
    """Where a patch is deepest [mm]."""
    if "deepest_x_mm" in row:
        return float(row["deepest_x_mm"]), float(row["deepest_y_mm"])
    gx, gy = np.meshgrid(plan.x, plan.y)
    inside = shapely.contains_xy(row["outline"].buffer(1e-3), gx, gy) & np.isfinite(plan.change)
    if not inside.any():
        return float(row["x_mm"]), float(row["y_mm"])
    k = int(np.argmax(np.where(inside, np.abs(np.nan_to_num(plan.change)), -1.0)))
    return float(gx.ravel()[k]), float(gy.ravel()[k])


def area(mm2: float, unit: str) -> str:
    return _of(mm2 / MM2_PER_FT2, 1, "ft²") if unit == "in" else _of(mm2 / MM2_PER_M2, 2, "m²")


def volume(mm3: float, unit: str) -> str:
    return _of(mm3 / MM3_PER_FT3, 2, "ft³") if unit == "in" else _of(mm3 / MM3_PER_LITRE, 1, "litres")


def _of(value: float, digits: int, name: str) -> str:
    """An amount with so many decimals; what is too little for them is not printed as if it were nothing.

    >>> _of(0.3, 0, "lb"), _of(0.0, 0, "lb"), _of(12.34, 1, "ft²")
    ('under 1 lb', '0 lb', '12.3 ft²')
    """
    least = 10.0**-digits
    return f"under {least:g} {name}" if 0 < value < least / 2 else f"{value:.{digits}f} {name}"


def member_rows(schedule: Schedule, unit: str) -> list[list[str]]:
    """Which are set first, and how each is set: name, position, order, its ends, most, what comes off, crown, words."""
    rows = []
    for row in schedule.members.to_dict("records"):
        take, at = row.get("take_down_mm", math.nan), row.get("take_down_at_mm", math.nan)
        off = f"{rise(-take, unit)} at {tape(at, unit)}" if take and math.isfinite(take) else "-"
        words = [row.get("may_be_taken_down"), row.get("laps"), row.get("note")]
        rows.append([
            str(row["member"]), tape(row["position_mm"], unit), str(row["set"] or "not read"),
            *(rise(row.get(name, math.nan), unit) for name in ("raise_first_mm", "raise_last_mm", "raise_most_mm")),
            off, in_unit(". ".join(str(text) for text in words if isinstance(text, str) and text), unit, both=False),
        ])  # fmt: skip
    return rows


def limit_rows(plan: Plan, unit: str) -> list[list[str]]:
    """What the patches come to: limit, before, after as planned, likely, allowed, verdict."""
    rows = []
    for row in plan.after.to_dict("records"):
        limit = limit_of(plan, str(row["limit"]))
        asked = str(row["limit"]) if limit is None else f"{limit.name}: {describe(limit, unit)}"
        rows.append([asked, *before_and_after(plan, row, unit)[:3], str(row["verdict"]).upper()])
    return rows


def spot_rows(plan: Plan, schedule: Schedule | None, unit: str) -> list[list[str]]:
    """The fixed spots: name, place, what it must be, within what, and where the members would leave it."""
    set_so = {} if schedule is None else {row["spot"]: row for row in schedule.spots.to_dict("records")}
    rows = []
    for spot in plan.fixed:
        wanted = "as it is" if spot.height is None else f"height {height(spot.height, unit)}"
        room = rise(spot.allowance, unit).lstrip("+") if spot.allowance else "nothing"
        found = set_so.get(spot.name)
        off = "-" if found is None else rise(float(found["off_mm"]), unit)
        rows.append([spot.name or "fixed", f"x {tape(spot.x, unit)}, y {tape(spot.y, unit)}", wanted, room, off])
    return rows


def rise(mm: float, unit: str) -> str:
    """A signed length as a careful rule reads it; ``-`` where it is not known."""
    if mm is None or not math.isfinite(mm):
        return "-"
    if unit == "in":
        return depth_text(mm, unit, 32)
    text = format_length(abs(mm), "mm").removesuffix(" mm")
    return text if text == "0" else f"{'−' if mm < 0 else '+'}{text}"


def height(mm: float, unit: str) -> str:
    if not math.isfinite(mm):
        return "-"
    text = format_length(mm, unit, 32).removesuffix('"').removesuffix(" mm")
    return text.replace("-", "−")


def station_blocks(schedule: Schedule, unit: str) -> tuple[list[dict[str, Any]], str]:
    """Every member's stations: how high to set it, above its own top, off the string; and what was left out."""
    blocks, thinned = [], False
    stay = set(schedule.members.loc[schedule.members["set"] == STAYS, "member"])
    for name, group in schedule.table.groupby("member", sort=False):
        group = group[group["line_mm"].notna()]
        if group.empty or name in stay:
            continue
        s = group["station_mm"].to_numpy()
        step = float(np.median(np.diff(s))) if len(s) > 1 else STATION_STEP
        stride = max(1, math.floor(STATION_STEP / step + 1e-6))
        rises = group["raise_mm"].to_numpy()
        keep = sorted({*range(0, len(s), stride), len(s) - 1, int(rises.argmax()), int(rises.argmin())})
        thinned = thinned or len(keep) < len(s)
        rows = [
            [tape(row["station_mm"], unit), height(row["line_mm"], unit), rise(row["raise_mm"], unit),
             rise(row["offset_mm"], unit), height(row["below_string_mm"], unit)]
            for row in group.iloc[keep].to_dict("records")
        ]  # fmt: skip
        blocks.append({"name": str(name), "rows": rows})
    apart = "2 ft" if unit == "in" else "600 mm"
    note = (
        f"Stations are shown about every {apart}, at both ends, and where the rise is most and least; the data have "
        "all of them."
    )
    return blocks, note if thinned else ""


def quantity_rows(plan: Plan, unit: str) -> list[list[str]]:
    """What to bring: quantity, amount, and how it was reckoned."""
    return [
        [str(row["quantity"]), amount(float(row["value"]), str(row["unit"]), unit), _placed(str(row["from"]), unit)]
        for row in plan.quantities.table.to_dict("records")
        if float(row["value"])  # of what is not needed nothing is brought
    ]


def _placed(text: str, unit: str) -> str:
    """A place in millimetres told as a tape reads it."""
    return PLACE.sub(lambda found: f"x {tape(float(found[1]), unit)}, y {tape(float(found[2]), unit)}", text)


def setting_rows(plan: Plan, unit: str) -> list[list[str]]:
    """The numbers that the quantities rest on, each with its source; none where nothing is to be brought."""
    if not plan.quantities.table["value"].any():
        return []
    return [
        [str(row["name"]).replace("_", " "), _setting(float(row["value"]), str(row["unit"]), unit), str(row["source"])]
        for row in plan.quantities.settings.to_dict("records")
        if row["name"] != "gravity"  # the weight of a mass is no choice
    ]


def _setting(value: float, named: str, unit: str) -> str:
    if named == "mm3 a bag":
        return f"{volume(value, unit)} a bag"
    if named == "kg/mm3":
        return f"{value * MM3_PER_FT3 / POUND_KG:.0f} lb/ft³" if unit == "in" else f"{value * 1e9:.0f} kg/m³"
    if named == "share added":
        return f"{100 * value:.3g} %"
    return amount(value, named, unit) if named in ("mm", "mm2", "mm3", "kg", "Pa") else f"{value:g} {named}"


def amount(value: float, named: str, unit: str) -> str:
    """A quantity in the unit that the crew buys it in."""
    inches = unit == "in"
    match named:
        case "mm3":
            return volume(value, unit)
        case "mm2":
            return area(value, unit)
        case "kg":
            return _of(value / POUND_KG, 0, "lb") if inches else _of(value, 0, "kg")
        case "Pa":
            return _of(value / PSF_PA, 1, "lb/ft²") if inches else _of(value, 0, "Pa")
        case "mm":
            return format_length(value, "ft" if inches else "m", 8)
    return f"{value:g} {named.removesuffix('s') if value == 1 else named}"


def stock_rows(plan: Plan, unit: str) -> tuple[list[list[str]], list[list[str]]]:
    """Lengths to buy, and how each is cut."""
    lengths = plan.quantities.lengths
    if lengths is None:
        return [], []
    priced = lengths.price is not None
    buy = [
        [f"{row['count']:.0f}", tape(row["stock_mm"], unit),
         *([f"{row['price']:.2f}", f"{row['count'] * row['price']:.2f}"] if priced else ["", ""])]
        for row in lengths.stock.to_dict("records")
    ]  # fmt: skip
    if priced:
        buy.append(["", "in all", "", f"{lengths.price:.2f}"])
    cuts = [
        [f"{row['times']:.0f}", tape(row["stock_mm"], unit), _pieces(row["pieces"], unit), tape(row["offcut_mm"], unit)]
        for row in lengths.cuts.to_dict("records")
    ]
    return buy, cuts


def _pieces(words: str, unit: str) -> str:
    """``2 x 1200`` of a way of cutting, in mm, as a tape reads it."""
    return PIECE.sub(lambda found: f"{found[1]} x {tape(float(found[2]), unit)}", words)
