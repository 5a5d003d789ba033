"""The balance factor: what each leaves, which leaves the least, and why."""

from cmath import phase
from collections.abc import Iterator
from itertools import pairwise
from math import degrees

from rich.console import Console

from buildbook.figures import Figures
from buildbook.figures.shaking import Factor, FactorFigures, Shaking
from buildbook.quantities import fixed
from buildbook.views.curve import LABEL, curve
from buildbook.views.screen import BOLD, DIM, DOUBT, Column, bar, heading, line, row, table, words

_LEAST = {
    "force": "the force, in any direction",
    "vertical": "the force up and down",
    "horizontal": "the force sideways",
    "moment": "the moment about mid-length",
    "moment_vertical": "the moment up and down",
    "moment_horizontal": "the moment sideways",
}
_DECIMALS = {"N": 0, "N·m": 1}


def draw_factor(to: Console, figures: Figures, found: Shaking, factor: FactorFigures) -> None:
    heading(to, "Balance factor", figures.build.name)
    speed = f" at {found.speed:g} rpm" if found.build is not None else ""
    to.print(words(f"{found.layout.name or 'layout as spelled out'}{speed}; least of {_LEAST[factor.least]}", DIM))
    if found.build is None:
        said = f"all pistons alike, in multiples of one piston's force: {'; '.join(found.missing)}"
        to.print(words(said, DOUBT))
    elif found.assumed:
        to.print(words(found.assumed, DOUBT))
    if factor.first_order_only:
        to.print(words("Of the first order alone: the second, which no factor changes, takes a rod length.", DOUBT))
    to.print()
    if factor.best is None:
        lefts = [each.left for each in factor.curve]
        left = " to ".join(dict.fromkeys(_left(factor, each) for each in (min(lefts), max(lefts))))
        rest = " of the first order" if factor.first_order_only else ""
        rest += "; what differs is a few grams between the pieces" if " " in left else ""
        to.print(line(("No factor is better than another", BOLD), f": each leaves {left} {factor.unit}{rest}."))
    else:
        _draw_choices(to, factor)
        to.print()
        _draw_curve(to, factor)
    to.print()
    for said in _why(factor):
        to.print(words(said))
    if factor.split:
        to.print()
        _draw_split(to, factor)
    to.print()
    caution = (
        "A factor is a choice made with the counterweights: the engine maker's comes first, and a frame or mounts made "
        "for one factor may shake more with another."
    )
    to.print(words(caution, DIM))


def _left(factor: FactorFigures, amount: float) -> str:
    return fixed(amount, _DECIMALS.get(factor.unit, 3))


def _draw_choices(to: Console, factor: FactorFigures) -> None:
    choices = {
        "least": factor.best,
        "this build": factor.chosen,
        "half": factor.common_practice,
        "rotating only": factor.curve[0],
    }
    columns: list[Column] = [(f"left, {factor.unit}", "right")]
    if factor.common_practice.across is not None:
        columns.append(("up and down" if factor.least.endswith("horizontal") else "sideways", "right"))
    listing = table(("", "left"), ("factor", "right"), *columns, ("", "left"))
    most = max(each.left for each in choices.values() if each) or 1.0
    for name, each in choices.items():
        if each is not None:
            left = [words(_left(factor, each.left), BOLD)]
            if each.across is not None:
                left.append(words(_left(factor, each.across)))
            row(listing, name, f"{fixed(each.factor, 1)} %", *left, bar(each.left / most, 24 if to.width >= 70 else 12))
    to.print(listing)
    units = {
        "F1": "F1: mass × crank radius × speed squared, of one piston",
        "a": "a: from one throw to the next",
        "b": "b: from bank to bank",
    }
    said = "; ".join([units[part] for part in factor.unit.split() if part in units])
    to.print(words("Left: the largest in a turn, where all that goes round is counterweighted as well.", DIM))
    to.print(words(f"50 % is common practice, no source.{f' {said}.' if said else ''}", DIM))


def _draw_curve(to: Console, factor: FactorFigures) -> None:
    columns = min(53 if to.width < 110 else 80, to.width - LABEL - 2)
    marks = [(each.factor, mark) for each, mark in ((factor.chosen, "B"), (factor.best, "L")) if each is not None]
    known = {each.factor: each.left for each in (*factor.curve, factor.chosen, factor.best) if each is not None}
    points = sorted(known.items())

    def left(percent: float) -> float:
        """Between the two nearest factors that were worked out."""
        (low, before), (high, after) = next(
            pair for pair in pairwise(points) if percent <= pair[1][0] or pair[1] == points[-1]
        )
        return before + (percent - low) / (high - low) * (after - before)

    said = f"{factor.unit} left, by factor in per cent; L: least" + (", B: this build" if factor.chosen else "")
    to.print(words(f"{'':{LABEL + 1}}{said}", DIM))
    places = len(factor.curve) - 1
    for each in curve(left, 100.0, columns, lambda amount: _left(factor, amount), places=places, marks=marks):
        to.print(words(each.rstrip()))


def _why(factor: FactorFigures) -> Iterator[str]:
    yield (
        "In the first order, half of every reciprocating weight turns with its own crankpin, in any engine: that half "
        "a counterweight of 50 % cancels. The other half turns against the crankshaft, where no counterweight goes."
    )
    what = "moment" if factor.least.startswith("moment") else "force"
    if factor.best is None:
        if what == "force":
            yield "Here the crankpins cancel all round, so that no factor changes the force."
        elif factor.has_length:
            yield "Here what turns with the crankpins makes no moment of its own, so that no factor changes the moment."
        else:
            yield "Here the cylinders stand at one place along the crankshaft, as far as engine.yaml says: no moment."
        return
    if factor.against_crank < 1e-9:
        yield f"In this layout the other halves cancel between the cylinders: 50 % leaves no {what} of the first order."
    elif factor.least in {"force", "moment"}:
        yield (
            f"Here the other halves add up to {fixed(100 * factor.against_crank, 0)} % of what turns with the "
            f"crankshaft: 50 % leaves just that {what}, alike in all directions. Another factor only takes from one "
            "direction what it adds to the other; to be rid of it takes a shaft that turns the other way."
        )
    else:
        yield "A factor away from 50 % takes from one direction what it adds to the other: look at both."
    if factor.least in {"force", "moment"} and abs(factor.best.factor - 50) > 0.5:
        yield (
            "The second order, which no factor changes, adds to the first at some crank angles: that is why the least "
            f"is at {fixed(factor.best.factor, 1)} % and not at 50."
        )


def _draw_split(to: Console, factor: FactorFigures) -> None:
    to.print(line(("Split pins", BOLD), ("  the bobweight by pin with this build's factor, g", DIM)))
    listing = table(("throw", "left"), ("on its pins", "left"), ("one weight instead", "right"), ("at", "right"))
    for each in factor.split:
        pins = ", ".join(f"{fixed(pin.total, 1)} at {pin.angle:g}°" for pin in each.throw.pins)
        at = round(degrees(phase(each.as_one))) % 360
        row(listing, each.throw.throw, words(pins, BOLD), fixed(abs(each.as_one), 1), f"{at}°")
    to.print(listing)
    said = (
        "One weight midway between the two pins must be that much lighter to pull like them, and it leaves out that "
        "one pin stands before the other: where the crankshaft allows it, hang each pin's own weight on it."
    )
    to.print(words(said, DIM))


def factor_json(factor: FactorFigures) -> dict[str, object]:
    """`figures.factor`."""
    return {
        "least": factor.least,
        "unit": factor.unit,
        "first_order_only": factor.first_order_only,
        "best": _factor_json(factor.best),
        "chosen": _factor_json(factor.chosen),
        "common_practice": _factor_json(factor.common_practice),
        "curve": [_factor_json(each) for each in factor.curve],
        "split": [
            {
                "throw": each.throw.throw,
                "pins": [{"angle": pin.angle, "total": float(pin.total)} for pin in each.throw.pins],
                "as_one": {"total": abs(each.as_one), "angle": degrees(phase(each.as_one)) % 360},
            }
            for each in factor.split
        ],
    }


def _factor_json(each: Factor | None) -> dict[str, float] | None:
    """`across` only where one direction was asked for."""
    return {name: amount for name, amount in each._asdict().items() if amount is not None} if each else None
