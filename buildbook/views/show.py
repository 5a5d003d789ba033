"""A whole build on one screen: what is done, what is missing, what was found."""

from collections.abc import Callable
from contextlib import suppress

from rich.console import Console
from rich.text import Text

from buildbook.figures import Figures
from buildbook.figures.balance import PLANES, NoBalance
from buildbook.figures.cylinders import not_weighed
from buildbook.figures.next import job
from buildbook.quantities import fixed
from buildbook.records.model import WEIGHING_KINDS
from buildbook.views.fits import fits_in_words
from buildbook.views.screen import BOLD, DIM, DOUBT, GOOD, heading, line, row, table, words
from buildbook.views.spins import verdict_words


def draw_build(to: Console, figures: Figures) -> None:
    build, engine = figures.build, figures.build.engine
    heading(to, build.name, build.purpose or "")
    facts = [engine.description, engine.owner_name or engine.owner_ref]
    facts += [f"{part} {serial}" for part, serial in engine.serials.items()]
    to.print(words("  ·  ".join(fact for fact in facts if fact)))
    opened = f"opened {build.opened.text[:10]}" if build.opened else "no opening date"
    to.print(words(opened + (f", follows {build.follows}" if build.follows else ""), DIM))
    to.print()
    listing = table(("", "left"), ("", "left"), ("", "left"))
    for name, done, said in stages(figures):
        mark = {True: Text("done", style=GOOD), False: Text("to do", style=DOUBT), None: Text("begun", style=BOLD)}[
            done
        ]
        row(listing, words(name, BOLD), mark, said)
    listing.show_header = False
    to.print(listing)


def stages(figures: Figures) -> list[tuple[str, bool | None, str]]:
    """The stages of the job: done, not begun (False), or begun (None), and what there is to say."""
    result: list[tuple[str, bool | None, str]] = []
    for stage in job(figures).stages:
        if stage.name in _SAID:
            begun, said = _SAID[stage.name](figures)
            result.append((stage.name, None if stage.left and begun else not stage.left, said))
    return result


# What is said of a stage, and whether anything of it was done.
_Said = tuple[bool, str]


def _parts(figures: Figures) -> _Said:
    pieces = sum(len(part.pieces) for part in figures.build.parts)
    return pieces > 0, f"{pieces} pieces listed" if pieces else "none listed"


def _weighings(figures: Figures) -> _Said:
    missing = [said for what in figures.kinds if (said := _missing(figures, what))]
    weighed = ", ".join(kind.title for kind in figures.weighings.values())
    return bool(weighed), f"not yet: {', '.join(missing)}" if missing else weighed


def _missing(figures: Figures, what: str) -> str | None:
    """What is still to weigh of one kind: all of it, or some pieces of it."""
    title = WEIGHING_KINDS[what].title
    if what not in figures.weighings:
        return title
    pieces, of = not_weighed(figures.build, what, figures.weighings[what])
    return f"{title} ({of - len(pieces)} of {of} weighed)" if pieces else None


def _pairing(figures: Figures) -> _Said:
    pairing = figures.pairing
    if pairing is None:
        return False, "not matched"
    if pairing.spread is None:
        return True, "decided, and not every cylinder is weighed and filled"
    limit = figures.build.limits.get("reciprocating_spread")
    most = limit.bounds.get("max") if limit else None
    against = f", limit {fixed(most.worth('g'), 2)} g" if most else ""
    changed = any(cylinder.changed for cylinder in pairing.cylinders.values())
    since = "; changed since it was decided" if changed else ""
    return True, f"reciprocating spread {fixed(pairing.spread, 2)} g{against}{since}"


def _bobweights(figures: Figures) -> _Said:
    worked_out = figures.bobweights
    if not worked_out.wanted:
        return True, "this crankshaft wants none"
    if worked_out.missing:
        return False, "; ".join(worked_out.missing)
    aim = f"target {fixed(worked_out.target.total, 1)} g" if worked_out.target else "one for each throw"
    unset = [throw for throw in figures.layout.throws if throw not in worked_out.set]
    off = [each.throw for each in worked_out.set.values() if each.within_limit is False]
    if off:
        return True, f"{aim}, off the limit on throw {', '.join(off)}"
    return True, f"{aim}, " + (f"not set on throw {', '.join(unset)}" if unset else "set")


def _spins(figures: Figures) -> _Said:
    """What the last spin left, and what that is worth; how much was recorded, where nothing can be told of it."""
    steps = len(figures.build.spins.steps)
    said = f"{steps} step{'s' if steps != 1 else ''} recorded" if steps else "none recorded"
    with suppress(NoBalance):
        if steps and figures.balance.spins:
            last = figures.balance.spins[-1]
            standing = figures.yardsticks.standing(last)
            left = ", ".join(f"{plane} {fixed(standing.amounts[plane], 2)} g" for plane in PLANES)
            said = f"{last.step.id}: {left} left, {verdict_words(standing)[0]}"
            said += "; changed since, and not spun again" if figures.balance.pending else ""
    return steps > 0, said


def _fits(figures: Figures) -> _Said:
    measured = bool(figures.build.clearances)
    return measured, fits_in_words(figures)[1] if measured else "nothing measured"


def _sign_offs(figures: Figures) -> _Said:
    signed = figures.build.sign_offs
    return bool(signed), ", ".join(f"{each.id} by {each.by}" for each in signed) or "none"


_SAID: dict[str, Callable[[Figures], _Said]] = {
    "parts": _parts,
    "weighings": _weighings,
    "pairing": _pairing,
    "bobweights": _bobweights,
    "spins": _spins,
    "fits": _fits,
    "sign-offs": _sign_offs,
}


def unreadable(to: Console, name: str) -> None:
    """Said instead of figures where they would be partial, and look right all the same."""
    to.print(line((name, BOLD), ": no figures until what was found below is put right"))
