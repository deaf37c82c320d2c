"""A review in words: what the terminal and the page say alike."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from homing.own.words import CONDITIONS, EFFECTS
from homing.review.physics import Broken
from homing.review.results import Severity

if TYPE_CHECKING:
    from collections.abc import Mapping

    from homing.review import Exploration, Finding, Review, Violation

_WIDTH = 100


def headline(review: Review) -> str:
    """The verdict in a sentence."""
    found, broken = len(review.findings), len(review.exploration.violations)
    if review.clean:
        return "no finding, and no invariant is broken"
    dangers = sum(finding.severity is Severity.DANGER for finding in review.findings)
    parts = [f"{_count(found, 'finding')} ({dangers} of danger)", f"{_count(broken, 'broken invariant')}"]
    if not review.exploration.complete:
        parts.append("exploration cut short")
    return ", ".join(parts)


def _count(number: int, what: str) -> str:
    return f"{number} {what}" + ("" if number == 1 else "s")


def explored(exploration: Exploration) -> str:
    """How much was explored, and what that says."""
    size = f"{exploration.states} states, {exploration.transitions} transitions, {exploration.seconds:.2f} s"
    if not exploration.complete:
        return f"Cut short after {size}: what was not visited is unknown, nothing is proved."
    return (
        f"Complete: {size}. The abstract lift can do all that zones of height, before/after timers and one "
        "fault at a time allow, and more than a real one: what holds here holds there, within that model; "
        "what breaks here may not break there. Not in it: counts that stand still, two faults at once, a "
        "load that sags."
    )


def condition_of_the_lift(fault: str) -> str:
    """What is wrong with the lift in a story, as a sentence."""
    if fault == Broken.NOTHING.value:
        return "This happens with a lift that is in order."
    return f"This happens when {fault}."


def case_line(case: Mapping[str, Any] | None) -> str:
    """The run of the full simulation that does the same."""
    if case is None:
        return (
            "No run of the full simulation was found that does the same; it may be the abstract lift alone."
        )
    what = f"run {case['run']}" if case["run"] is not None else "the nominal run"
    fault = f', with the fault "{case["fault"]}"' if case["fault"] else ""
    return (
        f"The full simulation does the same in {what} of seed {case['seed']}, started at "
        f"{case['start_mm']:g} mm{fault}: see {case['t_s']:.2f} s after power-up, in {case['state']}."
    )


def review_text(review: Review) -> str:
    """The whole review for a terminal."""
    blocks = [f"{review.lift.name}: {headline(review)}"]
    blocks += [_finding(finding) for finding in review.findings]
    blocks.append(textwrap.fill(explored(review.exploration), _WIDTH))
    blocks += [_violation(violation) for violation in review.exploration.violations]
    return "\n\n".join(blocks) + "\n"


def _finding(finding: Finding) -> str:
    lines = [f"{finding.severity.value.upper()}  {finding.row}: {finding.id}"]
    lines += _wrapped("why   ", finding.why)
    lines += _wrapped("mend  ", finding.mend)
    return "\n".join(lines)


def _violation(violation: Violation) -> str:
    lines = [f"BROKEN  {violation.invariant}"]
    lines += _wrapped("", condition_of_the_lift(violation.fault))
    for sentence in violation.story:
        lines += _wrapped("", sentence)
    if violation.also:
        lines += _wrapped("", f"It also happens when {'; when '.join(violation.also)}.")
    lines += _wrapped("", case_line(violation.case))
    return "\n".join(lines)


def _wrapped(head: str, text: str) -> Iterator[str]:
    yield from textwrap.wrap(
        text, _WIDTH, initial_indent="  " + head, subsequent_indent="  " + " " * len(head)
    )


def words_text() -> str:
    """The closed set of conditions and effects of an own table, with their meanings."""
    lines = ["Conditions (in when and unless of a row)", ""]
    for each in CONDITIONS:
        written = each.word if each.bounds is None else f"{{{each.word} = ...}}"
        lines += textwrap.wrap(
            each.means, _WIDTH, initial_indent=f"  {written:<34}", subsequent_indent=" " * 36
        )
    lines += ["", "Effects (in do of a row)", ""]
    for effect in EFFECTS:
        lines += textwrap.wrap(
            effect.means, _WIDTH, initial_indent=f"  {effect.word:<34}", subsequent_indent=" " * 36
        )
    return "\n".join(lines) + "\n"
