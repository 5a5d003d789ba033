"""What is compared with what, and one thing that differs."""

from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Literal, NamedTuple

from buildbook.records.finding import Finding
from buildbook.records.model import Build

if TYPE_CHECKING:
    from buildbook.figures import Figures

Group = Literal["pieces", "figures", "balance", "choices", "pairing", "findings"]
GROUPS: tuple[Group, ...] = ("pieces", "figures", "balance", "choices", "pairing", "findings")


class Side(NamedTuple):
    """One of the two: what to call it, its figures, and what was found while its files were read."""

    name: str
    figures: "Figures"
    findings: Sequence[Finding] = ()

    @property
    def build(self) -> Build:
        return self.figures.build

    @property
    def found(self) -> tuple[Finding, ...]:
        return (*self.findings, *self.figures.thorough_findings)

    @property
    def errors(self) -> int:
        return sum(each.severity == "error" for each in self.found)


class Change(NamedTuple):
    """One thing that is not as it was. `change` is a number where both sides are; in `unit`, with its combined standard
    `uncertainty`. `significant` is None where nobody can say, as where a figure stands on one side alone."""

    group: Group
    kind: str
    place: str
    before: Fraction | str | None
    after: Fraction | str | None
    change: Fraction | str | None
    significant: bool | None
    why: str
    unit: str | None = None
    uncertainty: float | None = None
    decimals: int = 0
    weight: float = 0.0  # the larger, the sooner it is told
    one_piece: bool = True  # whether a figure is of the same pieces on both sides

    @property
    def what(self) -> str:
        return f"{self.kind}.{self.place}" if self.place else self.kind
