"""Where a size came from: the readings of a place, which of them count, and what brought them to 20 °C."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Literal, NamedTuple

from buildbook.figures.measured import Came, Measured, Size, uncertainty_of_mean
from buildbook.figures.trace_steps import (
    Source,
    Step,
    earlier_reading,
    in_unit,
    mean_of,
    of_readings,
    read_source,
    short,
)
from buildbook.fits.sizes import GAUGE, REFERENCE, expansion_of
from buildbook.quantities import DIMENSIONS
from buildbook.records.model import MEASUREMENT_KINDS, Part

if TYPE_CHECKING:
    from buildbook.figures import Figures

Pick = Literal["smallest", "largest", "mean", "last", "only"]


class SizeTraces:
    """The traces of what one build's pieces measured."""

    def __init__(self, figures: "Figures") -> None:
        self.figures = figures
        self.build = figures.build

    def extreme(self, kind: str, came: Came, pick: Literal["smallest", "largest"]) -> Step:
        """The tightest place of a bore or of what runs in it; of a split pin only that part that the rod runs on.

        Its name tells it from the figure of that kind, which is the mean.
        """
        piece = self.figures.measured[kind][came.place]
        sections = [*piece.sections.values()]
        if kind == "rod_journal" and self.figures.has_layout and came.place in self.figures.layout.throws:
            pins = self.figures.layout.pins(came.place)
            if len(pins) > 1 and len(pins) == len(sections):
                sections = [self.section_of(piece, came)]
        name = f"{kind}_{pick}"
        return self.of(name, came.place, kind, came.place, sections, pick)

    def mean(self, piece: Measured) -> Step:
        """The mean of all that was measured of a piece."""
        return self.of(piece.kind, piece.place, piece.kind, piece.place, [*piece.sections.values()], "mean")

    def section(self, piece: Measured, came: Came) -> Step:
        """The mean diameter at one level."""
        section = self.section_of(piece, came)
        place = f"{piece.place} {level_of(piece, section)}".strip()
        return self.of(piece.kind, place, piece.kind, piece.place, [section], "mean")

    @staticmethod
    def section_of(piece: Measured, came: Came) -> tuple[Size, ...]:
        return next(section for section in piece.sections.values() if any(size.where == came.where for size in section))

    def of(
        self, name: str, place: str, kind: str, piece: str, sections: Sequence[tuple[Size, ...]], pick: Pick
    ) -> Step:
        """One size out of what was read of a place: the smallest, the largest, the mean of the levels' means, …"""
        unit = DIMENSIONS[MEASUREMENT_KINDS[kind].dimension][0]
        found = _mean(sections, unit) if pick == "mean" else _one(sections, pick, unit)
        read = [size for section in sections for size in section]
        step = Step(
            name=f"{name}.{place}",
            value=found.value,
            uncertainty=found.uncertainty,
            unit=unit,
            decimals=max(size.decimals for size in read) + (pick == "mean" and len(read) > 1),
            formula=found.formula,
            with_values=found.expression,
            sources=self.read_at(kind, piece, read),
        )
        return step if read[0].value == read[0].as_read else self.brought_to_20(step, read[0], kind, piece)

    def brought_to_20(self, step: Step, size: Size, kind: str, piece: str) -> Step:
        """A size with what brought it from the temperature of its session to 20 °C; see `fits.sizes`."""
        part = self.made_of(MEASUREMENT_KINDS[kind].made_of, piece)
        expansion = expansion_of(part.material if part else None)
        temperature = size.session.temperature
        assert temperature is not None
        assert part is not None
        assert expansion is not None
        rise = short(temperature.worth("degC") - REFERENCE)
        own, steel = short(expansion.coefficient), short(GAUGE)
        material = Source(
            what=f"material of the {part.kind}".replace("_", " "),
            values=(part.material or "",),
            where=part.where,
            field=("material",),
            said_by=part.maker,
        )
        return replace(
            step,
            formula=f"{step.formula} × (1 + αg ΔT) / (1 + α ΔT)",
            with_values=f"{step.with_values} × (1 + {steel}e-6 × {rise}) / (1 + {own}e-6 × {rise})",
            sources=(*step.sources, material),
            note=f"read at {short(temperature.worth('degC'))} °C, brought to 20 °C as {expansion.material} "
            f"({own}e-6/K), gauge of steel ({steel}e-6/K)",
        )

    def made_of(self, kind: str | None, piece: str) -> Part | None:
        """The part whose material a size goes by: the piece's own, or any of its kind; what is fitted before spares."""
        of_kind = [part for part in sorted(self.build.parts, key=lambda part: not part.fitted) if part.kind == kind]
        return next((part for part in of_kind if piece in part.pieces), of_kind[0] if of_kind else None)

    def read_at(self, kind: str, place: str, read: Sequence[Size]) -> tuple[Source, ...]:
        """The readings behind some sizes, with those of the same places that do not count."""
        title = MEASUREMENT_KINDS[kind].title
        used = list(dict.fromkeys((id(size.session), size.where) for size in read))
        sessions = {id(size.session): size.session for size in read}
        others = [each for each in self.build.clearances if each.what == kind and id(each) not in sessions]
        unclaimed = [(session, spot) for session in others for spot in session.spots if spot.place == place]
        sources = []
        for session_id, where in used:
            session = sessions[session_id]
            spot = next(each for each in session.spots if each.reading.where == where)
            same = [pair for pair in unclaimed if (pair[1].along, pair[1].within) == (spot.along, spot.within)]
            unclaimed = [pair for pair in unclaimed if pair not in same]
            at = " ".join(filter(None, (spot.place, spot.along, spot.within)))
            earlier = tuple(earlier_reading(each, other.reading) for each, other in same if other.reading.values)
            sources.append(read_source(title, at, spot.reading, session, earlier))
        if unclaimed and sources and MEASUREMENT_KINDS[kind].made_of is not None:
            rest = tuple(
                earlier_reading(each, spot.reading, f" {spot.along}".rstrip())
                for each, spot in unclaimed
                if spot.reading.values
            )
            sources[0] = replace(sources[0], earlier=(*sources[0].earlier, *rest))
        return tuple(sources)


class _Picked(NamedTuple):
    """A size out of several: in the unit of its kind, with its standard uncertainty, and how it was come by."""

    value: Fraction
    uncertainty: float | None
    formula: str
    expression: str


def _mean(sections: Sequence[tuple[Size, ...]], unit: str) -> _Picked:
    """The mean of the levels' means; see `Measured.mean`."""
    read = [size for section in sections for size in section]
    means = [sum((size.value for size in section), Fraction(0)) / len(section) for section in sections]
    by_level = [mean_of([_size_text(size, unit) for size in section]) for section in sections]
    formula = "mean of the levels' means" if len(sections) > 1 else of_readings(read)
    mean = sum(means, Fraction(0)) / len(means)
    return _Picked(mean, uncertainty_of_mean(tuple(read)), formula, mean_of(by_level))


def _one(sections: Sequence[tuple[Size, ...]], pick: Pick, unit: str) -> _Picked:
    """The smallest or the largest that was read, or the last."""
    read = [size for section in sections for size in section]
    picks = {"smallest": min, "largest": max}
    chosen = picks[pick](read, key=lambda size: size.value) if pick in picks else read[-1]
    expression, formula = _size_text(chosen, unit), "as read"
    if pick in picks and len(read) > 1:
        few = read if len(read) <= 6 else [picks[pick](each, key=lambda size: size.value) for each in sections]
        texts = list(dict.fromkeys(_size_text(size, unit) for size in few))
        expression = f"{'min' if pick == 'smallest' else 'max'}({', '.join(texts)})" if len(texts) > 1 else texts[0]
        formula = f"{pick} of {len(read)} readings"
    elif pick == "last" and len(read) > 1:
        formula = f"the last of {len(read)} steps"
    return _Picked(chosen.value, chosen.uncertainty, formula, expression)


def level_of(piece: Measured, section: tuple[Size, ...]) -> str:
    return next(name for name, each in piece.sections.items() if each is section)


def _size_text(size: Size, unit: str) -> str:
    readings = (spot.reading for spot in size.session.spots if spot.reading.where == size.where)
    return next(
        in_unit(each, unit) for reading in readings for each in reading.values if each.worth(unit) == size.as_read
    )
