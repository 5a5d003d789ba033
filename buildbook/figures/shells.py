"""Which bearing shells bring the oil clearances of one sort of bearing nearest to the wanted one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from buildbook.figures.fits import FIT_KINDS, Bounds, Fit, Missing
from buildbook.fits import shells
from buildbook.fits.decision import COVERAGE, Estimate, Verdict, decide
from buildbook.quantities import UNITS

if TYPE_CHECKING:
    from buildbook.figures import Figures


class Bearings(NamedTuple):
    """One sort of bearing: the kind of fit that its clearance is, and the kind of part that its shells are."""

    clearance: str
    part: str


BEARINGS: dict[str, Bearings] = {
    "main": Bearings("main_clearance", "main_bearing"),
    "rod": Bearings("rod_clearance", "rod_bearing"),
    "cam": Bearings("cam_clearance", "cam_bearing"),
}

# Steps of undersize that shops can order, and how many of them to look at each way from the size that is in: common
# practice, no source. The maker's catalogue decides.
_STEPS = {"metric": Fraction(1, 100), "inch": Fraction(5, 10_000) * UNITS["in"].factor}
_STEPS_EACH_WAY = 2


class NoShells(Exception):
    """Nothing can be chosen: what is lacking, and the remedy."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what)
        self.what = what
        self.remedy = remedy


class Wanted(NamedTuple):
    """What was asked for [mm], each None where it was not: a target, the undersize that is in, the sizes on offer."""

    target: Fraction | None = None
    fitted: Fraction | None = None
    sizes: tuple[Fraction, ...] | None = None


class JournalShells(NamedTuple):
    """One journal with one choice of shells [mm]: its clearance now and then, and how far that is from the target.

    The `verdict` is that of `fits.decision.decide`, as `buildbook fits` would give it.
    """

    journal: str
    now: Fraction
    halves: tuple[Fraction, Fraction]
    then: Fraction
    from_target: Fraction
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class ShellFigures:
    """The best shells for one sort of bearing; lengths in mm, sizes as undersizes from standard.

    `clearances` are the tightest of each journal, with shells of undersize `fitted` in its bore; `missing` are the
    journals whose clearance is not known, which take no part. `bounds` are the narrowest limits of any of the journals.
    `undersize` is how much smaller each journal is than the engine's standard one, where the engine states that.
    """

    which: str
    clearances: tuple[Fit, ...]
    missing: tuple[Missing, ...]
    bounds: Bounds
    target: Fraction
    target_from: str
    fitted: Fraction
    fitted_from: str
    sizes: tuple[Fraction, ...]
    usual_steps: bool
    choices: tuple[shells.Choice, ...]
    undersize: Mapping[str, Fraction]

    @property
    def recommended(self) -> shells.Choice:
        return shells.recommended(self.choices)

    @property
    def known_within(self) -> float:
        """U of the least certain clearance (k = 2) [mm]."""
        return COVERAGE * max(fit.uncertainty for fit in self.clearances)

    def journals(self, choice: shells.Choice) -> tuple[JournalShells, ...]:
        """What a choice does for each journal."""
        return tuple(
            JournalShells(
                fit.place,
                fit.value,
                choice.halves[fit.place],
                choice.clearances[fit.place],
                choice.clearances[fit.place] - self.target,
                _verdict(fit, choice.clearances[fit.place], self.bounds),
            )
            for fit in self.clearances
        )


def _verdict(fit: Fit, then: Fraction, bounds: Bounds) -> Verdict:
    """On a clearance that other shells make `then` [mm] at its tightest place, and its mean other by as much."""
    low = Estimate(float(then), fit.uncertainty)
    high = fit.mean._replace(value=fit.mean.value + float(then - fit.value)) if fit.mean else low
    return decide(low, high, bounds.least, bounds.most)


def shell_figures(figures: "Figures", which: str, wanted: Wanted) -> ShellFigures:
    """The best choice of one, two and three sizes for all journals together (see `fits.shells.choose`).

    The target is the wanted one, or else the middle of the limits; the undersize that is in is the wanted one, or else
    the one of parts.yaml, or else none. Raises NoShells where no clearance is known, where limits contradict each
    other, and where there is no target.
    """
    kind = BEARINGS[which].clearance
    clearances = figures.fits.of(kind)
    missing = tuple(each for each in figures.fits.missing if each.kind == kind)
    if not clearances:
        bore, journal = FIT_KINDS[kind].needs
        lacking = f"; missing: {missing[0].lacking}" if missing else ""
        matched = ", and match the rods ('buildbook match --write')" if which == "rod" else ""
        raise NoShells(
            f"no {FIT_KINDS[kind].title} is known{lacking}",
            f"take down both, bearing in and cap torqued: 'buildbook measure {bore}' and 'buildbook measure {journal}'"
            + matched,
        )
    bounds = _narrowest(clearances)
    target, target_from = _target(which, bounds, wanted.target)
    fitted, fitted_from = _fitted(figures, which, wanted.fitted)
    fits = {fit.place: fit for fit in clearances}
    sizes = wanted.sizes or usual_sizes(fitted, figures.build.shop.preferred_units.get("length", "mm"))
    return ShellFigures(
        which=which,
        clearances=clearances,
        missing=missing,
        bounds=bounds,
        target=target,
        target_from=target_from,
        fitted=fitted,
        fitted_from=fitted_from,
        sizes=tuple(sorted(set(sizes))),
        usual_steps=wanted.sizes is None,
        choices=shells.choose(
            {place: fit.value for place, fit in fits.items()},
            fitted,
            sizes,
            target,
            lambda place, then: _verdict(fits[place], then, bounds),
        ),
        undersize=_undersize(figures, which, clearances),
    )


def usual_sizes(fitted: Fraction, unit: str) -> tuple[Fraction, ...]:
    """The undersizes round the one that is in [mm]: by hundredths of a millimetre, or by half thousandths of an inch
    for a shop whose unit of length is one of inches."""
    step = _STEPS["inch" if unit in {"in", "thou"} else "metric"]
    return tuple(fitted + steps * step for steps in range(-_STEPS_EACH_WAY, _STEPS_EACH_WAY + 1))


def _narrowest(clearances: Sequence[Fit]) -> Bounds:
    """Limits that every journal keeps: the largest minimum and the smallest maximum. Raises NoShells where that leaves
    nothing between them."""
    leasts = [fit.bounds.least for fit in clearances if fit.bounds.least is not None]
    mosts = [fit.bounds.most for fit in clearances if fit.bounds.most is not None]
    least, most = max(leasts, default=None), min(mosts, default=None)
    if least is not None and most is not None and least > most:
        raise NoShells(
            f"no {clearances[0].title} is within the limits of every journal: they differ too much in diameter",
            "set one limit for all of them, in mm, under limits in build.yaml",
        )
    return clearances[0].bounds._replace(least=least, most=most)


def _target(which: str, bounds: Bounds, wanted: Fraction | None) -> tuple[Fraction, str]:
    if wanted is not None:
        return wanted, "as asked"
    if bounds.least is None or bounds.most is None:
        kind = BEARINGS[which].clearance
        raise NoShells(
            f"there is no {FIT_KINDS[kind].title} to aim at",
            f"give --target CLEARANCE, or limits: {{{kind}: {{min: …, max: …}}}} in build.yaml",
        )
    return (bounds.least + bounds.most) / 2, "the middle of the limits"


def _fitted(figures: "Figures", which: str, wanted: Fraction | None) -> tuple[Fraction, str]:
    """The undersize of the shells that were in the bores when those were measured [mm], and who says so."""
    if wanted is not None:
        return wanted, "as asked"
    kind = BEARINGS[which].part
    listed = [part.undersize for part in figures.build.parts if part.kind == kind and part.fitted]
    stated = {undersize.worth("mm") if undersize else Fraction(0) for undersize in listed}
    if len(stated) == 1 and any(listed):
        return stated.pop(), "parts.yaml"
    if len(stated) > 1:
        return Fraction(0), f"taken as standard: parts.yaml lists more than one undersize of {kind}; --fitted says"
    return Fraction(0), "taken as standard: parts.yaml states no undersize"


def _undersize(figures: "Figures", which: str, clearances: Sequence[Fit]) -> dict[str, Fraction]:
    engine = figures.build.engine
    standard = {"main": engine.main_journal, "rod": engine.rod_journal}.get(which)
    if standard is None:
        return {}
    return {fit.place: standard.worth("mm") - fit.diameter for fit in clearances if fit.diameter is not None}
