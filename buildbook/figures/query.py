"""Conditions on figures, such as `main_clearance < 0.045`: reading one, and telling which figures satisfy it."""

import re
from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from buildbook.figures.fits import FIT_KINDS, Bounds
from buildbook.figures.named import SIZES, Named
from buildbook.quantities import UNITS, QuantityError, read_number, read_quantity
from buildbook.records.model import MASS_LIMITS, WEIGHING_KINDS

if TYPE_CHECKING:
    from buildbook.figures import Figures

# Every kind of figure that `named_figures` yields → the unit its values are in; empty for a plain ratio.
KINDS: dict[str, str] = {
    **{name: "g" for what in WEIGHING_KINDS for name in (what, f"{what}_spread")},
    **dict.fromkeys(("reciprocating", "reciprocating_spread"), "g"),
    **dict.fromkeys(("bobweight", "bobweight_target", "bobweight_spread", "bobweight_set", "residual"), "g"),
    **SIZES,
    **{kind: fit.unit for kind, fit in FIT_KINDS.items()},
}

# The limit of build.yaml that holds for a figure of another name.
_LIMITS = {"rod_big_end_spread": "big_end_spread"}

_SIGNS = {"==": "=", "≥": ">=", "≤": "<="}
_split = re.compile(r"\s*([^<>=≤≥]*?)\s*(<=|>=|==|[<>=≤≥])\s*([^<>=≤≥]*?)\s*").fullmatch


class QueryError(ValueError):
    """A text that is no condition: `what` is wrong, and the `remedy`."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(f"{what}: {remedy}")
        self.what = what
        self.remedy = remedy


class UnknownKind(QueryError):
    """A figure of a kind that there is not: `kind`, as it was written."""

    def __init__(self, kind: str) -> None:
        super().__init__(f"there is no figure named '{kind[:60]}'", "use the name of a figure")
        self.kind = kind


class Condition(NamedTuple):
    """What a figure is asked: its kind, its place (any, where that is empty), and how it compares with a value.

    `value` is in the unit of the kind's figures, `step` is the worth of the last digit that was written.
    """

    kind: str
    place: str
    sign: str
    value: Fraction
    step: Fraction
    text: str

    @property
    def name(self) -> str:
        return f"{self.kind}.{self.place}" if self.place else self.kind

    def holds(self, figure: Fraction) -> bool:
        """Whether a figure [unit of the kind] satisfies it. Equal is what rounds to the digits that were written."""
        match self.sign:
            case "<":
                return figure < self.value
            case "<=":
                return figure <= self.value
            case ">":
                return figure > self.value
            case ">=":
                return figure >= self.value
        return abs(figure - self.value) <= self.step / 2

    def is_hidden(self, named: Named) -> bool:
        """Whether a figure is not the value, and the digits that it is shown with do not tell the two apart."""
        off = abs(named.value - self.value)
        return self.sign != "=" and 0 < off <= Fraction(1, 2 * 10**named.decimals)


def read_name(text: str) -> tuple[str, str]:
    """The kind and the place of a figure as it is named, `main_clearance.5`. Raises UnknownKind."""
    kind, _, place = text.strip().partition(".")
    if kind not in KINDS:
        raise UnknownKind(kind)
    return kind, place


def read_condition(text: str, preferred: Mapping[str, str]) -> Condition:
    """A condition as typed: `residual.front > 1 g`. A bare number is in the unit in which figures of its kind are
    shown: lengths in what shop.yaml prefers, if it prefers one. Raises QueryError."""
    parts = _split(text)
    if parts is None or not parts[1] or not parts[3]:
        remedy = "write the figure, one of < <= = >= >, and a number: 'main_clearance < 0.045'"
        raise QueryError(f"'{text[:60]}' is no condition", f"{remedy}, all in one pair of quotes")
    kind, place = read_name(parts[1])
    unit, sign = KINDS[kind], _SIGNS.get(parts[2], parts[2])
    try:
        if not unit:
            value, shown = Fraction(read_number(parts[3])), ""
            step = Fraction(1, 10 ** len(parts[3].partition(".")[2]))
        else:
            dimension = UNITS[unit].dimension
            usual = preferred.get(dimension, unit) if dimension == "length" else unit
            quantity = read_quantity(parts[3], dimension, usual)
            value, step, shown = quantity.worth(unit), quantity.last_digit(unit), quantity.unit
    except QuantityError as error:
        raise QueryError(f"{parts[1]}: {error.what}", error.remedy) from None
    number_text = parts[3].removesuffix(shown).strip()
    name = f"{kind}.{place}" if place else kind
    return Condition(kind, place, sign, value, step, f"{name} {sign} {number_text} {shown}".strip())


def satisfying(condition: Condition, figures: Iterable[Named]) -> list[Named]:
    """The figures that satisfy a condition: of its place, or of any place of its kind."""
    return [each for each in figures if _is_of(condition, each) and condition.holds(each.value)]


def missed(condition: Condition, figures: Iterable[Named]) -> list[Named]:
    """The figures that do not satisfy a condition, and look as if they did by the digits that they are shown with."""
    of_it = [each for each in figures if _is_of(condition, each) and not condition.holds(each.value)]
    return [each for each in of_it if condition.sign in {"<=", ">="} and condition.is_hidden(each)]


def _is_of(condition: Condition, named: Named) -> bool:
    return named.kind == condition.kind and condition.place in {"", named.place}


def limits(figures: "Figures", named: Mapping[str, Named]) -> dict[str, Bounds]:
    """Name → what that figure is held to, in its own unit; figures without a limit are left out."""
    found = {}
    for fit in figures.fits.fits if any(each.kind in FIT_KINDS for each in named.values()) else ():
        if fit.bounds.least is not None or fit.bounds.most is not None:
            found[f"{fit.kind}.{fit.place}" if fit.place != "all" else fit.kind] = fit.bounds
    for name, each in named.items():
        limit_name = _LIMITS.get(each.kind, each.kind)
        limit = figures.build.limits.get(limit_name)
        if limit is None or limit_name not in MASS_LIMITS:
            continue
        bounds = {bound: quantity.worth(each.unit) for bound, quantity in limit.bounds.items()}
        if each.kind == "bobweight_set":
            off, within = figures.bobweights.set[each.place].from_target, bounds.get("within")
            if off is not None and within is not None:
                goal = each.value - off
                found[name] = Bounds(goal - within, goal + within, limit.source)
            continue
        most = bounds.get(each.place if each.kind == "residual" else "max")
        least = bounds.get("min")
        if most is not None or least is not None:
            found[name] = Bounds(least, most, limit.source)
    return found
