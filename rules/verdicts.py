"""From what every channel shows to how a limit and a lot stand.

Each channel is judged by itself and the worst decides: never a mean, never a merged
curve.  A lot with a critical limit missed or unproven is on hold; nothing here
releases a lot.
"""

from collections.abc import Iterable, Sequence
from functools import partial
from typing import NamedTuple

from rules.engine import Plan
from rules.facts import GRAVEST, Finding, Standing, Verdict

# The first decides.
WORST = (
    Standing.MISSED,
    Standing.UNPROVEN,
    Standing.DEVIATION,
    Standing.AT_RISK,
    Standing.WITHIN,
    Standing.WAITING,
    Standing.MET,
)
NOTHING_MS = 1 << 62  # a part that is not counted in time has used up nothing


class Judged(NamedTuple):
    """How one limit stands, by its worst channel and part."""

    limit: str
    critical: bool
    control_point: str
    standing: Standing
    verdict: Verdict
    channel: str
    since_ms: int
    why: str
    source: str


def judge(plan: Plan, findings: Sequence[Finding]) -> tuple[Judged, ...]:
    """How every limit stands, in schedule order."""
    judged = []
    for limit, beside in zip(plan.limits, plan.beside, strict=True):
        shown = [one for one in findings if one.limit == limit.name]
        if not shown:
            why = f"no channel of role {limit.channel} reports{beside}"
            worst = (Standing.UNPROVEN, Verdict.UNPROVEN, "", 0, why)
        else:
            one = min(shown, key=partial(_gravity, ceiling=limit.counts_up))
            # Where all are met, the last one to get there says when.
            if one.verdict is Verdict.MET:
                one = max(shown, key=lambda each: each.since_ms)
            worst = (one.standing, one.verdict, one.channel, one.since_ms, one.why)
        head = (limit.name, limit.grade == "critical", limit.control_point)
        standing, verdict, channel, since_ms, why = worst
        why = f"{channel}: {why}" if channel else why
        weak = f"weaker than its base: {limit.weakens}" if limit.weakens else ""
        source = "; ".join(words for words in (limit.sources, weak) if words)
        judged.append(Judged(*head, standing, verdict, channel, since_ms, why, source))
    return tuple(judged)


def on_hold(judged: Iterable[Judged]) -> bool:
    """Whether any critical limit is missed or unproven."""
    doubtful = (Verdict.MISSED, Verdict.UNPROVEN)
    return any(one.critical and one.verdict in doubtful for one in judged)


def _gravity(finding: Finding, ceiling: bool) -> tuple[int, int, int]:
    # Of two that stand alike, the one that has used up more or is farther from enough.
    short = finding.required - finding.least
    if ceiling:
        short = -short if finding.unit == "ms" else -NOTHING_MS
    return (
        GRAVEST.index(finding.verdict),
        WORST.index(finding.standing),
        -short,
    )
