"""Every figure and every finding of a build, each worked out once, when it is first asked for."""

from collections.abc import Container, Iterable, Mapping
from functools import cached_property
from typing import TYPE_CHECKING

from buildbook.balance.layouts import Layout, LayoutError
from buildbook.figures.bobweights import BobweightFigures, bobweight_figures
from buildbook.figures.cylinders import PairingFigure, kinds_to_weigh, layout_of, pairing_figure
from buildbook.figures.weighings import KindSummary, summarise
from buildbook.records.finding import Finding
from buildbook.records.model import Build

if TYPE_CHECKING:
    from buildbook.figures.balance import BalanceFigures
    from buildbook.figures.bores import WithBores
    from buildbook.figures.compression import CompressionFigures
    from buildbook.figures.fits import FitFigures
    from buildbook.figures.match import MatchFigures
    from buildbook.figures.measured import Measured
    from buildbook.figures.rules import Rule
    from buildbook.figures.standing import Yardsticks


class Figures:
    """The figures of one build. Weights are Fractions in g, uncertainties floats in g."""

    def __init__(self, build: Build, match_seconds: float) -> None:
        self.build = build
        self.match_seconds = match_seconds

    @cached_property
    def layout(self) -> Layout:
        """Which cylinder hangs on which crankpin. Raises LayoutError."""
        return layout_of(self.build)

    @cached_property
    def has_layout(self) -> bool:
        try:
            return bool(self.layout.cylinders)
        except LayoutError:
            return False

    @cached_property
    def weighings(self) -> Mapping[str, KindSummary]:
        return summarise(self.build)

    @cached_property
    def kinds(self) -> tuple[str, ...]:
        """The kinds of weighing that this build's bobweights are made of."""
        return kinds_to_weigh(self.build, self.weighings)

    @cached_property
    def pairing(self) -> PairingFigure | None:
        """The pairing as it was decided last. Raises LayoutError."""
        return pairing_figure(self.build, self.layout, self.kinds, self.weighings)

    @cached_property
    def bobweights(self) -> BobweightFigures:
        """The bobweight of every throw. Raises LayoutError."""
        return bobweight_figures(self.build, self.layout, self.kinds, self.weighings, self.pairing)

    @cached_property
    def match(self) -> "MatchFigures":
        """The best pairing there is. Raises LayoutError, Incomplete and MatchingError."""
        from buildbook.figures.match import match_figures

        return match_figures(self.build, self.layout, self.kinds, self.weighings, self.match_seconds)

    @cached_property
    def with_bores(self) -> "WithBores":
        """The best pairing under both limits, of weight and of piston clearance. Raises as `match` does."""
        from buildbook.figures.bores import with_bores

        return with_bores(self)

    @cached_property
    def balance(self) -> "BalanceFigures":
        """The story at the balancing machine. Raises NoBalance."""
        from buildbook.figures.balance import BalanceFigures

        return BalanceFigures(self.build)

    @cached_property
    def yardsticks(self) -> "Yardsticks":
        """What a spin is held against. Raises NoBalance, as `balance` does."""
        from buildbook.figures.standing import Yardsticks

        return Yardsticks(self.balance, self)

    @cached_property
    def measured(self) -> "Mapping[str, Mapping[str, Measured]]":
        """Kind of measurement → place → what was measured there, at 20 °C."""
        from buildbook.figures.measured import measured

        return measured(self.build)

    @cached_property
    def compression(self) -> "CompressionFigures":
        """The compression of every cylinder. Raises LayoutError."""
        from buildbook.figures.compression import compression_figures

        return compression_figures(self)

    @cached_property
    def fits(self) -> "FitFigures":
        """Every clearance, gap and form against its limit."""
        from buildbook.figures.fits import fit_figures

        return fit_figures(self)

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """What is wrong or doubtful in what the records say, in the order of the files."""
        from buildbook.figures.rules import RULES

        return self._found_by(RULES)

    @cached_property
    def spin_findings(self) -> tuple[Finding, ...]:
        """The findings that take working out every hole and plug."""
        from buildbook.figures.spin_rules import THOROUGH

        return self._found_by(THOROUGH)

    @cached_property
    def fit_findings(self) -> tuple[Finding, ...]:
        """The findings that take working out every clearance, gap and form."""
        from buildbook.figures.fit_rules import RULES

        return self._found_by(RULES)

    def fit_errors(self, kinds: Container[str]) -> tuple[Finding, ...]:
        """The errors in measurements of these kinds: while there is one, no figure that is made of them is shown."""
        theirs = set()
        for session in self.build.clearances:
            if session.what in kinds:
                theirs |= {session.where, session.place("with")}
                theirs |= {where for spot in session.spots for where in (spot.reading.where, spot.reading.where_name)}
        return tuple(each for each in self.fit_findings if each.severity == "error" and each.where in theirs)

    @property
    def thorough_findings(self) -> tuple[Finding, ...]:
        """All findings there are."""
        return (*self.findings, *self.spin_findings, *self.fit_findings)

    def _found_by(self, rules: Iterable["Rule"]) -> tuple[Finding, ...]:
        found = dict.fromkeys(finding for rule in rules for finding in rule(self.build, self))  # a set has no order
        order = {where.file: position for position, where in enumerate(self.build.files.values())}
        return tuple(sorted(found, key=lambda each: (order.get(each.where.file, -1), each.where)))


def work_out(build: Build, *, match_seconds: float = 10.0) -> Figures:
    """The figures of a build; a search for the best pairing may take `match_seconds`."""
    return Figures(build, match_seconds)
