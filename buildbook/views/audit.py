"""What an audit came to: one line for each build, worst first."""

from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding

from buildbook.views.findings import count_of
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, GOOD, line, words

if TYPE_CHECKING:
    from buildbook.book.auditing.audit import BookAudit
    from buildbook.book.auditing.build_audit import BuildAudit
    from buildbook.figures.frozen import Difference
    from buildbook.records.finding import Finding


def draw_audit(to: Console, audit: "BookAudit") -> None:
    for each in audit.builds:
        severities = {finding.severity for finding in each.findings}
        style = BAD if "error" in severities else DOUBT if "warning" in severities else GOOD
        verdict = _verdict(each)
        said = (verdict, style if each.sign_off else DIM)
        if len(each.build) + 2 + len(verdict) <= to.width:
            to.print(line((each.build, BOLD), "  ", said))
        else:
            to.print(words(each.build, BOLD))
            to.print(Padding(line(said), (0, 0, 0, 2)))
        for finding in each.findings:
            if finding.severity == "note":  # not counted as a finding, and yet what an audit is asked for
                to.print(Padding(words(f"{finding.rule}: {finding.what}", DIM), (0, 0, 0, 4)))
    if not audit.builds:
        to.print(words("there is no build in this book yet"))


def _verdict(audit: "BuildAudit") -> str:
    """`sealed A2 2025-06-17 by ava: as sealed, 231 figures agree`."""
    found = [each for each in audit.findings if each.severity != "note"]
    if audit.sign_off is None:
        return f"not signed yet{f': {count_of(found)}' if found else ''}"
    signed = audit.sign_off
    state = (
        "sealed" if audit.seal and audit.closed else f"signed {signed.stage}" if not audit.reopened else "open again"
    )
    head = f"{state} {signed.id} {signed.taken.day if signed.taken else ''} by {signed.by or 'nobody'}"
    parts = ["NOT AS IT WAS"]
    if audit.as_signed is None:
        parts = ["changes not known"]
    elif audit.as_signed:
        parts = ["as sealed" if audit.seal else "as signed"]
    if audit.differing:
        parts.append(f"{len(audit.differing)} of {_figures(audit.checked)} DIFFER")
    elif audit.checked and audit.moved:
        parts.append(f"which moves {len(audit.moved)} of its figures")
    elif audit.checked:
        parts.append(f"{_figures(audit.checked)} agree{'s' if audit.checked == 1 else ''}")
    if found:
        parts.append(count_of(found))
    return f"{head}: {', '.join(parts)}"


def _figures(count: int) -> str:
    return f"{count} figure{'s' if count != 1 else ''}"


def audit_json(audit: "BookAudit") -> dict[str, object]:
    """By build whether it is sealed and still so, and which signed figures differ; and every finding."""
    everything: list[tuple[str | None, Finding]] = [(None, each) for each in audit.findings]
    everything += [(build.build, each) for build in audit.builds for each in build.findings]
    return {
        "builds": {each.build: _build(each) for each in audit.builds},
        "findings": [
            {
                "build": build,
                "severity": each.severity,
                "rule": each.rule,
                "file": each.where.file,
                "line": each.where.line,
                "what": each.what,
                "why": each.why,
                "remedy": each.remedy,
            }
            for build, each in everything
        ],
    }


def _build(audit: "BuildAudit") -> dict[str, object]:
    signed = audit.sign_off
    return {
        "sealed": audit.seal is not None and audit.closed,
        "as_signed": audit.as_signed if signed else None,
        "sign_off": signed.id if signed else None,
        "stage": signed.stage if signed else None,
        "reopened": audit.reopened.id if audit.reopened else None,
        "tag": audit.seal.tag if audit.seal else None,
        "digest": audit.seal.said.get("Digest") if audit.seal else None,
        "figures_checked": audit.checked,
        "differing": [
            {"sign_off": drift.sign_off, "version": drift.version, **_difference(drift.difference)}
            for drift in audit.differing
        ],
        "moved": [_difference(each) for each in audit.moved],
    }


def _difference(each: "Difference") -> dict[str, object]:
    return {"figure": each.name, "signed": each.signed, "today": each.today, "by": each.by, "unit": each.unit}
