"""The case for one cause: log-odds with the sentences they stand for.

Every piece of evidence adds the logarithm of a likelihood ratio: how much more often this is seen when the
cause is at work than when it is not. Nobody has measured these ratios on labelled logs of real lifts; they
are four classes of judgement, used everywhere instead of numbers tuned one by one.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from replay.diagnosis import Cause

#: Seen about 3 times as often with the cause as without.
HINT = 1.1
#: About 10 times as often.
GOOD = 2.3
#: About 50 times as often: the signature itself.
PLAIN = 3.9
#: About 400 times: nothing else leaves this trace.
SURE = 6.0
#: The trace that this cause must leave is not there, though the log would show it.
ABSENT = -6.0


@dataclass
class Case:
    """Evidence gathered for one cause.

    ``odds`` is the sum of log likelihood ratios; ``first`` and ``last`` are the indices of the rows where
    the cause acted; ``test`` the column or test that would decide.
    """

    cause: Cause
    odds: float = 0.0
    first: int = 0
    last: int = 0
    for_: list[str] = field(default_factory=list)
    against: list[str] = field(default_factory=list)
    contribution: float | None = None
    test: str = ""

    def speaks_for(self, weight: float, sentence: str) -> Case:
        """Add evidence for the cause."""
        self.odds += abs(weight)
        self.for_.append(sentence)
        return self

    def speaks_against(self, weight: float, sentence: str) -> Case:
        """Add evidence against the cause."""
        self.odds -= abs(weight)
        self.against.append(sentence)
        return self

    def at(self, first: int, last: int) -> Case:
        """Say where the cause acted."""
        self.first, self.last = first, last
        return self

    def weighs(self, odds: float, better: str, worse: str) -> Case:
        """Add computed log odds, kept within `PLAIN` either way and left out where they are small."""
        if odds >= HINT:
            return self.speaks_for(min(odds, PLAIN), better)
        return self.speaks_against(min(-odds, PLAIN), worse) if odds <= -HINT else self

    def absent(self, sentence: str) -> Case:
        """The trace that the cause must leave is not there."""
        return self.speaks_against(ABSENT, sentence)
