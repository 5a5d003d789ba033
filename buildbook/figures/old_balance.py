"""Whether a crankshaft as it was balanced is still in balance with the parts of a later build."""

from cmath import rect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from math import hypot, radians
from typing import TYPE_CHECKING, Literal, NamedTuple

from buildbook.balance.unbalance import NOTHING, Planes, Reading, Unbalance
from buildbook.figures.balance import PLANES, NoBalance
from buildbook.figures.change import Side
from buildbook.figures.standing import Standing
from buildbook.figures.throws import throws_of

if TYPE_CHECKING:
    from buildbook.figures import Figures

Verdict = Literal["holds", "does not hold", "cannot be said"]

# By what a spin carried: why what was balanced is not what will turn; None where it is.
AnotherRotor = Callable[[Sequence[str]], str | None]


class Spun(NamedTuple):
    """The last spin of the build after, as its own machine showed it: g at each plane's radius."""

    step: str | None
    measured: Mapping[str, Reading]
    standing: Standing
    changed_since: bool  # whether the crankshaft was changed after it


class OldBalance(NamedTuple):
    """Whether the balance of the build before still holds for the parts of the one after, and why.

    Readings are as the machine before would show them, in grams at each plane's radius: of the `change` in bobweights
    alone, and of what is `left` when it comes on top of the last spin. A mapping is empty where that is not known.
    """

    verdict: Verdict
    why: str
    change: Mapping[str, Reading] = {}
    uncertainty: Mapping[str, float] = {}  # standard uncertainty of the change [g]
    left: Mapping[str, Reading] = {}
    carried: Mapping[str, float] = {}  # what is left [g], carried to where `permissible` holds
    permissible: Mapping[str, float] = {}
    shop: Mapping[str, float] = {}
    of_means: bool = False  # whether the mean of each kind stands for pieces that are not matched
    spun: Spun | None = None  # where the build after was spun itself: that was measured, all the above is worked out


def old_balance(before: Side, after: Side, another_rotor: AnotherRotor) -> OldBalance:
    """What became of the balance of the build before: worked out, and as measured where the build after was spun."""
    return _left_by_the_old(before, after, another_rotor)._replace(spun=_spun(before, after))


def is_matched(figures: "Figures") -> bool:
    """Whether bobweights are of the matched pieces; else the mean of each kind stands for them."""
    return figures.has_layout and figures.pairing is not None


def _spun(before: Side, after: Side) -> Spun | None:
    """The last spin of the build after; None where there is none, or where the state before holds it too."""
    try:
        balance = after.figures.balance
        known = len(before.figures.balance.spins) if before.build.name == after.build.name else 0
    except NoBalance:
        return None
    if len(balance.spins) <= known:
        return None
    last = balance.spins[-1]
    standing = after.figures.yardsticks.standing(last)
    return Spun(last.step.id, balance.shown(last.measured), standing, bool(balance.pending))


def _left_by_the_old(before: Side, after: Side, another_rotor: AnotherRotor) -> OldBalance:
    """Whether the crankshaft as it was balanced would still be in balance with the parts of the build after.

    The change in unbalance is Σ (weight after − weight before) r e^(iφ) over the crankpins, φ from throw 1, each
    carried from its throw to both planes by the lever rule; see `balance.unbalance.carry`.
    """
    try:
        balance = before.figures.balance
    except NoBalance as error:
        return OldBalance("cannot be said", f"{before.name}: {error.what}")
    acting = [_acting(side.figures, balance.planes) for side in (before, after)]
    for side, each in zip((before, after), acting, strict=True):
        if isinstance(each, str):
            return OldBalance("cannot be said", f"{side.name}: {each}")
    (old, old_doubt), (new, new_doubt) = (each for each in acting if not isinstance(each, str))
    change = new - old
    doubt = {plane: hypot(old_doubt[plane], new_doubt[plane]) for plane in PLANES}
    result = OldBalance(
        "cannot be said",
        "",
        balance.shown(change),
        doubt,
        of_means=not (is_matched(before.figures) and is_matched(after.figures)),
    )
    if not balance.spins:
        return result._replace(why=f"no spin is recorded in {before.name}")
    last = balance.spins[-1]
    if (other := another_rotor(last.carrying)) is not None:
        return result._replace(why=other)
    measured = balance.after(last.measured, balance.pending)
    if measured is None:
        return result._replace(why=f"the crankshaft of {before.name} was changed after its last spin")
    standing = _standing(before, after, measured + change)
    result = result._replace(
        left=balance.shown(measured + change),
        carried=standing.carried,
        permissible=standing.permissible,
        shop=standing.shop,
    )
    if standing.verdict == "over":
        why = "more than its limit is left: spin it with its new bobweights"
        return result._replace(verdict="does not hold", why=why)
    if standing.verdict == "stop":
        return result._replace(verdict="holds", why="what is left is less than the job can tell")
    if not standing.shop and not standing.permissible:
        return result._replace(why="no residual limit is set, and the permissible residual is not known")
    return result._replace(verdict="holds", why="what is left is within its limits")


def _standing(before: Side, after: Side, unbalance: Unbalance) -> Standing:
    """An unbalance on the crankshaft as it was spun before, against the limits and choices of the build after."""
    from buildbook.figures import work_out

    old, new = before.build, after.build
    choices = old.balance._replace(
        grade=new.balance.grade or old.balance.grade, max_speed=new.balance.max_speed or old.balance.max_speed
    )
    yardsticks = work_out(old._replace(balance=choices, limits={**old.limits, **new.limits})).yardsticks
    return yardsticks.standing(replace(yardsticks.balance.spins[-1], measured=unbalance))


def _acting(figures: "Figures", planes: Planes) -> tuple[Unbalance, dict[str, float]] | str:
    """What the worked-out bobweights make at both planes [g·mm], and its standard uncertainty [g] there; or why that is
    not known."""
    if figures.has_layout and not figures.bobweights.wanted:
        return "this crankshaft is spun without bobweights, which say nothing of its balance"
    throws = throws_of(figures)
    if isinstance(throws, str):
        return throws
    total, doubts = NOTHING, []
    for name, throw in figures.bobweights.throws.items():
        for pin in throw.pins:
            total += throws.carry(planes, name, float(pin.total) * rect(1, radians(pin.angle - throws.zero)))
        doubts.append(throws.carry(planes, name, throw.uncertainty))
    front = hypot(*(abs(each.front) for each in doubts)) / planes.front.radius
    rear = hypot(*(abs(each.rear) for each in doubts)) / planes.rear.radius
    return total, {"front": front, "rear": rear}
