"""States of panels that hold a surface against a finish: which finishes there are, and what the one chosen allows."""

from __future__ import annotations

from dataclasses import dataclass

from traitlets import Any as AnyTrait
from traitlets import Instance, Unicode

from flatness.errors import ArgumentError
from flatness.limits.agreed import straightedge_limit
from flatness.limits.kinds import Limit
from flatness.show.panels.finishes import finishes, limits_of
from flatness.show.panels.state import State
from flatness.show.panels.surveys import SurveyChoice
from flatness.survey.readings import Survey

AGREED = "agreed"  # key of a limit agreed for this job, beside the catalogue's finishes
USUAL_BAR_MM = 3048.0  # 10 ft, where no limit says otherwise


@dataclass(frozen=True)
class AgreedNumbers:
    """A limit agreed for this job: ``allowed`` gap [mm] under a straightedge ``length`` [mm] long."""

    length: float = USUAL_BAR_MM
    allowed: float = 4.7625  # 3/16 in


class FinishState(State):
    """A state with a finish.

    Attributes
    ----------
    finish : key of the finish; empty for none
    """

    finish = Unicode("")

    @property
    def for_what(self) -> str:
        """Whose finishes they are, in a message."""
        return "this surface"

    @property
    def survey(self) -> Survey | None:
        """The survey that is chosen, or the one as found."""
        raise NotImplementedError

    @property
    def judged(self) -> Survey | None:
        """The survey whose kind of surface says which finishes there are."""
        return self.survey

    @property
    def finishes(self) -> dict[str, str]:
        """Finishes in plain words for the kind of surface that was surveyed, by key."""
        return finishes(self.judged.surface if self.judged is not None else "floor")

    def limits(self) -> list[Limit]:
        """The limits of the finish chosen; none without a survey or finish."""
        return limits_of(self.finish, self.judged.surface) if self.judged is not None and self.finish else []

    def choose_finish(self, key: str) -> None:
        """Choose the finish by its key; an empty one holds the surface against nothing."""
        if key and key not in self.finishes:
            raise ArgumentError(
                f"no finish of this name for {self.for_what}", value=key, expected="one of the list",
                remedy="choose one in the list",
            )  # fmt: skip
        self.finish = key


class AgreedState(FinishState):
    """A state of one survey, with a finish or a limit that was agreed for the job.

    Attributes
    ----------
    choice : the survey chosen
    agreed : the numbers of a limit agreed for this job
    """

    choice = Instance(SurveyChoice)
    agreed = AnyTrait(AgreedNumbers())

    def begin(self) -> None:
        """Read what the panel was made with."""
        self.choice.begin()

    @property
    def survey(self) -> Survey | None:
        found: Survey | None = self.choice.survey
        return found

    @property
    def finishes(self) -> dict[str, str]:
        """Finishes in plain words for the kind of surface that was surveyed, by key; and the limit agreed."""
        return {**super().finishes, AGREED: "A limit agreed for this job, under a straightedge"}

    def limits(self) -> list[Limit]:
        if self.survey is not None and self.finish == AGREED:
            return [straightedge_limit(length=self.agreed.length, allowed=self.agreed.allowed, name="agreed")]
        return super().limits()
