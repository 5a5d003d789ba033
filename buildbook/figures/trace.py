"""Where a figure came from: its formula, the same with the values in it, and so on down to what was read or chosen.

Formulas are those of the modules that work the figures out; `trace_steps` says how one is written.
"""

from cmath import phase
from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from math import degrees
from typing import TYPE_CHECKING

from buildbook import uncertainty as gum
from buildbook.balance.bobweights import Line
from buildbook.figures.cylinders import weighed
from buildbook.figures.fits import FIT_KINDS, TIGHTENINGS, Fit, limit_words
from buildbook.figures.measured import fitted_places
from buildbook.figures.named import SIZES, Named, named_figures
from buildbook.figures.trace_compression import CompressionTraces
from buildbook.figures.trace_sizes import Pick, SizeTraces, level_of
from buildbook.figures.trace_steps import (
    Earlier,
    Source,
    Step,
    digits,
    each_with_its_unit,
    earlier_reading,
    in_unit,
    made_step,
    mean_of,
    of_readings,
    plain,
    read_source,
    times,
    written,
)
from buildbook.quantities import in_numbered_order
from buildbook.records.model import MEASUREMENT_KINDS, WEIGHING_KINDS

if TYPE_CHECKING:
    from buildbook.figures import Figures


def trace(figures: "Figures", name: str) -> Step:
    """Where the figure of that name came from, down to the readings. Raises KeyError where there is none."""
    return _Tracer(figures).figure(name)


class _Tracer:
    """The traces of one build's figures; each step is made once."""

    def __init__(self, figures: "Figures") -> None:
        self.figures = figures
        self.build = figures.build
        self.named = named_figures(figures)
        self.done: dict[str, Step] = {}
        self.sizes = SizeTraces(figures)
        self.compression = CompressionTraces(figures, self.sizes)

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
        elif kind in SIZES:
            step = self.sizes.mean(self.figures.measured[kind][place])
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
        values = tuple(f"{bound} {plain(quantity)} {quantity.unit}" for bound, quantity in bounds.items())
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
            earlier_reading(session, session.readings[piece.piece])
            for session in others
            if piece.piece in session.readings and session.readings[piece.piece].values
        )
        source = read_source(summary.title, piece.piece, reading, piece.session, earlier)
        return made_step(
            named,
            of_readings(reading.values),
            mean_of([in_unit(each, "g") for each in reading.values]),
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
            earlier_reading(each, each.lot.total, f" of {each.lot.pieces}")
            for each in sessions
            if each is not session and each.lot is not None and each.lot.total.values
        )
        source = read_source(f"{summary.title}, lot of {session.lot.pieces}", "", total, session, earlier)
        weight = mean_of([in_unit(each, "g") for each in total.values])
        return made_step(named, "weight of the lot / its pieces", f"{weight} / {session.lot.pieces}", sources=(source,))

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
        return made_step(named, formula, mean_of([each.text_in(named) for each in of]), of, alike=len(of) > 1)

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
        formula = " + ".join(times(count, what) for what, count in counts.items())
        with_values = " + ".join(times(count, step.text_in(named)) for count, _, step in terms)
        return made_step(named, formula, with_values, [step for _, _, step in terms])

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
        matched = pairing is not None and pairing.complete
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
            expression += f" + {in_unit(balance.oil, 'g')}"
            values, unit = written([balance.oil])
            oil = Source(what="oil on a throw", values=values, unit=unit, where=balance.where, field=("oil",))
            sources.append(replace(oil, said_by="an allowance, not weighed"))
        step = made_step(named, formula, expression, [rotating, reciprocating], sources=tuple(sources))
        return step if matched else replace(step, note=self.figures.bobweights.basis)

    def as_set(self, named: Named) -> Step:
        recorded = self.build.spins.bobweights
        assert recorded is not None
        reading = recorded.set[named.place]
        source = read_source("bobweight as set", f"throw {named.place}", reading, recorded)
        weight = mean_of([in_unit(each, "g") for each in reading.values])
        return made_step(named, of_readings(reading.values), weight, sources=(source,))

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
        return made_step(
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
        radius = in_unit(record.radius, "mm")
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
            Earlier(each_with_its_unit(each.amount, each.angle), "", step, each.where)
            for step in others
            if step.spin is not None and (each := step.spin.readings.get(plane)) is not None
        )
        read = Source(
            what=f"spin, {plane}",
            values=each_with_its_unit(reading.amount, reading.angle),
            where=reading.where,
            entry=last.step,
            earlier=earlier,
        )
        values, unit = written([record.radius])
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
            with_values=f"{in_unit(reading.amount, 'g')} × {radius}",
            sources=(read, at, *ways),
            note=f"{plain(reading.angle)}° as the machine counts ({counted}) is {degrees(phase(vector)) % 360:.1f}° "
            f"from throw 1, with the rotation: x = {x}, y = {y} g mm",
        )
        squares = " + ".join(f"({each})²" if each.startswith("−") else f"{each}²" for each in (x, y))
        return made_step(
            named, "√(x² + y²) / radius, at the last spin", f"√({squares}) / {_factor(radius)}", [unbalance]
        )

    # Sizes, gaps and what follows from them

    def fit(self, named: Named, fit: Fit) -> Step:
        kind, needs = fit.kind, FIT_KINDS[fit.kind].needs
        if kind == "compression_ratio":
            return self.compression.ratio(named, self.figures.compression.cylinders[fit.place])
        if kind == "quench":
            each = self.figures.compression.cylinders[fit.place]
            deck, gasket = self.compression.part(each, "deck"), self.compression.part(each, "gasket")
            return made_step(
                named,
                "deck height + gasket thickness",
                f"{deck.text_in(named)} + {gasket.text_in(named)}",
                [deck, gasket],
            )
        if kind == "compression_spread":
            ratios = (each for each in self.named.values() if each.kind == "compression_ratio")
            return self.difference(named, "highest compression ratio", sorted(ratios, key=lambda each: each.value))
        if len(needs) == 2:
            outer = self.sizes.extreme(needs[0], fit.came_from[0], "smallest")
            inner = self.sizes.extreme(needs[1], fit.came_from[1], "largest")
            titles = [MEASUREMENT_KINDS[need].title for need in needs]
            formula = f"{titles[0]}, smallest − {titles[1]}, largest"
            made = made_step(
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
            ends = [self.sizes.section(piece, each) for each in fit.came_from]
            formula = "largest mean of a level − smallest"
            return made_step(named, formula, f"{ends[0].text_in(named)} − {ends[1].text_in(named)}", ends)
        section = self.sizes.section_of(piece, fit.came_from[0])
        if kind.endswith("_out_of_round"):
            level = f"{piece.place} {level_of(piece, section)}".strip()
            ends = [
                self.sizes.of(f"{piece.kind}_{pick}", level, piece.kind, piece.place, [section], pick)
                for pick in ("largest", "smallest")
            ]
            formula = "largest − smallest diameter of one level"
            return made_step(named, formula, f"{ends[0].text_in(named)} − {ends[1].text_in(named)}", ends)
        pick: Pick = "mean"
        if kind.endswith("valve_to_piston"):
            pick = "smallest"
        elif kind in TIGHTENINGS:
            pick = "last"
        elif kind.endswith("stretch"):
            section, pick = tuple(size for size in section if size.value == fit.value)[:1], "only"
        read = self.sizes.of(kind, fit.place, piece.kind, piece.place, [section], pick)
        return replace(read, name=named.name, value=named.value, uncertainty=named.uncertainty, decimals=named.decimals)

    def paired(self, fit: Fit) -> tuple[Source, ...]:
        """What put together the two sides of a fit, where the pairing did."""
        if fit.kind == "piston_clearance":
            return self.put_in(fit.place)
        part = {"rod_clearance": "rod", "pin_in_rod": "rod", "pin_in_piston": "piston"}.get(fit.kind, "")
        return self.put_in(fitted_places(self.build).get((part, fit.place)))


def _limit_of(fit: Fit) -> Source | None:
    said = limit_words(fit)
    return Source(what="limit", values=(said,), where=fit.bounds.where) if said else None


def _factor(text: str) -> str:
    """A number that something is divided by, in brackets where it is a product itself."""
    return f"({text})" if "×" in text else text
