"""Findings, the same way wherever they are shown."""

from collections import Counter
from collections.abc import Sequence

from rich.console import Console
from rich.padding import Padding

from buildbook.records.finding import Finding, Severity
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, line, words

_STYLES: dict[Severity, str] = {"error": BAD, "warning": DOUBT, "note": DIM}


def draw_findings(to: Console, findings: Sequence[Finding], *, with_reasons: bool) -> None:
    """Each finding with its place, what is wrong and the remedy; and why it matters, where reasons are asked for."""
    for finding in findings:
        to.print(
            line(
                (finding.severity, _STYLES[finding.severity]),
                "  ",
                (str(finding.where), BOLD),
                (f"  {finding.rule}", DIM),
            ),
            soft_wrap=True,
        )
        to.print(Padding(words(finding.what), (0, 0, 0, 4)))
        if with_reasons:
            to.print(Padding(words(finding.why, DIM), (0, 0, 0, 4)))
        to.print(Padding(line(("→ ", BOLD), finding.remedy), (0, 0, 0, 4)))


def count_of(findings: Sequence[Finding]) -> str:
    """`2 errors, 1 warning`, or `nothing found`."""
    counts = Counter(finding.severity for finding in findings)
    said = [
        f"{counts[severity]} {severity}{'s' if counts[severity] != 1 else ''}"
        for severity in _STYLES
        if counts[severity]
    ]
    return ", ".join(said) or "nothing found"
