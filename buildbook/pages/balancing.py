"""Bobweights and the story at the balancing machine, for paper."""

from collections.abc import Iterator, Mapping
from fractions import Fraction

from buildbook.balance.bobweights import Bobweight, Line, ThrowBobweight, as_one_weight
from buildbook.balance.unbalance import Reading
from buildbook.figures import Figures
from buildbook.figures.balance import PLANES, BalanceFigures, ChangeFigure, NoBalance, SpinFigure
from buildbook.figures.bobweights import BobweightFigures
from buildbook.figures.cylinders import kind_words
from buildbook.figures.standing import Verdict
from buildbook.pages.drawing import Mark, Spun, polar_plot
from buildbook.pages.html import Child, Markup, element, own, section, table, text
from buildbook.quantities import fixed, two_figures
from buildbook.views.spins import words_of

_BOBWEIGHTS_MEAN = (
    "A bobweight stands in for the rods and pistons of a throw while the crankshaft is spun: what goes round counts in "
    "full, what goes up and down by the factor."
)
_SPINS_MEAN = (
    "How heavy one side of the crankshaft was, in grams at the radius where metal is taken, and where; then what was "
    "done about it, until what was left is small enough."
)

VERDICTS: dict[Verdict, tuple[str, str]] = {
    "over": ("OVER THE LIMIT.", "More metal has to go."),
    "go_on": ("WITHIN EVERY LIMIT.", "It is still above what the job can tell apart."),
    "stop": ("DONE: BELOW THE FLOOR.", "What is left is no more than the rest of the job can tell apart."),
}


def bobweights(figures: Figures, *, line_by_line: bool) -> Markup:
    """The target, every throw's bobweight and what it was set to; in the shop the card of each throw."""
    if not figures.has_layout:
        return Markup()
    worked_out = figures.bobweights
    if not worked_out.wanted:
        return section(
            "Bobweights",
            element("p", element("b", "This crankshaft wants none. "), worked_out.why),
            means=_BOBWEIGHTS_MEAN,
        )
    if worked_out.missing:
        said = f"Not known yet: {'; '.join(worked_out.missing)}"
        return section("Bobweights", element("p", said, class_="doubt"), means=_BOBWEIGHTS_MEAN)
    aim = worked_out.target
    factor = fixed(worked_out.factor or 0, 1).removesuffix(".0")
    oil = f"{fixed(worked_out.oil, 1)} g of oil a throw" if worked_out.oil_stated else "no allowance for oil"
    choice = f"Factor {factor} % of the reciprocating weight, {oil}: both choices of this build."
    choice += f" Weights: {worked_out.basis}."
    lead: Child = "The throws carry different numbers of rods, so each has its own."
    if aim is not None:
        lead = [
            "Target ",
            element("b", f"{fixed(aim.total, 1)} g"),
            f", each half {fixed(aim.half, 2)} g, ± {two_figures(aim.uncertainty)} g",
        ]
        lead = [
            *lead,
            f"; the throws are within {fixed(aim.spread, 1)} g of each other." if len(worked_out.throws) > 1 else ".",
        ]
    rows = [
        [
            own(name),
            own(" ".join(throw.cylinders)),
            fixed(throw.rotating, 1),
            fixed(throw.reciprocating, 1),
            fixed(throw.total, 1),
            fixed(throw.half, 2),
            *_as_set(worked_out, name),
        ]
        for name, throw in worked_out.throws.items()
    ]
    columns = [
        "throw",
        "cylinders",
        "rotating g>",
        "reciprocating g>",
        "bobweight g>",
        "half g>",
        "as set g>",
        "off g>",
    ]
    cards = [_card(throw, worked_out) for throw in worked_out.throws.values()] if line_by_line else []
    return section(
        "Bobweights",
        element("p", lead, class_="lead"),
        element("p", choice),
        table(columns, rows),
        element("div", cards, class_="two") if cards else None,
        means=_BOBWEIGHTS_MEAN,
    )


def _as_set(worked_out: BobweightFigures, throw: str) -> list[Child]:
    done = worked_out.set.get(throw)
    if done is None:
        return [element("span", "not set", class_="doubt"), ""]
    off: Child = fixed(done.from_target, 1, sign=True) if done.from_target is not None else ""
    return [
        fixed(done.weight, 1),
        [off, " ", element("span", "OFF", class_="bad")] if done.within_limit is False else off,
    ]


def _card(throw: ThrowBobweight, worked_out: BobweightFigures) -> Markup:
    rows: list[list[Child]] = [_card_line(each) for each in throw.lines]
    if worked_out.oil_stated:
        rows.append(["oil", "", "", fixed(throw.oil, 2)])
    rows += [[element("b", name), "", "", element("b", fixed(value, 2))] for name, value in _sums(throw)]
    for pin in throw.pins if len(throw.pins) > 1 else ():
        name = f"pin at {fixed(pin.angle, 0)}°, each half {fixed(pin.half, 2)}"
        rows.append([[name, ", cylinder ", own(" ".join(pin.cylinders))], "", "", fixed(pin.total, 2)])
    if len(throw.pins) > 1:
        rows.append(["one weight for both, midway between the pins", "", "", fixed(abs(as_one_weight(throw)), 2)])
    caption = f"throw {throw.throw}: cylinders {' '.join(throw.cylinders)}"
    return table(["", "g>", "times>", "carried g>"], rows, caption=caption)


def _sums(weight: Bobweight) -> Iterator[tuple[str, Fraction]]:
    yield "total", weight.total
    yield "each half", weight.half


def _card_line(each: Line) -> list[Child]:
    times = f"× {each.count}" if each.count > 1 else ""
    factor = f" × {float(each.factor):g}" if each.reciprocating else ""
    return [[each.what, " ", own(each.piece)], fixed(each.weight, 2), f"{times}{factor}".strip(), fixed(each.amount, 2)]


def story(figures: Figures, *, in_full: bool) -> Markup:
    """From the first spin to the last, at both planes; and whether it is done."""
    try:
        balance = figures.balance
    except NoBalance as error:
        return section("Balance", element("p", f"Not known yet: {error.what}.", class_="doubt"), means=_SPINS_MEAN)
    if not balance.spins:
        return section("Balance", element("p", "Nothing has been spun yet.", class_="doubt"), means=_SPINS_MEAN)
    angles = balance.angles
    counted = f"{kind_words(angles.positive)}, {kind_words(angles.reading)}, zero at {angles.zero:g}° from throw 1"
    return section(
        "Balance",
        element("p", _last_in_words(figures), class_="lead"),
        _verdict(figures, in_full=in_full),
        element("div", (_plot(figures, plane) for plane in PLANES), class_="two"),
        element(
            "p",
            "In the plots: ● measured, ○ as it was predicted. On the rim: ▲ pointing out where metal was taken, △ "
            f"pointing in where it was put on. Angles as the machine counts them: {counted}. The distance from the "
            "middle is the square root of the amount.",
        ),
        _steps(figures, in_full=in_full),
        _against(figures) if in_full else None,
        means=_SPINS_MEAN,
    )


def _grams(reading: Reading) -> str:
    return f"{fixed(reading.amount, 1)} g at {round(reading.angle) % 360}°"


def in_short(figures: Figures) -> Child:
    """From what to what the crankshaft was balanced, for a reader who knows no more of it."""
    try:
        balance = figures.balance
    except NoBalance:
        return "not yet"
    if not balance.spins:
        return "not yet"
    first, last = (balance.shown(balance.spins[place].measured) for place in (0, -1))
    said = ", ".join(f"{name} {fixed(first[name].amount, 1)} g → {fixed(last[name].amount, 1)} g" for name in PLANES)
    verdict: Child = {
        "over": element("span", "OVER THE LIMIT", class_="bad"),
        "go_on": "within every limit",
        "stop": "no more than the job can tell",
    }[figures.yardsticks.standing(balance.spins[-1]).verdict]
    return [f"crankshaft, {said}: ", verdict, "; changed since, and not spun again" if balance.pending else None]


def _last_in_words(figures: Figures) -> Child:
    balance = figures.balance
    first, last = (balance.shown(balance.spins[place].measured) for place in (0, -1))
    said = [f"{plane} {_grams(first[plane])} → {_grams(last[plane])}" for plane in PLANES]
    return f"First spin → last spin: {'; '.join(said)}."


def _verdict(figures: Figures, *, in_full: bool) -> Markup:
    balance = figures.balance
    standing = figures.yardsticks.standing(balance.spins[-1])
    loud, said = VERDICTS[standing.verdict]
    if standing.verdict == "go_on" and not standing.limited:
        loud, said = "ABOVE THE FLOOR.", "No limit for it is known."
    elif standing.verdict == "go_on" and not in_full:
        said = ""
    if standing.too_fine:
        said += f" {standing.too_fine}."
    after = None
    if balance.pending:
        done = ", ".join(words_of(each.step.change) for each in balance.pending if each.step.change)
        after = [" Since that spin, and not spun again: ", own(done), "."]
    return element("p", element("b", loud), " ", said, after, class_="verdict")


def _plot(figures: Figures, plane: str) -> Markup:
    balance = figures.balance
    spins = [
        Spun(
            spin.step.id or "?",
            balance.shown(spin.measured)[plane],
            balance.shown(spin.predicted)[plane] if spin.predicted and spin.since else None,
        )
        for spin in balance.spins
    ]
    marks = [
        Mark(each.step.id or "?", float(change.numbers["angle"].worth("deg")), taken=(each.weight or -1.0) < 0)
        for spin in balance.spins
        for each in spin.since
        if (change := each.step.change) is not None
        and change.words.get("plane") == plane
        and change.kind in {"drill", "grind", "add", "plug"}
    ]
    standing = figures.yardsticks.standing(balance.spins[-1])
    limits = standing.shop or standing.permissible
    return polar_plot(plane, spins, marks, {"limit": limits[plane]} if plane in limits else {})


def _steps(figures: Figures, *, in_full: bool) -> Markup:
    """Every step: what was done and what it changed, what was read and what had been predicted."""
    balance = figures.balance
    rows: list[list[Child]] = []
    for spin in balance.spins:
        rows += [_change_row(balance, each) for each in spin.since]
        rows += _spin_rows(figures, spin, in_full=in_full)
    rows += [_change_row(balance, each) for each in balance.pending]
    if in_full:
        by_id = {step.id: step for step in figures.build.spins.steps}
        for row in rows:
            step = by_id.get(str(row[0])) if row[0] else None
            when = step.taken.text.replace("T", " ")[:16] if step and step.taken else ""
            row.append([own(when), " ", own(step.by) if step and step.by else None])
    columns = ["step", "what", "front>", "rear>", "missed by g>", ""]
    if not in_full:
        columns.pop(4)
        rows = [[*row[:4], *row[5:]] for row in rows]
    rows = [[own(row[0]), *row[1:]] if row[0] else ["", *row[1:]] for row in rows]
    void = [each for each in figures.build.spins.steps if each.void is not None] if in_full else []
    struck = element("p", "Void: ", ([own(each.id or "?"), " (", own(each.void), ") "] for each in void))
    return text(table([*columns, *(["when, by"] if in_full else [])], rows, whole=False), struck if void else None)


def _spin_rows(figures: Figures, spin: SpinFigure, *, in_full: bool) -> Iterator[list[Child]]:
    balance = figures.balance
    shown = balance.shown(spin.measured)
    carrying = ["spin, with ", own(" ".join(spin.carrying))] if spin.carrying else "spin"
    missed = balance.grams(spin.missed_by) if spin.missed_by else None
    misses = ", ".join(fixed(abs(missed[plane]), 1) for plane in PLANES) if missed else ""
    verdict = VERDICTS[figures.yardsticks.standing(spin).verdict][0].rstrip(".").lower()
    readings = [element("b", _grams(shown[plane])) for plane in PLANES]
    yield [spin.step.id or "?", carrying, *readings, misses, verdict]
    parts = [("  static part", spin.split.static), ("  couple part", spin.split.couple_pair)] if in_full else []
    parts += [("  was predicted", spin.predicted)] if spin.predicted and in_full else []
    for name, vector in parts:
        yield ["", name, *(_grams(balance.shown(vector)[plane]) for plane in PLANES), "", ""]


def _change_row(balance: BalanceFigures, figure: ChangeFigure) -> list[Child]:
    change = figure.step.change
    assert change is not None
    adds = ["", ""]
    if figure.change is not None and figure.weight:
        shown = balance.shown(figure.change)
        adds = [f"+ {_grams(shown[plane])}" if shown[plane].amount >= 0.05 else "" for plane in PLANES]
    return [figure.step.id or "?", own(words_of(change)), *adds, "", figure.unknown or ""]


def _against(figures: Figures) -> Markup:
    """What is left against every yardstick, and the floor line by line."""
    yardsticks = figures.yardsticks
    spin = figures.balance.spins[-1]
    standing = yardsticks.standing(spin)

    def at_planes(grams: Mapping[str, float]) -> list[Child]:
        return [fixed(grams[plane], 2) if plane in grams else "" for plane in PLANES]

    rows: list[list[Child]] = [[["what ", own(spin.step.id or "?"), " left"], *at_planes(standing.amounts)]]
    if (held := yardsticks.tolerance) is not None:
        what = f"permissible, ISO 21940-11 {held.grade}, {fixed(held.mass, 1)} kg, {fixed(held.speed, 0)} rpm"
        rows.append([what, *at_planes(standing.permissible)])
    if standing.shop:
        rows.append(["the shop's own limit", *at_planes(standing.shop)])
    rows.append(["the floor: what cannot be told apart (k = 2)", *at_planes(standing.floor)])
    for each in yardsticks.floor.lines:
        if each.unknown is not None:
            rows.append([f"– {each.what}: not known, {each.unknown}", "", ""])
        else:
            rows.append([f"– {each.what}", fixed(each.front or 0.0, 2), fixed(each.rear or 0.0, 2)])
    return table(["g at the plane's radius", "front>", "rear>"], rows, caption="What it is held against")
