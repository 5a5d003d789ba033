"""Where a compression ratio came from: volumes and sizes as measured, or as a maker states them."""

from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from buildbook.figures.compression import CylinderCompression
from buildbook.figures.measured import Came
from buildbook.figures.named import Named
from buildbook.figures.trace_sizes import SizeTraces
from buildbook.figures.trace_steps import Source, Step, in_brackets, in_unit, made_step, written
from buildbook.quantities import DIMENSIONS, decimals_for

if TYPE_CHECKING:
    from buildbook.figures import Figures

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


class CompressionTraces:
    """The traces of what one build's compression is made of."""

    def __init__(self, figures: "Figures", sizes: SizeTraces) -> None:
        self.figures = figures
        self.build = figures.build
        self.sizes = sizes

    def ratio(self, named: Named, each: CylinderCompression) -> Step:
        """(swept + clearance)/clearance, see `fits.compression.compression_ratio`."""
        assert each.swept is not None
        assert each.volume is not None
        at = each.cylinder

        def volume(name: str, value: float, formula: str, expression: str, inputs: Sequence[Step]) -> Step:
            return made_step(Named(name, at, Fraction(value), None, "cc", 2), formula, expression, inputs)

        part = {name: self.part(each, name) for name in each.parts}
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
            f"π / 4 × {bore}² × {in_brackets(part['deck'].text)} / 1000",
            [part["bore"], part["deck"]],
        )
        terms = [part["chamber"], part["dish"], hole, deck, *([part["ring_land"]] if "ring_land" in part else [])]
        words = "chamber + dish + gasket + deck" + (" + ring land" if "ring_land" in part else "")
        clearance = volume(
            "clearance", each.volume.total, words, " + ".join(in_brackets(term.text) for term in terms), terms
        )
        expression = f"({swept.text} + {clearance.text}) / {clearance.text}"
        return made_step(named, "(swept + clearance) / clearance", expression, [swept, clearance])

    def part(self, each: CylinderCompression, name: str) -> Step:
        """One thing that the compression is made of: measured, between the ends of its bank, or as stated."""
        known = each.parts[name]
        kind, of, stated = _OF_COMPRESSION[name]
        if len(known.came) == 2:
            return self.between_ends(each, known.came, known.uncertainty)
        if known.came:
            piece = self.figures.measured[kind][known.came[0].place]
            return self.sizes.mean(piece)
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
        values, written_unit = written([quantity])
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
            with_values=in_unit(quantity, unit),
            sources=(source,),
        )

    def between_ends(self, each: CylinderCompression, came: Sequence[Came], uncertainty: float) -> Step:
        """The deck of a cylinder between the two ends of its bank, see `figures.compression`."""
        ends = [self.sizes.section(self.figures.measured["deck_height"][end.place], end) for end in came]
        layout = self.figures.layout
        throws = list(layout.throws)
        bank = [one for one in layout.cylinders.values() if one.bank == layout.cylinders[each.cylinder].bank]
        from_front = [one.name for one in sorted(bank, key=lambda one: throws.index(one.throw))]
        number, steps = from_front.index(each.cylinder), len(from_front) - 1
        share, text = (Fraction(number, steps), f"{number} / {steps}") if steps else (Fraction(1, 2), "1 / 2")
        front, rear = (in_brackets(end.text) for end in ends)
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
