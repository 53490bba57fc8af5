"""The Job: all that a job file says, in millimetres, with its surveys read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from flatness.framing.members import STOCK_THICKNESS_MM, Members
from flatness.framing.reveal import CHANGE_OVER_MM
from flatness.job.report import Origin
from flatness.job.values import Price
from flatness.limits.kinds import Limit
from flatness.limits.spot_checks import Checks
from flatness.measures.bars import Place
from flatness.planning.constraints import Depths, FixedSpot, Rates
from flatness.planning.quantities import Setting
from flatness.planning.substrate import Beneath
from flatness.planning.ways import PROPOSED
from flatness.surroundings.finished_surface import Layer
from flatness.surroundings.interferences import Feature
from flatness.survey.readings import Survey

Stock = tuple[float, ...] | Mapping[float, float] | None  # lengths on sale [mm], or their prices by length


@dataclass(frozen=True, eq=False)
class SurveyFile:
    """One survey of the job.

    Attributes
    ----------
    survey : as read
    path : of its file
    sheet : of a workbook, or None
    spot_checks : what a bar showed between its stations
    """

    survey: Survey
    path: Path
    sheet: str | None = None
    spot_checks: Checks = ()


@dataclass(frozen=True, eq=False, kw_only=True)
class PlanTerms:
    """How the plan is to be made; the names are those of :func:`~flatness.planning.planner.plan_corrections`.

    Attributes
    ----------
    way : ``proposed``, or one of :data:`~flatness.planning.plan.WAYS`
    options : its keyword arguments that are choices and numbers, lengths [mm]; what the file leaves out is not there
    rates, depths, fixed, beneath : as it takes them
    thresholds : by name, those that the file sets
    """

    way: str = PROPOSED
    options: Mapping[str, Any] = field(default_factory=dict)
    rates: Rates = field(default_factory=Rates)
    depths: Depths = field(default_factory=Depths)
    fixed: tuple[FixedSpot, ...] = ()
    beneath: tuple[Beneath, ...] = ()
    thresholds: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Framing:
    """The members, and what is asked of their schedule.

    Attributes
    ----------
    members : the layout
    options : keyword arguments of :func:`~flatness.framing.schedule.member_schedule` that the file gives [mm]
    crossing : the members that strapping is shimmed off, or None
    """

    members: Members
    options: Mapping[str, Any] = field(default_factory=dict)
    crossing: Members | None = None

    @property
    def section(self) -> tuple[float, float] | None:
        """Depth and thickness of a sister or strap [mm]; full depth where no other is given; None: none is known."""
        depth = self.options.get("sister_depth", self.members.depth)
        usual = self.members.thickness if self.framed == "strapping" else STOCK_THICKNESS_MM
        return None if depth is None else (depth, self.options.get("sister_thickness", usual))

    @property
    def framed(self) -> str:
        """What is bought for it: ``sisters`` or ``strapping``."""
        return "strapping" if self.members.kind == "strapping" else "sisters"


@dataclass(frozen=True, kw_only=True)
class RevealLine:
    """A line along which the reveal is to be computed; as the arguments of :func:`~flatness.framing.reveal.reveal`."""

    name: str
    start: Place
    end: Place
    nominal: float
    line: str = "level"
    tolerance: float | None = None
    change_tolerance: float | None = None
    change_over: float = CHANGE_OVER_MM
    height: float | None = None
    step: float | None = None

    @property
    def options(self) -> dict[str, Any]:
        """Keyword arguments beside the ends and the nominal."""
        names = ("line", "tolerance", "change_tolerance", "change_over", "height", "step")
        return {name: getattr(self, name) for name in names}


@dataclass(frozen=True, eq=False)
class Materials:
    """What quantities rest on.

    Attributes
    ----------
    settings : from :func:`~flatness.planning.quantities.settings_of`
    stock : lengths on sale [mm], or their prices by length; None where none are given
    """

    settings: Mapping[str, Setting]
    stock: Stock = None


@dataclass(frozen=True, eq=False)
class Compared:
    """How before and after are compared; as the arguments of :func:`~flatness.comparison.comparing.compare`."""

    align: str = "benchmarks"
    unchanged: tuple[Any, ...] | None = None
    tolerance: float | None = None


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture of the job.

    Attributes
    ----------
    name : of its file
    data : the file, JPEG or PNG
    says : what stands below it
    """

    name: str
    data: bytes = field(repr=False)
    says: str = ""


@dataclass(frozen=True, eq=False, kw_only=True)
class Page:
    """What the owner's page shows beside the work; empty where the job does not say.

    Attributes
    ----------
    address, client, date, cost : as written
    logo, photographs : pictures
    per_hour : what an hour of work costs, or None
    hours_a_day : of work
    """

    address: str = ""
    client: str = ""
    date: str = ""
    cost: str = ""
    logo: Picture | None = None
    photographs: tuple[Picture, ...] = ()
    per_hour: Price | None = None
    hours_a_day: float = 8.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Job:
    """A whole job, as :func:`~flatness.job.reading.read_job` reads it.

    Attributes
    ----------
    origin : where it is written
    path : of the job file, or of the first survey
    title : what it is called; that of the survey where the file gives none
    before, after : the surveys; after is None where the file names none
    limits : those that apply to this kind of surface, in the order named
    plan : how the plan is to be made, or None where none is asked for
    framing : the members, or None
    layers : laid on the corrected surface
    features : doors, stairs, thresholds and headrooms
    reveals : lines along which the reveal is to be computed
    materials : what quantities rest on
    compared : how before and after are compared
    unit : of lengths that carry none in the file, or None
    show : unit to show lengths in, ``in`` or ``mm``; the survey's own where the file does not say
    confidence, draws, seed : of verdicts, chances and the limit of detection
    page : what the owner's page shows beside the work
    """

    origin: Origin
    path: Path
    title: str
    before: SurveyFile
    after: SurveyFile | None
    limits: tuple[Limit, ...]
    plan: PlanTerms | None
    framing: Framing | None
    layers: tuple[Layer, ...]
    features: tuple[Feature, ...]
    reveals: tuple[RevealLine, ...]
    materials: Materials
    compared: Compared
    unit: str | None
    show: str
    confidence: float
    draws: int
    seed: int
    page: Page = field(default_factory=Page)

    @property
    def spacing(self) -> float | None:
        """Lattice step [mm] of check, plan and comparison alike; None lets each choose its own, about 6 in."""
        return self.plan.options.get("spacing") if self.plan else None

    @property
    def drawn(self) -> dict[str, Any]:
        """Confidence, draws and seed, as check, plan and comparison take them alike."""
        return {"confidence": self.confidence, "draws": self.draws, "seed": self.seed}

    @property
    def headings(self) -> int:
        """Directions in which bars are laid, in check and plan alike; the comparison lays its own 12."""
        return int(self.plan.options.get("headings", 12)) if self.plan else 12
