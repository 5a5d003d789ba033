"""What would bring every cylinder to a wanted compression ratio, and what each way of doing it does to the quench."""

from collections.abc import Mapping
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from buildbook.figures.compression import CylinderCompression
from buildbook.figures.fits import bounds_of
from buildbook.fits.decision import Estimate, Verdict, decide

if TYPE_CHECKING:
    from buildbook.figures import Figures


class Way(NamedTuple):
    """One way by itself: a change, in mm or cc, and what the thing that is changed comes to.

    `possible` is False where there is not so much to take away (no chamber loses three quarters), where metal would
    have to be put back, and where the piston would strike the head. `quench` is what is then between the two at top
    dead centre [mm], and `verdict` how that keeps its limits.
    """

    change: float
    becomes: float | None
    possible: bool
    quench: Estimate | None = None
    verdict: Verdict = "no limit"


class CylinderChange(NamedTuple):
    """Three ways to the wanted ratio, each by itself: another gasket [mm], a cut off the block's face [mm], or another
    chamber volume [cc]."""

    gasket: Way
    cut: Way
    chamber: Way


class ToRatio(NamedTuple):
    """The wanted ratio, who wants it, and what would bring each cylinder there."""

    wanted: float
    wanted_from: str
    cylinders: Mapping[str, CylinderChange]


def to_ratio(figures: "Figures", asked: float | None) -> ToRatio | None:
    """What would bring every cylinder to the ratio that was asked for, or else to the middle of the limits where a
    cylinder is outside them; None where nothing was asked and nothing is outside. The ratio is above one.

    See `CompressionFigures.changes`: a gasket changes the quench by as much as its thickness, a cut by as much the
    other way. Raises LayoutError.
    """
    compression = figures.compression
    wanted, wanted_from = asked, "as asked"
    if asked is None:
        least, most = bounds_of(figures.build, "compression_ratio", None)[:2]
        ratios = [each.ratio.value for each in compression.complete if each.ratio is not None]
        if least is None or most is None or all(least <= ratio <= most for ratio in ratios):
            return None
        wanted, wanted_from = float(least + most) / 2, "the middle of the limits"
    assert wanted is not None
    limits = bounds_of(figures.build, "quench", None)[:2]
    result = {}
    for cylinder, change in compression.changes(wanted).items():
        now = compression.cylinders[cylinder]
        gasket, chamber = now.parts["gasket"].value + change.gasket, now.parts["chamber"].value + change.volume
        result[cylinder] = CylinderChange(
            gasket=_way(now, change.gasket, gasket, gasket > 0, change.gasket, limits),
            cut=_way(now, change.cut, None, change.cut >= 0, -change.cut, limits),
            chamber=Way(change.volume, chamber, chamber > now.parts["chamber"].value / 4),
        )
    return ToRatio(wanted, wanted_from, result)


def _way(
    now: CylinderCompression,
    change: float,
    becomes: float | None,
    possible: bool,
    quench_by: float,
    limits: tuple[Fraction | None, ...],
) -> Way:
    assert now.quench is not None  # a ratio takes the gasket and the deck height, and so the quench is known
    quench = now.quench._replace(value=now.quench.value + quench_by)
    verdict = decide(quench, quench, *limits)
    return Way(change, becomes, possible and quench.value > 0, quench, verdict)
