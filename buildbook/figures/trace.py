"""Where a figure came from: its formula, the same with the values in it, and so on down to what was read or chosen.

A formula with its values is arithmetic that anybody can do again: numbers, `+ − × /`, brackets, `²`, `√`, `π`, `min`
and `max`; `11.5e-6` is 0.0000115. Numbers stand with the digits that they were read with; one that is itself worked out
has one more, or two where that makes it exact. Formulas are those of the modules that work the figures out.
"""

from cmath import phase
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from math import degrees
from typing import TYPE_CHECKING, Literal, NamedTuple

from buildbook import uncertainty as gum
from buildbook.balance.bobweights import Line
from buildbook.figures.compression import CylinderCompression
from buildbook.figures.cylinders import weighed
from buildbook.figures.fits import FIT_KINDS, TIGHTENINGS, Fit, limit_words
from buildbook.figures.measured import Came, Measured, Size, fitted_places, uncertainty_of_mean
from buildbook.figures.named import Named, named_figures
from buildbook.fits.sizes import GAUGE, REFERENCE, expansion_of
from buildbook.quantities import DIMENSIONS, UNITS, Quantity, decimals_for, fixed, in_numbered_order
from buildbook.records.finding import Where
from buildbook.records.model import (
    MEASUREMENT_KINDS,
    WEIGHING_KINDS,
    Entry,
    MeasuringSession,
    Part,
    Reading,
    WeighingSession,
)

if TYPE_CHECKING:
    from buildbook.figures import Figures


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


def trace(figures: "Figures", name: str) -> Step:
    """Where the figure of that name came from, down to the readings. Raises KeyError where there is none."""
    return _Tracer(figures).figure(name)


def digits(value: Fraction, decimals: int, wanted: int = 0) -> str:
    """A value as it stands in a formula: with its own decimals, or up to two more to be exact, or else one more than
    its own and than is `wanted` of what it goes into."""
    exact = (each for each in range(decimals, decimals + 3) if (value * 10**each).denominator == 1)
    return fixed(value, next(exact, max(decimals, wanted) + 1)).replace("-", "−")


_Pick = Literal["smallest", "largest", "mean", "last", "only"]

# What the clearance volume and the swept volume are made of: the kind of measurement, or the part whose maker states it
# and under which name.
_OF_COMPRESSION = {
    "bore": ("cylinder_bore", "engine", "bore"),
    "stroke": ("", "engine", "stroke"),
    "chamber": ("chamber_volume", "head", "chamber"),
    "dish": ("piston_dish", "piston", "dish"),
    "deck": ("deck_height", "", ""),
    "gasket": ("gasket_thickness", "head_gasket", "thickness"),
    "gasket_bore": ("gasket_bore", "head_gasket", "diameter"),
    "ring_land": ("ring_land_volume", "", ""),
}


class _Tracer:
    """The traces of one build's figures; each step is made once."""

    def __init__(self, figures: "Figures") -> None:
        self.figures = figures
        self.build = figures.build
        self.named = named_figures(figures)
        self.done: dict[str, Step] = {}

    def figure(self, name: str) -> Step:
        if name not in self.done:
            self.done[name] = self._trace(self.named[name])
        return self.done[name]

    def _trace(self, named: Named) -> Step:
        kind, place = named.kind, named.place
        limit = self.limit(kind, place)
        if kind in FIT_KINDS:
            fit = next(each for each in self.figures.fits.of(kind) if each.place == (place or "all"))
            step = self.fit(named, fit)
            limit = _limit_of(fit)
        elif kind in WEIGHING_KINDS:
            step = self.piece(named) if place else self.lot(named)
        elif kind == "reciprocating":
            step = self.cylinder(named)
        elif kind == "bobweight":
            step = self.bobweight(named)
        elif kind == "bobweight_set":
            step = self.as_set(named)
        elif kind == "bobweight_target":
            throws = [self.figure(f"bobweight.{throw}") for throw in self.figures.bobweights.throws]
            step = self.mean(named, "mean of the throws' bobweights", throws)
        elif kind == "residual":
            step = self.residual(named)
        else:
            step = self.spread(named)
        return replace(step, limit=limit)

    def limit(self, kind: str, place: str) -> Source | None:
        """What build.yaml holds a weight to."""
        name = "big_end_spread" if kind == "rod_big_end_spread" else kind
        limit = self.build.limits.get(name)
        bounds = limit.bounds if limit else {}
        if limit is None or not bounds:
            return None
        if kind == "residual":
            bounds = {plane: bound for plane, bound in bounds.items() if plane == place}
        values = tuple(f"{bound} {_plain(quantity)} {quantity.unit}" for bound, quantity in bounds.items())
        return Source(what="limit", values=values, where=limit.where, said_by=limit.source) if values else None

    # Weights

    def piece(self, named: Named) -> Step:
        """A piece as weighed: the mean of its readings in the session that counts."""
        summary = self.figures.weighings[named.kind]
        piece = summary.pieces[named.place]
        reading = piece.session.readings[piece.piece]
        before = [each.session for each in piece.earlier]
        others = [
            session
            for session in self.build.weighings
            if session.what == named.kind and (session.void is not None or any(session is each for each in before))
        ]
        earlier = tuple(
            _earlier(session, session.readings[piece.piece])
            for session in others
            if piece.piece in session.readings and session.readings[piece.piece].values
        )
        source = _source(summary.title, piece.piece, reading, piece.session, earlier)
        return _step(
            named,
            _of_readings(reading.values),
            _mean_of([_in(each, "g") for each in reading.values]),
            sources=(source,),
        )

    def lot(self, named: Named) -> Step:
        """The mean of pieces that were weighed together: lot / pieces."""
        summary = self.figures.weighings[named.kind]
        sessions = [each for each in self.build.weighings if each.what == named.kind and each.lot is not None]
        session = next(each for each in sessions if each.where == summary.where)
        assert session.lot is not None
        total = session.lot.total
        earlier = tuple(
            _earlier(each, each.lot.total, f" of {each.lot.pieces}")
            for each in sessions
            if each is not session and each.lot is not None and each.lot.total.values
        )
        source = _source(f"{summary.title}, lot of {session.lot.pieces}", "", total, session, earlier)
        weight = _mean_of([_in(each, "g") for each in total.values])
        return _step(named, "weight of the lot / its pieces", f"{weight} / {session.lot.pieces}", sources=(source,))

    def kind_mean(self, what: str) -> Step:
        """The mean of a kind, where it stands for any piece of it."""
        summary = self.figures.weighings[what]
        if not summary.pieces:
            return self.figure(what)
        uncertainty = gum.combined(summary.mean_uncertainty, summary.drift)
        named = Named(f"{what}_mean", "", summary.mean, uncertainty, "g", summary.decimals + 1)
        pieces = [self.figure(f"{what}.{piece}") for piece in summary.pieces]
        return self.mean(named, f"mean {summary.title} of those weighed", pieces)

    def mean(self, named: Named, formula: str, of: Sequence[Step]) -> Step:
        return _step(named, formula, _mean_of([each.text_in(named) for each in of]), of, alike=len(of) > 1)

    def cylinder(self, named: Named) -> Step:
        """What of a cylinder goes up and down: the sum of its pieces."""
        pairing = self.figures.pairing
        assert pairing is not None
        pieces = pairing.cylinders[named.place].pieces
        terms = []
        for what in self.figures.kinds:
            found = weighed(what, self.figures.weighings.get(what), pieces)
            if found is not None and WEIGHING_KINDS[what].moves == "reciprocating":
                terms.append((found.count, found.what, self.weight_of(what, found.piece)))
        return replace(self.sum(named, terms), sources=self.put_in(named.place))

    def put_in(self, cylinder: str | None) -> tuple[Source, ...]:
        """Who decided what goes into a cylinder."""
        decision = self.build.pairings.decision
        chosen = decision.cylinders.get(cylinder or "") if decision else None
        if decision is None or chosen is None:
            return ()
        values = tuple(f"{kind} {piece}".replace("_", " ") for kind, piece in chosen.pieces.items())
        return (
            Source(what="pairing", place=f"cylinder {cylinder}", values=values, where=chosen.where, entry=decision),
        )

    def weight_of(self, what: str, piece: str) -> Step:
        return self.figure(f"{what}.{piece}") if piece else self.kind_mean(what)

    def sum(self, named: Named, terms: Sequence[tuple[int, str, Step]]) -> Step:
        """A sum of weights, each so many times; `terms` are count, what it is, and the step of one of it."""
        counts: dict[str, int] = {}
        for count, what, _ in terms:
            counts[what] = counts.get(what, 0) + count
        formula = " + ".join(_times(count, what) for what, count in counts.items())
        with_values = " + ".join(_times(count, step.text_in(named)) for count, _, step in terms)
        return _step(named, formula, with_values, [step for _, _, step in terms])

    def of_lines(self, named: Named, lines: Iterable[Line]) -> Step:
        kinds = {kind.title: what for what, kind in WEIGHING_KINDS.items()}
        return self.sum(
            named, [(each.count, each.what, self.weight_of(kinds[each.what], each.piece)) for each in lines]
        )

    def bobweight(self, named: Named) -> Step:
        """rotating + factor/100 × reciprocating + oil, see `balance.bobweights.bobweight`."""
        throw = self.figures.bobweights.throws[named.place]
        rotating = self.of_lines(
            Named("rotating_of_throw", named.place, throw.rotating, None, "g", 2),
            [each for each in throw.lines if not each.reciprocating],
        )
        moving = Named("reciprocating_of_throw", named.place, throw.reciprocating, None, "g", 2)
        pairing = self.figures.pairing
        matched = pairing is not None and all(each.pieces for each in pairing.cylinders.values())
        if matched:
            cylinders = [(1, f"cylinder {name}", self.figure(f"reciprocating.{name}")) for name in throw.cylinders]
            reciprocating = self.sum(moving, cylinders)
        else:
            reciprocating = self.of_lines(moving, [each for each in throw.lines if each.reciprocating])
        balance = self.build.balance
        factor = f"{balance.factor:f}" if balance.factor is not None else ""
        formula = "rotating + factor / 100 × reciprocating"
        expression = f"{rotating.text_in(named)} + {factor} / 100 × {reciprocating.text_in(named)}"
        sources = [
            Source(what="reciprocating factor", values=(factor,), unit="%", where=balance.where, field=("factor",))
        ]

        if balance.oil is not None:
            formula += " + oil"
            expression += f" + {_in(balance.oil, 'g')}"
            values, unit = _written([balance.oil])
            oil = Source(what="oil on a throw", values=values, unit=unit, where=balance.where, field=("oil",))
            sources.append(replace(oil, said_by="an allowance, not weighed"))
        step = _step(named, formula, expression, [rotating, reciprocating], sources=tuple(sources))
        return step if matched else replace(step, note=self.figures.bobweights.basis)

    def as_set(self, named: Named) -> Step:
        recorded = self.build.spins.bobweights
        assert recorded is not None
        reading = recorded.set[named.place]
        source = _source("bobweight as set", f"throw {named.place}", reading, recorded)
        weight = _mean_of([_in(each, "g") for each in reading.values])
        return _step(named, _of_readings(reading.values), weight, sources=(source,))

    def spread(self, named: Named) -> Step:
        """Greatest less least of the figures of one kind."""
        kind = "bobweight" if named.kind == "bobweight_spread" else named.kind.removesuffix("_spread")
        of = sorted((each for each in self.named.values() if each.kind == kind), key=lambda each: each.value)
        words = {"reciprocating": "cylinder", "bobweight": "bobweight", "compression_ratio": "compression ratio"}
        what = words.get(kind) or WEIGHING_KINDS[kind].title
        return self.difference(named, f"{'highest' if kind == 'compression_ratio' else 'heaviest'} {what}", of)

    def difference(self, named: Named, of_most: str, of: Sequence[Named]) -> Step:
        """The last less the first of some figures that stand in the order of their values."""
        most, least = self.figure(of[-1].name), self.figure(of[0].name)
        word = "lowest" if of_most.startswith("highest") else "lightest"
        between = tuple(sorted((each.name for each in of[1:-1]), key=in_numbered_order))
        return _step(
            named,
            f"{of_most} − {word}",
            f"{most.text_in(named)} − {least.text_in(named)}",
            [most, least],
            between=between,
        )

    # At the balancing machine

    def residual(self, named: Named) -> Step:
        """The unbalance that the last spin showed in a plane, as grams at the plane's radius: √(x² + y²)/radius."""
        balance, plane = self.figures.balance, named.place
        last = balance.spins[-1]
        assert last.step.spin is not None
        reading = last.step.spin.readings[plane]
        record = self.build.spins.planes[plane]
        assert record.radius is not None
        radius = _in(record.radius, "mm")
        vector = last.measured.front if plane == "front" else last.measured.rear
        counted = f"{balance.angles.positive}, {balance.angles.reading}".replace("_", " ")
        x, y = (digits(Fraction(each).limit_denominator(10**6), 2) for each in (vector.real, vector.imag))
        repeated = [
            spin.step
            for number, spin in enumerate(balance.spins[:-1])
            if not any(each.since for each in balance.spins[number + 1 :])
        ]
        others = [step for step in self.build.spins.steps if step.void is not None or step in repeated]
        earlier = tuple(
            Earlier(_pair(each.amount, each.angle), "", step, each.where)
            for step in others
            if step.spin is not None and (each := step.spin.readings.get(plane)) is not None
        )
        read = Source(
            what=f"spin, {plane}",
            values=_pair(reading.amount, reading.angle),
            where=reading.where,
            entry=last.step,
            earlier=earlier,
        )
        values, unit = _written([record.radius])
        at = Source(
            what=f"radius of the {plane} plane", values=values, unit=unit, where=record.where, field=("radius",)
        )
        ways = [
            Source(what="how the machine counts", values=tuple(counted.split(", ")), where=each.where)
            for each in [self.build.spins.angles]
            if each is not None
        ]
        uncertainty = balance.repeatability
        unbalance = Step(
            name=f"unbalance.{plane}",
            value=Fraction(abs(vector)),
            uncertainty=uncertainty,
            unit="g mm",
            decimals=2,
            formula="amount × radius",
            with_values=f"{_in(reading.amount, 'g')} × {radius}",
            sources=(read, at, *ways),
            note=f"{_plain(reading.angle)}° as the machine counts ({counted}) is {degrees(phase(vector)) % 360:.1f}° "
            f"from throw 1, with the rotation: x = {x}, y = {y} g mm",
        )
        squares = " + ".join(f"({each})²" if each.startswith("−") else f"{each}²" for each in (x, y))
        return _step(named, "√(x² + y²) / radius, at the last spin", f"√({squares}) / {_factor(radius)}", [unbalance])

    # Sizes, gaps and what follows from them

    def fit(self, named: Named, fit: Fit) -> Step:
        kind, needs = fit.kind, FIT_KINDS[fit.kind].needs
        if kind == "compression_ratio":
            return self.ratio(named, self.figures.compression.cylinders[fit.place])
        if kind == "quench":
            each = self.figures.compression.cylinders[fit.place]
            deck, gasket = self.of_compression(each, "deck"), self.of_compression(each, "gasket")
            return _step(
                named,
                "deck height + gasket thickness",
                f"{deck.text_in(named)} + {gasket.text_in(named)}",
                [deck, gasket],
            )
        if kind == "compression_spread":
            ratios = (each for each in self.named.values() if each.kind == "compression_ratio")
            return self.difference(named, "highest compression ratio", sorted(ratios, key=lambda each: each.value))
        if len(needs) == 2:
            outer = self.extreme(needs[0], fit.came_from[0], "smallest")
            inner = self.extreme(needs[1], fit.came_from[1], "largest")
            titles = [MEASUREMENT_KINDS[need].title for need in needs]
            formula = f"{titles[0]}, smallest − {titles[1]}, largest"
            made = _step(
                named,
                formula,
                f"{outer.text_in(named)} − {inner.text_in(named)}",
                [outer, inner],
                sources=self.paired(fit),
            )
            if fit.mean is None or fit.bounds.most is None:
                return made
            mean = digits(Fraction(fit.mean.value).limit_denominator(10**9), fit.decimals)
            return replace(made, note=f"its mean, {mean}, is what the maximum is held against")
        piece = self.figures.measured[needs[0]][fit.came_from[0].place]
        if kind.endswith("_taper"):
            ends = [self.section(piece, each) for each in fit.came_from]
            formula = "largest mean of a level − smallest"
            return _step(named, formula, f"{ends[0].text_in(named)} − {ends[1].text_in(named)}", ends)
        section = self.section_of(piece, fit.came_from[0])
        if kind.endswith("_out_of_round"):
            level = f"{piece.place} {_level_of(piece, section)}".strip()
            ends = [
                self.sizes(f"{piece.kind}_{pick}", level, piece.kind, piece.place, [section], pick)
                for pick in ("largest", "smallest")
            ]
            formula = "largest − smallest diameter of one level"
            return _step(named, formula, f"{ends[0].text_in(named)} − {ends[1].text_in(named)}", ends)
        pick: _Pick = "mean"
        if kind.endswith("valve_to_piston"):
            pick = "smallest"
        elif kind in TIGHTENINGS:
            pick = "last"
        elif kind.endswith("stretch"):
            section, pick = tuple(size for size in section if size.value == fit.value)[:1], "only"
        read = self.sizes(kind, fit.place, piece.kind, piece.place, [section], pick)
        return replace(read, name=named.name, value=named.value, uncertainty=named.uncertainty, decimals=named.decimals)

    def paired(self, fit: Fit) -> tuple[Source, ...]:
        """What put together the two sides of a fit, where the pairing did."""
        if fit.kind == "piston_clearance":
            return self.put_in(fit.place)
        part = {"rod_clearance": "rod", "pin_in_rod": "rod", "pin_in_piston": "piston"}.get(fit.kind, "")
        return self.put_in(fitted_places(self.build).get((part, fit.place)))

    def extreme(self, kind: str, came: Came, pick: _Pick) -> Step:
        """The tightest place of a bore or of what runs in it; of a split pin only that part that the rod runs on."""
        piece = self.figures.measured[kind][came.place]
        sections = [*piece.sections.values()]
        if kind == "rod_journal" and self.figures.has_layout and came.place in self.figures.layout.throws:
            pins = self.figures.layout.pins(came.place)
            if len(pins) > 1 and len(pins) == len(sections):
                sections = [self.section_of(piece, came)]
        return self.sizes(kind, came.place, kind, came.place, sections, pick)

    def section(self, piece: Measured, came: Came) -> Step:
        """The mean diameter at one level."""
        section = self.section_of(piece, came)
        place = f"{piece.place} {_level_of(piece, section)}".strip()
        return self.sizes(piece.kind, place, piece.kind, piece.place, [section], "mean")

    @staticmethod
    def section_of(piece: Measured, came: Came) -> tuple[Size, ...]:
        return next(section for section in piece.sections.values() if any(size.where == came.where for size in section))

    def sizes(
        self, name: str, place: str, kind: str, piece: str, sections: Sequence[tuple[Size, ...]], pick: _Pick
    ) -> Step:
        """One size out of what was read of a place: the smallest, the largest, the mean of the levels' means, …"""
        unit = DIMENSIONS[MEASUREMENT_KINDS[kind].dimension][0]
        read = [size for section in sections for size in section]
        decimals = max(size.decimals for size in read)
        if pick == "mean":
            means = [sum((size.value for size in section), Fraction(0)) / len(section) for section in sections]
            value = sum(means, Fraction(0)) / len(means)
            uncertainty = uncertainty_of_mean(tuple(read))
            decimals += len(read) > 1
            by_level = [_mean_of([_size_text(size, unit) for size in section]) for section in sections]
            expression = _mean_of(by_level)
            formula = "mean of the levels' means" if len(sections) > 1 else _of_readings(read)
        else:
            picks = {"smallest": min, "largest": max}
            chosen = picks[pick](read, key=lambda size: size.value) if pick in picks else read[-1]
            value, uncertainty = chosen.value, chosen.uncertainty
            expression, formula = _size_text(chosen, unit), "as read"
            if pick in picks and len(read) > 1:
                few = read if len(read) <= 6 else [picks[pick](each, key=lambda size: size.value) for each in sections]
                texts = list(dict.fromkeys(_size_text(size, unit) for size in few))
                expression = (
                    f"{'min' if pick == 'smallest' else 'max'}({', '.join(texts)})" if len(texts) > 1 else texts[0]
                )
                formula = f"{pick} of {len(read)} readings"
            elif pick == "last" and len(read) > 1:
                formula = f"the last of {len(read)} steps"
        note, sources = "", self.read_at(kind, piece, read)
        if read[0].value != read[0].as_read:
            session = read[0].session
            part = self.made_of(MEASUREMENT_KINDS[kind].made_of, piece)
            expansion = expansion_of(part.material if part else None)
            assert session.temperature is not None
            assert part is not None
            assert expansion is not None
            rise = _decimal(session.temperature.worth("degC") - REFERENCE)
            own, steel = _decimal(expansion.coefficient), _decimal(GAUGE)
            expression += f" × (1 + {steel}e-6 × {rise}) / (1 + {own}e-6 × {rise})"
            formula += " × (1 + αg ΔT) / (1 + α ΔT)"
            at = _decimal(session.temperature.worth("degC"))
            note = (
                f"read at {at} °C, brought to 20 °C as {expansion.material} ({own}e-6/K), gauge of steel ({steel}e-6/K)"
            )
            material = Source(
                what=f"material of the {part.kind}".replace("_", " "),
                values=(part.material or "",),
                where=part.where,
                field=("material",),
                said_by=part.maker,
            )
            sources = (*sources, material)
        return Step(
            name=f"{name}.{place}",
            value=value,
            uncertainty=uncertainty,
            unit=unit,
            decimals=decimals,
            formula=formula,
            with_values=expression,
            sources=sources,
            note=note,
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
            earlier = tuple(_earlier(each, other.reading) for each, other in same if other.reading.values)
            sources.append(_source(title, at, spot.reading, session, earlier))
        if unclaimed and sources and MEASUREMENT_KINDS[kind].made_of is not None:
            rest = tuple(
                _earlier(each, spot.reading, f" {spot.along}".rstrip())
                for each, spot in unclaimed
                if spot.reading.values
            )
            sources[0] = replace(sources[0], earlier=(*sources[0].earlier, *rest))
        return tuple(sources)

    def ratio(self, named: Named, each: CylinderCompression) -> Step:
        """(swept + clearance)/clearance, see `fits.compression.compression_ratio`."""
        assert each.swept is not None
        assert each.volume is not None
        at = each.cylinder

        def volume(name: str, value: float, formula: str, expression: str, inputs: Sequence[Step]) -> Step:
            return _step(Named(name, at, Fraction(value), None, "cc", 2), formula, expression, inputs)

        part = {name: self.of_compression(each, name) for name in each.parts}
        bore = part["bore"].text
        swept = volume(
            "swept",
            each.swept,
            "π / 4 × bore² × stroke / 1000",
            f"π / 4 × {bore}² × {part['stroke'].text} / 1000",
            [part["bore"], part["stroke"]],
        )
        hole = volume(
            "gasket_volume",
            each.volume.gasket,
            "π / 4 × gasket bore² × thickness / 1000",
            f"π / 4 × {part['gasket_bore'].text}² × {part['gasket'].text} / 1000",
            [part["gasket_bore"], part["gasket"]],
        )
        deck = volume(
            "deck_volume",
            each.volume.deck,
            "π / 4 × bore² × deck height / 1000",
            f"π / 4 × {bore}² × {_in_brackets(part['deck'].text)} / 1000",
            [part["bore"], part["deck"]],
        )
        terms = [part["chamber"], part["dish"], hole, deck, *([part["ring_land"]] if "ring_land" in part else [])]
        words = "chamber + dish + gasket + deck" + (" + ring land" if "ring_land" in part else "")
        clearance = volume(
            "clearance", each.volume.total, words, " + ".join(_in_brackets(term.text) for term in terms), terms
        )
        expression = f"({swept.text} + {clearance.text}) / {clearance.text}"
        return _step(named, "(swept + clearance) / clearance", expression, [swept, clearance])

    def of_compression(self, each: CylinderCompression, name: str) -> Step:
        """One thing that the compression is made of: measured, between the ends of its bank, or as stated."""
        known = each.parts[name]
        kind, of, stated = _OF_COMPRESSION[name]
        if len(known.came) == 2:
            return self.between_ends(each, known.came, known.uncertainty)
        if known.came:
            piece = self.figures.measured[kind][known.came[0].place]
            return self.sizes(kind, piece.place, kind, piece.place, [*piece.sections.values()], "mean")
        engine = self.build.engine
        field: tuple[str, ...]
        if of == "engine":
            quantity, where = engine.bore if name == "bore" else engine.stroke, engine.where
            place, said_by, field = engine.name, None, (name,)
        else:
            part = next(
                part
                for part in self.build.parts
                if part.kind == of
                and part.fitted
                and stated in part.stated
                and float(part.stated[stated].worth(DIMENSIONS[part.stated[stated].dimension][0])) == known.value
            )
            quantity, where = part.stated[stated], part.where
            place, said_by, field = of.replace("_", " "), part.maker, ("stated", stated)
        assert quantity is not None
        unit = DIMENSIONS[quantity.dimension][0]
        values, written_unit = _written([quantity])
        source = Source(
            what=f"stated {stated}",
            place=place,
            values=values,
            unit=written_unit,
            where=where,
            field=field,
            said_by=said_by,
        )
        return Step(
            name=f"{name}_stated.{each.cylinder}",
            value=quantity.worth(unit),
            uncertainty=known.uncertainty,
            unit=unit,
            decimals=decimals_for(quantity.last_digit(unit)),
            formula="as stated",
            with_values=_in(quantity, unit),
            sources=(source,),
        )

    def between_ends(self, each: CylinderCompression, came: Sequence[Came], uncertainty: float) -> Step:
        """The deck of a cylinder between the two ends of its bank, see `figures.compression`."""
        ends = [self.section(self.figures.measured["deck_height"][end.place], end) for end in came]
        layout = self.figures.layout
        throws = list(layout.throws)
        bank = [one for one in layout.cylinders.values() if one.bank == layout.cylinders[each.cylinder].bank]
        from_front = [one.name for one in sorted(bank, key=lambda one: throws.index(one.throw))]
        number, steps = from_front.index(each.cylinder), len(from_front) - 1
        share, text = (Fraction(number, steps), f"{number} / {steps}") if steps else (Fraction(1, 2), "1 / 2")
        front, rear = (_in_brackets(end.text) for end in ends)
        return Step(
            name=f"deck_height.{each.cylinder}",
            value=ends[0].value + share * (ends[1].value - ends[0].value),
            uncertainty=uncertainty,
            unit="mm",
            decimals=max(end.decimals for end in ends) + 1,
            formula="front + its place in the bank × (rear − front)",
            with_values=f"{front} + {text} × ({rear} − {front})",
            inputs=tuple(ends),
        )


def _step(
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


def _limit_of(fit: Fit) -> Source | None:
    said = limit_words(fit)
    return Source(what="limit", values=(said,), where=fit.bounds.where) if said else None


def _level_of(piece: Measured, section: tuple[Size, ...]) -> str:
    return next(name for name, each in piece.sections.items() if each is section)


def _times(count: int, what: str) -> str:
    return f"{count} × {what}" if count > 1 else what


def _factor(text: str) -> str:
    """A number that something is divided by, in brackets where it is a product itself."""
    return f"({text})" if "×" in text else text


def _in_brackets(text: str) -> str:
    return f"({text})" if text.startswith("−") else text


def _of_readings(values: Sequence[object]) -> str:
    return f"mean of {len(values)} readings" if len(values) > 1 else "as read"


def _mean_of(texts: Sequence[str]) -> str:
    return f"({' + '.join(texts)}) / {len(texts)}" if len(texts) > 1 else texts[0]


def _plain(quantity: Quantity) -> str:
    """The number alone, with the digits it was written with."""
    return f"{quantity.number:f}"


def _decimal(value: Fraction) -> str:
    """A number with no more digits than it needs, seven after the point at most."""
    text = fixed(value, 7).rstrip("0").rstrip(".")
    return text.replace("-", "−")


def _in(quantity: Quantity, unit: str) -> str:
    """A quantity in a formula that is in `unit`: as written, times what its own unit is worth where that is another."""
    written = _plain(quantity).replace("-", "−")
    if quantity.unit == unit:
        return written
    factor = UNITS[quantity.unit].factor / UNITS[unit].factor
    return f"{written} × {(Decimal(factor.numerator) / Decimal(factor.denominator)).normalize():f}"


def _size_text(size: Size, unit: str) -> str:
    readings = (spot.reading for spot in size.session.spots if spot.reading.where == size.where)
    return next(_in(each, unit) for reading in readings for each in reading.values if each.worth(unit) == size.as_read)


def _written(quantities: Sequence[Quantity]) -> tuple[tuple[str, ...], str]:
    """Numbers as written and the unit that they share; each with its own where they do not."""
    units = {each.unit for each in quantities}
    if len(units) == 1:
        return tuple(_plain(each) for each in quantities), units.pop()
    return _pair(*quantities), ""


def _pair(*quantities: Quantity) -> tuple[str, ...]:
    return tuple(f"{_plain(each)} {each.unit}" for each in quantities)


def _source(what: str, place: str, reading: Reading, entry: Entry, earlier: tuple[Earlier, ...] = ()) -> Source:
    values, unit = _written(reading.values)
    return Source(what=what, place=place, values=values, unit=unit, where=reading.where, entry=entry, earlier=earlier)


def _earlier(session: WeighingSession | MeasuringSession, reading: Reading, more: str = "") -> Earlier:
    values, unit = _written(reading.values)
    return Earlier(values, unit + more, session, reading.where)
