"""A figure written out: what it is worth, its formula with the values in it, and where each of them came from.

A formula with its values is arithmetic that anybody can do again: numbers, `+ − × /`, brackets, `²`, `√`, `π`, `min`
and `max`; `11.5e-6` is 0.0000115. Numbers stand with the digits that they were read with; one that is itself worked out
has one more, or two where that makes it exact.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from buildbook.figures.named import Named
from buildbook.quantities import UNITS, Quantity, fixed
from buildbook.records.finding import Where
from buildbook.records.model import Entry, MeasuringSession, Reading, WeighingSession


class Earlier(NamedTuple):
    """Another reading of the same thing, which does not count: one from before, or one that is void."""

    values: tuple[str, ...]
    unit: str
    entry: Entry
    where: Where


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Source:
    """Where a chain ends: what was read, in a record (`entry`), or else chosen or stated, with whoever says so.

    `values` are as written, each with its own unit where they have no common `unit`. `field` names what is meant below
    the place in the file.
    """

    what: str
    place: str = ""
    values: tuple[str, ...]
    unit: str = ""
    where: Where | None
    field: tuple[str, ...] = ()
    entry: Entry | None = None
    said_by: str | None = None
    earlier: tuple[Earlier, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """A figure, or something that one is made of: what it is worth and what that was worked out from.

    `alike` marks inputs of one kind, of which the least and the greatest say most; `between` names the figures that lie
    between the two that a spread is made of.
    """

    name: str
    value: Fraction
    uncertainty: float | None
    unit: str
    decimals: int
    formula: str
    with_values: str
    inputs: tuple["Step", ...] = ()
    sources: tuple[Source, ...] = ()
    note: str = ""
    limit: Source | None = None
    alike: bool = False
    between: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """The value, in the digits that it has in a formula."""
        return digits(self.value, self.decimals)

    def text_in(self, figure: Named) -> str:
        """The same, as exact as the figure needs that it goes into."""
        return digits(self.value, self.decimals, figure.decimals)

    def steps(self) -> list["Step"]:
        """This step and all below it, each once, the nearest first."""
        found: dict[str, Step] = {}
        level = [self]
        while level:
            found |= {step.name: step for step in level if step.name not in found}
            level = [each for step in level for each in step.inputs]
        return [*found.values()]

    def all_sources(self) -> list[Source]:
        """Everything that was read, chosen or stated, each once."""
        listed = [source for step in self.steps() for source in (*step.sources, *([step.limit] if step.limit else []))]
        return [*{(source.where, source.field, source.what): source for source in reversed(listed)}.values()][::-1]


def digits(value: Fraction, decimals: int, wanted: int = 0) -> str:
    """A value as it stands in a formula: with its own decimals, or up to two more to be exact, or else one more than
    its own and than is `wanted` of what it goes into."""
    exact = (each for each in range(decimals, decimals + 3) if (value * 10**each).denominator == 1)
    return fixed(value, next(exact, max(decimals, wanted) + 1)).replace("-", "−")


def made_step(
    named: Named,
    formula: str,
    with_values: str,
    inputs: Sequence[Step] = (),
    *,
    sources: tuple[Source, ...] = (),
    alike: bool = False,
    between: tuple[str, ...] = (),
) -> Step:
    return Step(
        name=named.name,
        value=named.value,
        uncertainty=named.uncertainty,
        unit=named.unit,
        decimals=named.decimals,
        formula=formula,
        with_values=with_values,
        inputs=tuple({each.name: each for each in inputs}.values()),
        sources=sources,
        alike=alike,
        between=between,
    )


def times(count: int, what: str) -> str:
    return f"{count} × {what}" if count > 1 else what


def in_brackets(text: str) -> str:
    return f"({text})" if text.startswith("−") else text


def of_readings(values: Sequence[object]) -> str:
    return f"mean of {len(values)} readings" if len(values) > 1 else "as read"


def mean_of(texts: Sequence[str]) -> str:
    return f"({' + '.join(texts)}) / {len(texts)}" if len(texts) > 1 else texts[0]


def plain(quantity: Quantity) -> str:
    """The number alone, with the digits it was written with."""
    return f"{quantity.number:f}"


def short(value: Fraction) -> str:
    """A number with no more digits than it needs, seven after the point at most."""
    text = fixed(value, 7).rstrip("0").rstrip(".")
    return text.replace("-", "−")


def in_unit(quantity: Quantity, unit: str) -> str:
    """A quantity in a formula that is in `unit`: as written, times what its own unit is worth where that is another."""
    written = plain(quantity).replace("-", "−")
    if quantity.unit == unit:
        return written
    factor = UNITS[quantity.unit].factor / UNITS[unit].factor
    return f"{written} × {(Decimal(factor.numerator) / Decimal(factor.denominator)).normalize():f}"


def written(quantities: Sequence[Quantity]) -> tuple[tuple[str, ...], str]:
    """Numbers as written and the unit that they share; each with its own where they do not."""
    units = {each.unit for each in quantities}
    if len(units) == 1:
        return tuple(plain(each) for each in quantities), units.pop()
    return each_with_its_unit(*quantities), ""


def each_with_its_unit(*quantities: Quantity) -> tuple[str, ...]:
    return tuple(f"{plain(each)} {each.unit}" for each in quantities)


def read_source(what: str, place: str, reading: Reading, entry: Entry, earlier: tuple[Earlier, ...] = ()) -> Source:
    values, unit = written(reading.values)
    return Source(what=what, place=place, values=values, unit=unit, where=reading.where, entry=entry, earlier=earlier)


def earlier_reading(session: WeighingSession | MeasuringSession, reading: Reading, more: str = "") -> Earlier:
    values, unit = written(reading.values)
    return Earlier(values, unit + more, session, reading.where)
