"""What the record proves of the machine, of parts, and of drift."""

from collections.abc import Sequence

from rich.console import Console

from buildbook.balance.proving import Difference, Indexed, ProvingSpin, Response
from buildbook.balance.unbalance import Unbalance
from buildbook.figures import Figures
from buildbook.figures.balance import PLANES
from buildbook.figures.proofs import Proof
from buildbook.quantities import fixed, two_figures
from buildbook.views.screen import BOLD, DIM, DOUBT, GOOD, heading, line, words
from buildbook.views.spins import both_planes

_TITLES = {"proving_spin": "Proving spin", "part": "Part put on", "index": "Part turned", "drift": "Same state again"}


def draw_proofs(to: Console, figures: Figures, proofs: Sequence[Proof], answers: Response | None) -> None:
    heading(to, "Proofs", figures.build.name)
    if not proofs and answers is None:
        said = (
            "Nothing is proved yet. Spin with a known test mass on ('correct add', then 'spin'), spin the same state "
        )
        to.print(words(f"{said}twice, or spin before and after a part is put on ('correct fit').", DIM))
    for proof in proofs:
        to.print()
        to.print(line((_TITLES[proof.kind], BOLD), f"  {proof.what}  ", (" → ".join(proof.spins), DIM)))
        match proof.found:
            case ProvingSpin():
                _draw_response(to, proof.found)
                talk, uncertainty = (fixed(100 * each, 1) for each in (proof.found.cross_talk, proof.found.uncertainty))
                to.print(words(f"  cross-talk between the planes {talk} % ± {uncertainty} %"))
            case Difference():
                _draw_difference(to, figures, proof)
            case Indexed():
                _draw_vector(to, figures, f"{proof.what} itself", proof.found.part)
                _draw_vector(to, figures, "all that did not turn with it", proof.found.fixture)
    if answers is not None:
        to.print()
        to.print(line(("How the readings answered the holes so far", BOLD)))
        _draw_response(to, answers)


def _draw_response(to: Console, found: Response) -> None:
    uncertainty = two_figures(100 * found.uncertainty)
    scale, angle = fixed(100 * found.scale, 1), fixed(found.angle, 1, sign=True)
    turned = f"turned by {angle}° ± {fixed(found.angle_uncertainty, 1)}°"
    to.print(words(f"  read {scale} % of what it should ± {uncertainty} %, {turned}"))
    first, *others = found.diagnoses
    to.print(line("  ", (str(first), GOOD if first == "as it should be" else DOUBT)))
    for other in others:
        to.print(line("  or: ", (str(other), DOUBT)))


def _draw_difference(to: Console, figures: Figures, proof: Proof) -> None:
    found = proof.found
    assert isinstance(found, Difference)
    _draw_vector(to, figures, "its own unbalance" if proof.kind == "part" else "changed by", found.change)
    told = [fixed(2 * found.uncertainty / figures.balance.plane(plane).radius, 1) for plane in PLANES]
    if found.distinguishable:
        said = "NOT NEUTRAL: it brings its own unbalance" if proof.kind == "part" else "the machine drifted"
        to.print(line("  ", (said, DOUBT), f" (told from nothing: above {told[0]} front, {told[1]} rear)"))
    else:
        said = "neutral, as far as can be told" if proof.kind == "part" else "steady, as far as can be told"
        to.print(line("  ", (said, GOOD), f" (nothing below {told[0]} front, {told[1]} rear can be told)"))


def _draw_vector(to: Console, figures: Figures, name: str, vector: Unbalance) -> None:
    to.print(words(f"  {name}: {both_planes(figures.balance, vector)}"))
