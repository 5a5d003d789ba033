"""The balancing story: spins, corrections, predictions, the verdict, and the path in polar plots."""

from collections.abc import Mapping

from rich.console import Console
from rich.table import Table
from rich.text import Text

from buildbook.balance.unbalance import Reading, Unbalance
from buildbook.figures import Figures
from buildbook.figures.balance import PLANES, BalanceFigures, ChangeFigure, SpinFigure
from buildbook.figures.standing import Standing, Verdict
from buildbook.quantities import fixed
from buildbook.records.model import Change
from buildbook.views.polar import MARKS, draw_both, polar_plot
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, GOOD, heading, line, row, table, words

VERDICTS: dict[Verdict, tuple[str, str]] = {
    "over": ("OVER THE LIMIT", BAD),
    "go_on": ("within the limit", DOUBT),
    "stop": ("below the floor", GOOD),
}

CAUTION = (
    "Caution: keep out of the plane of spinning bobweights, with the guard closed. Heavy-metal plugs go in along the "
    "crankshaft's axis, retained and not open to the rim. Keep to the crankshaft maker's limits on counterweights."
)


def draw_spins(to: Console, figures: Figures) -> None:
    balance = figures.balance
    heading(to, "Spins", figures.build.name)
    angles = balance.angles
    said = f"grams at the planes' radii; angles {angles.positive.replace('_', ' ')}, {angles.reading.replace('_', ' ')}"
    to.print(words(said, DIM))
    if not balance.spins:
        to.print(words("nothing has been spun yet", DIM))
        return
    story = table(
        ("step", "left"), ("", "left"), ("front", "right"), ("rear", "right"), ("missed by", "right"), ("", "left")
    )
    for spin in balance.spins:
        for change in spin.since:
            _change_row(story, balance, change)
        _spin_rows(story, figures, spin)
    for change in balance.pending:
        _change_row(story, balance, change)
    to.print(story)
    if balance.pending and (expected := balance.after(balance.spins[-1].measured, balance.pending)):
        to.print(line(("the next spin should read: ", BOLD), both_planes(balance, expected)))
    _draw_plots(to, figures)
    draw_verdict(to, figures)
    to.print(words(CAUTION, DIM))


def _spin_rows(story: Table, figures: Figures, spin: SpinFigure) -> None:
    balance = figures.balance
    shown = balance.shown(spin.measured)
    said, style = verdict_words(figures.yardsticks.standing(spin))
    carrying = f"spin, with {' '.join(spin.carrying)}" if spin.carrying else "spin"
    missed = balance.grams(spin.missed_by) if spin.missed_by else None
    misses = " ".join(fixed(abs(missed[plane]), 1) for plane in PLANES) if missed else ""
    readings = [Text(reading_words(shown[plane]), style=BOLD) for plane in PLANES]
    row(story, words(spin.step.id or "", BOLD), carrying, *readings, misses, words(said, style))
    parts = [("  static part", spin.split.static), ("  couple part", spin.split.couple_pair)]
    parts += [("  was predicted", spin.predicted)] if spin.predicted else []
    for name, vector in parts:
        readings = [words(reading_words(balance.shown(vector)[plane]), DIM) for plane in PLANES]
        row(story, "", words(name, DIM), *readings, "", "")


def _change_row(story: Table, balance: BalanceFigures, figure: ChangeFigure) -> None:
    change = figure.step.change
    assert change is not None
    vectors = ["", ""]
    if figure.change is not None and figure.weight:
        vectors = [_signed(balance, figure.change, plane) for plane in PLANES]
    row(story, figure.step.id or "", words_of(change), *vectors, "", words(figure.unknown or "", DOUBT))


def _signed(balance: BalanceFigures, change: Unbalance, plane: str) -> str:
    """What a change adds at a plane, as the machine would show it; nothing where it is too little to see."""
    reading = balance.shown(change)[plane]
    return f"+ {reading_words(reading)}" if reading.amount >= 0.05 else ""


def reading_words(reading: Reading) -> str:
    """A reading as the machine shows it: `67.7 @  48`."""
    return f"{fixed(reading.amount, 1)} @ {round(reading.angle) % 360:3d}"


def both_planes(balance: BalanceFigures, vector: Unbalance) -> str:
    """A vector as the machine would show it at both planes."""
    shown = balance.shown(vector)
    return ", ".join(f"{plane} {reading_words(shown[plane])}" for plane in PLANES)


def words_of(change: Change) -> str:
    """A change in words: `drill rear @ 48: ⌀22 mm, 20 mm deep`."""
    numbers = {name: number.written for name, number in change.numbers.items()}
    angle = change.numbers["angle"].text if "angle" in numbers else ""
    where = f" {change.words['plane']} @ {angle}" if "plane" in change.words else ""
    match change.kind:
        case "drill":
            return f"drill{where}: ⌀{numbers['diameter']}, {numbers['depth']} deep"
        case "plug":
            return f"plug{where}: ⌀{numbers['diameter']} × {numbers['length']}"
        case "grind" | "add":
            return f"{change.kind}{where}" + (f": {numbers['amount']}" if "amount" in numbers else "")
        case "index":
            return f"turn {change.words['part']} by {angle}°"
    return f"{change.kind} {change.words.get('part') or change.words.get('step') or ''}"


def _draw_plots(to: Console, figures: Figures) -> None:
    balance = figures.balance
    limit = figures.build.limits.get("residual")
    plots = []
    for plane in PLANES:
        readings = [balance.shown(spin.measured)[plane] for spin in balance.spins]
        most = limit.bounds.get(plane) if limit else None
        plots.append(polar_plot(plane.upper(), readings, float(most.worth("g")) if most else None))
    draw_both(to, plots)
    numbered = "  ".join(f"{mark} {spin.step.id}" for mark, spin in zip(MARKS, balance.spins, strict=False))
    to.print(words(f"spins: {numbered}   (distance from the middle: square root of the amount)", DIM))


def draw_verdict(to: Console, figures: Figures) -> None:
    """The last spin against the three yardsticks, and the budget of the floor line by line."""
    yardsticks = figures.yardsticks
    spin = figures.balance.spins[-1]
    standing = yardsticks.standing(spin)
    to.print()
    against = table(("g at the plane's radius", "left"), ("front", "right"), ("rear", "right"))
    row(against, words(f"{spin.step.id}: what is left", BOLD), *_at_planes(standing.amounts))
    if yardsticks.tolerance is not None:
        tolerance = yardsticks.tolerance
        what = f"permissible, ISO 21940-11 {tolerance.grade}, {tolerance.mass:.1f} kg, {tolerance.speed:.0f} rpm"
        if _at_planes(standing.carried) != _at_planes(standing.amounts):
            row(against, words("  the same, carried to the bearings", DIM), *_at_planes(standing.carried))
        row(against, what, *_at_planes(standing.permissible))
    if standing.shop:
        row(against, "the shop's own limit", *_at_planes(standing.shop))
    row(against, words("the floor: what cannot be told apart", BOLD), *_at_planes(standing.floor))
    for each in yardsticks.floor.lines:
        if each.unknown is not None:
            row(against, words(f"  {each.what}: not known, {each.unknown}", DIM), "", "")
        else:
            values = [words(fixed(value or 0.0, 2), DIM) for value in (each.front, each.rear)]
            row(against, words(f"  {each.what}", DIM), *values)
    to.print(against)
    to.print(in_words(standing))


def _at_planes(grams: Mapping[str, float]) -> list[str]:
    return [fixed(grams[plane], 2) if plane in grams else "" for plane in PLANES]


def verdict_words(standing: Standing) -> tuple[str, str]:
    """The verdict in a few words, and the style they are shown in."""
    if standing.verdict == "go_on" and not standing.limited:
        return "above the floor", DOUBT
    if standing.too_fine:
        return VERDICTS["stop"][0], DOUBT
    return VERDICTS[standing.verdict]


def in_words(standing: Standing) -> Text:
    said, style = verdict_words(standing)
    more = {
        "over": "more metal has to go: 'buildbook plan' shows the real ways to take it.",
        "go_on": "within every limit, and above the floor: another hole would still do some good."
        if standing.limited
        else "and no limit is known: it takes grade and max_speed in build.yaml and the crankshaft's mass in "
        "parts.yaml, or a limit on the residual.",
        "stop": "STOP. Another spin cannot tell better from worse.",
    }[standing.verdict]
    if standing.too_fine:
        more += f" {standing.too_fine}: weigh, set and repeat better first."
    return line((f"{said.upper()}  ", style), more)
