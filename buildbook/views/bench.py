"""A session of entering on the screen: what is asked now, large; how the last reading sits among its fellows; the keys.

Everything is printed line after line, so that it works on any terminal; the width is asked for each time.
"""

from collections.abc import Mapping, Sequence
from fractions import Fraction

from rich.console import Console
from rich.table import Table
from rich.text import Text

from buildbook.bench.entry import READ_OFF, Session, Slot
from buildbook.bench.fellows import Among, among
from buildbook.bench.journal import Head, Unfinished
from buildbook.bench.judging import Bench
from buildbook.bench.record import Entered
from buildbook.quantities import decimals_for, fixed, in_numbered_order, read_quantity
from buildbook.records.finding import Finding
from buildbook.views.lettering import can_enlarge, large, width_of
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, GOOD, can_draw, line, row, strip, table, words

_KEYS = "Enter takes it   - back   + once more   * skip   ** end   /note   Ctrl-C stop"
_FEWER_KEYS = "- back  + more  * skip  ** end  /note"
_FOR_THE_FIGURES = 36  # columns beside the large letters, so that no figure is broken
_LOWEST = 16  # lines of a terminal that has room for large letters


def draw_question(to: Console, bench: Bench, session: Session) -> None:
    """What is asked for now, with what is known so far beside it; the prompt at the end."""
    slot = session.now
    assert slot is not None
    name, said = _name(slot).partition("/")[0], _question(bench, session, slot)
    beside = Text("\n").join(each for each in (*said, *_so_far(bench, session)) if each)
    to.print()
    if can_enlarge(name) and to.width - width_of(name) >= _FOR_THE_FIGURES and to.height >= _LOWEST:
        grid = Table.grid(padding=(0, 3, 0, 0))
        grid.add_column(no_wrap=True)
        grid.add_column()
        grid.add_row(Text("\n".join(large(name)), style=BOLD), beside)
        to.print(grid)
    else:
        to.print(line((name, BOLD)))
        to.print(beside)
    to.print(words(_KEYS if to.width >= len(_KEYS) else _FEWER_KEYS, DIM))
    draw_prompt(to, bench, session)


def draw_prompt(to: Console, bench: Bench, session: Session) -> None:
    """The line on which the number is typed."""
    slot = session.now
    assert slot is not None
    unit = "" if slot.role in {"pieces", "each", "record"} else f" {bench.unit}"
    again = f" ({session.read[slot]})" if slot in session.read else ""
    _prompt(to, f"{_name(slot)}{again}{unit}")


def _prompt(to: Console, text: str) -> None:
    to.print(line((text, BOLD), " › " if can_draw() else " > "), end="", soft_wrap=True)


def _name(slot: Slot) -> str:
    match slot.role:
        case "reading":
            return slot.place
        case "nominal" | "before" | "after":
            return "check"
        case "record":
            return "done"
        case "total" | "pieces":
            return "lot" if slot.role == "total" else "pieces"
    return "each"


def _question(bench: Bench, session: Session, slot: Slot) -> list[Text]:
    """What is asked, and what Enter alone does, if it does anything."""
    title = bench.plan.title
    enter = ""
    match slot.role:
        case "nominal":
            asked, enter = "what is the check weight?", "none is used"
        case "before" | "after":
            asked, enter = f"check weight {session.of('nominal')} {bench.unit}, {slot.role}", "without it"
        case "total":
            asked = f"{title}: all of them together{_nth(slot)}"
        case "pieces":
            asked, enter = "how many pieces was that?", session.offers.get(slot, "")
        case "each":
            where = "rod" if bench.plan.lot is not None and bench.plan.lot.each_name == "per_rod" else "cylinder"
            asked = f"how many of them has each {where}?"
        case "record":
            asked, enter = "all is asked", "record it"
        case _:
            places = list(dict.fromkeys(each.place for each in session.asked if each.role == "reading"))
            along = slot.place.partition("/")[2].replace("/", " ")
            asked = f"{title}{' ' * bool(along)}{along}, {places.index(slot.place) + 1} of {len(places)}"
            asked += _nth(slot) or _first_of_several(session, slot)
    if slot in session.read:
        enter = f"leave it at {session.read[slot]}"
    elif slot in session.skipped:
        enter = "leave it out"
    return [words(asked, BOLD), *([words(f"Enter: {enter}")] if enter else [])]


_ORDINALS = ("", "first", "second", "third", "fourth", "fifth")


def _nth(slot: Slot) -> str:
    return f", {_ORDINALS[slot.nth] if slot.nth < len(_ORDINALS) else f'{slot.nth}th'} reading" if slot.nth > 1 else ""


def _first_of_several(session: Session, slot: Slot) -> str:
    return ", first reading" if slot._replace(nth=2) in session.asked else ""


def _so_far(bench: Bench, session: Session) -> list[Text]:
    """The last reading among its fellows, and what is known of all of them."""
    last, values = session.last, bench.values(session)
    if last is None or last not in session.read:
        return [words(f"on {bench.with_}", DIM), *([_all_of(bench, session, values)] if values else [])]
    if last.role != "reading":
        return [line("read ", (session.read[last], BOLD), f" {bench.unit}")]
    here = among(values, last.place)
    decimals = _decimals(session, values)
    read = session.readings()[last.place]
    several = f", mean {fixed(values[last.place], decimals + 1)}" if len(read) > 1 else ""
    return [
        line((last.place, BOLD), "  ", (f"{' '.join(read[-3:])} {bench.unit}", BOLD), several),
        words(sits(here, decimals, _WORDS[bench.plan.dimension == "mass"]), DOUBT if _stands_out(here) else ""),
        _all_of(bench, session, values),
        words(_strip(values, last.place)),
    ]


def _all_of(bench: Bench, session: Session, values: Mapping[str, Fraction]) -> Text:
    decimals = _decimals(session, values)
    every = list(values.values())
    spread = fixed(max(every) - min(every), decimals)
    mean = fixed(sum(every, Fraction(0)) / len(every), decimals + 1)
    of = f"  of {len(every)}"
    if len(every) < 2:
        return Text()
    return line("mean ", (mean, BOLD), "  spread ", (spread, BOLD), f" {bench.unit}{of}")


_WORDS = {True: ("heaviest", "lightest"), False: ("largest", "smallest")}


def sits(here: Among, decimals: int, extremes: tuple[str, str]) -> str:
    """How one sits among its fellows, in words: `heaviest of 3, 0.40 over the others`."""
    if here.from_others is None:
        return "the first one read"
    most, least = extremes
    if here.spread == 0:
        return f"all {here.number} alike"
    below = here.number - here.above - here.level - 1
    if here.above == 0:
        rank = most
    elif below == 0:
        rank = least
    else:
        rank = f"{here.above + 1}{_ending(here.above + 1)} {most}"
    level = " with others" if here.level else ""
    off = fixed(abs(here.from_others), decimals)
    way = (
        f"{off} {'over' if here.from_others > 0 else 'under'} the others" if off.strip("0.") else "as the others' mean"
    )
    return f"{rank}{level} of {here.number}, {way}"


def _ending(number: int) -> str:
    if 10 < number % 100 < 14:
        return "th"
    return {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")


def _stands_out(here: Among) -> bool:
    """Whether it made the spread what it is: the greatest or least of several."""
    return here.number > 3 and here.spread > 0 and (here.above == 0 or here.above == here.number - 1)


def _strip(values: Mapping[str, Fraction], place: str) -> str:
    """All of them between the least and the greatest, this one marked, with the names of the two ends."""
    if len(values) < 2:
        return ""
    width = 21
    ordered = sorted(values, key=lambda name: (values[name], in_numbered_order(name)))
    low, high = float(values[ordered[0]]), float(values[ordered[-1]])
    at = round((float(values[place]) - low) / (high - low) * (width - 1)) if high > low else width // 2
    marks = strip([float(value) for value in values.values()], width)
    marked = f"{marks[:at]}{'◆' if can_draw() else '@'}{marks[at + 1 :]}"
    return f"{ordered[0]} |{marked}| {ordered[-1]}"


def _decimals(session: Session, values: Mapping[str, Fraction]) -> int:
    """As many digits after the point as the readings have."""
    texts = [text for slot, text in session.read.items() if slot.role in READ_OFF]
    return max((len(text.partition(".")[2]) for text in texts), default=max(map(_digits, values.values()), default=0))


def _digits(value: Fraction) -> int:
    return next((digits for digits in range(4) if (value * 10**digits).denominator == 1), 3)


def draw_said(to: Console, what: str, remedy: str, *, doubted: bool = False) -> None:
    """What is said to a line that was not taken."""
    to.print(line((f"  {what}", DOUBT if doubted else BAD)))
    if remedy:
        to.print(line(("  → ", BOLD), remedy))


def draw_noted(to: Console, note: str) -> None:
    to.print(line(("  noted  ", GOOD), note))


def draw_choice(to: Console, question: str, names: Sequence[str], usual: str | None, or_else: str) -> None:
    """Names to choose from by their numbers."""
    to.print()
    to.print(words(question, BOLD))
    if said := "   ".join(filter(None, (f"Enter: {usual}" if usual else "", or_else))):
        to.print(words(said))
    shown = ""
    for each in (f"{number} {name}" for number, name in enumerate(names, start=1)):
        if shown and len(shown) + 3 + len(each) > to.width:
            to.print(words(shown))
            shown = ""
        shown += f"{'   ' * bool(shown)}{each}"
    to.print(words(shown))
    _prompt(to, "number")


def draw_beginning(to: Console, bench: Bench, by: str, build: str) -> None:
    plan = bench.plan
    to.print(line((f"{plan.title[:1].upper()}{plan.title[1:]}", BOLD), f"  {build}, {by} with {bench.with_}"))
    if plan.again:
        to.print(words("all of this was read before: it is read again, as a new session", DOUBT))
    if plan.in_part:
        said = f"read in part before: {', '.join(plan.in_part)}; all of it is read again, for the last session counts"
        to.print(words(said, DOUBT))


def draw_resumed(to: Console, head: Head, session: Session) -> None:
    asked = {each[:2] for each in session.asked if each.role in READ_OFF}
    read = {each[:2] for each in session.read} & asked
    left = {each[:2] for index, each in enumerate(session.asked) if session.is_open(index)} & asked
    begun = head.begun.replace("T", " ")[:16]
    said = f"begun {begun} by {head.by} with {head.with_}; {len(read)} of {len(asked)} read, {len(left - read)} to go"
    to.print(words("An unfinished session goes on", BOLD))
    to.print(words(said))


def draw_stopped(to: Console, left: Unfinished | None, build: str) -> None:
    to.print()
    if left is None:
        to.print(words("stopped; nothing was read, and nothing is left behind"))
        return
    to.print(line(("stopped  ", BOLD), f"{left.read} of {left.asked} are read, and safe on disk"))
    to.print(line(("→ go on  ", BOLD), f"buildbook {left.command} --build {build}"), soft_wrap=True)


def draw_would_enter(to: Console, bench: Bench, entered: Entered, found: Sequence[Finding]) -> None:
    """What a dry run would enter."""
    to.print(line(("Nothing is written. ", BOLD), f"This would be entered, in {bench.unit}, with {bench.with_}:"))
    listing = table((bench.plan.title, "left"), (bench.unit, "right"), ("", "left"))
    for place, texts in entered.readings.items():
        values = [read_quantity(text, bench.plan.dimension, bench.unit) for text in texts]
        mean = sum((value.worth(bench.unit) for value in values), Fraction(0)) / len(values)
        step = max(value.last_digit(bench.unit) for value in values)
        row(listing, place, ", ".join(texts), f"mean {fixed(mean, decimals_for(step) + 1)}" if len(texts) > 1 else "")
    if entered.total:
        row(listing, "all together", ", ".join(entered.total), f"{entered.pieces} pieces, {entered.each} for each")
    to.print(listing)
    if any(each.severity == "error" for each in found):
        to.print(words("it could not be recorded so:", BAD))
