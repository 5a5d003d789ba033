"""A whole build on one screen: what is done, what is missing, what was found."""

from rich.console import Console
from rich.text import Text

from buildbook.figures import Figures
from buildbook.figures.cylinders import not_weighed
from buildbook.quantities import fixed
from buildbook.records.model import WEIGHING_KINDS
from buildbook.views.fits import fits_in_words
from buildbook.views.screen import BOLD, DIM, DOUBT, GOOD, heading, line, row, table, words


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
    build = figures.build
    pieces = sum(len(part.pieces) for part in build.parts)
    result: list[tuple[str, bool | None, str]] = [
        ("parts", pieces > 0, f"{pieces} pieces listed" if pieces else "none listed")
    ]
    missing = [said for what in figures.kinds if (said := _missing(figures, what))]
    weighed = ", ".join(kind.title for kind in figures.weighings.values())
    if missing:
        result.append(("weighings", None if weighed else False, f"not yet: {', '.join(missing)}"))
    else:
        result.append(("weighings", True, weighed))
    if not figures.has_layout:
        return result
    result.append(_pairing(figures))
    result.append(_bobweights(figures))
    spins, signed = build.spins.steps, build.sign_offs
    result.append(("spins", None if spins else False, f"{len(spins)} steps recorded" if spins else "none recorded"))
    fitting, fits_said = fits_in_words(figures) if build.clearances else (False, "nothing measured")
    result.append(("fits", fitting, fits_said))
    said = ", ".join(f"{each.id} by {each.by}" for each in signed)
    result.append(("sign-offs", None if signed else False, said or "none"))
    return result


def _missing(figures: Figures, what: str) -> str | None:
    """What is still to weigh of one kind: all of it, or some pieces of it."""
    title = WEIGHING_KINDS[what].title
    if what not in figures.weighings:
        return title
    pieces, of = not_weighed(figures.build, what, figures.weighings[what])
    return f"{title} ({of - len(pieces)} of {of} weighed)" if pieces else None


def _pairing(figures: Figures) -> tuple[str, bool | None, str]:
    pairing = figures.pairing
    if pairing is None:
        return "pairing", False, "not matched"
    if pairing.spread is None:
        return "pairing", None, "decided, and not every cylinder is weighed and filled"
    limit = figures.build.limits.get("reciprocating_spread")
    most = limit.bounds.get("max") if limit else None
    against = f", limit {fixed(most.worth('g'), 2)} g" if most else ""
    said = f"reciprocating spread {fixed(pairing.spread, 2)} g{against}"
    if any(cylinder.changed for cylinder in pairing.cylinders.values()):
        return "pairing", None, f"{said}; changed since it was decided"
    return "pairing", None if most and pairing.spread > most.worth("g") else True, said


def _bobweights(figures: Figures) -> tuple[str, bool | None, str]:
    worked_out = figures.bobweights
    if not worked_out.wanted:
        return "bobweights", True, "this crankshaft wants none"
    if worked_out.missing:
        return "bobweights", False, "; ".join(worked_out.missing)
    aim = f"target {fixed(worked_out.target.total, 1)} g" if worked_out.target else "one for each throw"
    throws = figures.layout.throws
    unset = [throw for throw in throws if throw not in worked_out.set]
    off = [each.throw for each in worked_out.set.values() if each.within_limit is False]
    if off:
        return "bobweights", None, f"{aim}, off the limit on throw {', '.join(off)}"
    return (
        "bobweights",
        None if unset else True,
        f"{aim}, " + (f"not set on throw {', '.join(unset)}" if unset else "set"),
    )


def unreadable(to: Console, name: str) -> None:
    """Said instead of figures where they would be partial, and look right all the same."""
    to.print(line((name, BOLD), ": no figures until what was found below is put right"))
