"""Formulas in signal temporal logic over the columns of a trace, evaluated by the library ``rtamt`` (an
extra).

A channel holds its value from one loop to the next, so the formula is taken in dense time: loops need not be
even, and bounds need not be whole loops. After the end of a run its last values hold on; ``until`` asks its
left side at the very moment, too, in which its right side comes. Robustness is that at the start of the run:
0 or more, the formula holds, and by so much may every channel move before it does not. A channel of 0 and 1
held against 0.5 never leaves more than 0.5.

References
----------
.. [1] D. Nickovic, T. Yamaguchi, "RTAMT: online robustness monitors from STL", ATVA 2020 (from memory).
"""

from __future__ import annotations

import logging
import re
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import numpy as np
from numpy.typing import NDArray

from homing.ownrequirements.tables import OwnRequirement
from homing.results import Trace
from homing.values import nearest
from sensor_models.errors import InputError

#: Words of the logic itself; any other word of a formula has to be a channel.
WORDS = frozenset(
    {
        "always", "historically", "eventually", "once", "until", "unless", "since", "next",
        "prev", "s_next", "s_prev", "strong_next", "strong_prev", "not", "and", "or",
        "xor", "implies", "iff", "rise", "fall", "abs", "sqrt", "exp",
        "pow", "true", "false", "inf", "G", "F", "H", "O",
        "U", "S", "X", "s", "ms", "us", "ns", "ps",
    }
)  # fmt: skip
#: Channels that say in which phase the routine is: 1 there, 0 elsewhere.
PHASE_PREFIX = "in_"
_WORD = re.compile(r"(?<![\w.])[A-Za-z_]\w*")
_NUMBER, _UNIT = r"(\d+(?:\.\d*)?|\.\d+)", r"\s*(s|ms|us|ns|ps)?\s*"
_BOUNDS = re.compile(rf"\[\s*{_NUMBER}{_UNIT}[:,]\s*{_NUMBER}{_UNIT}\]")
_SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "ps": 1e-12}


class Formula:
    """One requirement's formula, parsed once.

    Raises
    ------
    InputError
        When the library is missing, the formula names an unknown channel or cannot be read.
    """

    def __init__(self, requirement: OwnRequirement, channels: tuple[str, ...], file: str) -> None:
        self._requirement, self._file = requirement, file
        self.channels = self._named(channels)
        self._parsed = self._parse()

    @property
    def name(self) -> str:
        return self._requirement.name

    @property
    def unit(self) -> str:
        """Unit of the robustness."""
        return self._requirement.unit

    def _refused(self, must: str) -> InputError:
        name = self._requirement.name
        return InputError(
            must, file=self._file, key=f"requirement.{name}.formula", got=self._requirement.formula
        )

    def _named(self, channels: tuple[str, ...]) -> tuple[str, ...]:
        text = _BOUNDS.sub("", self._requirement.formula)
        words = dict.fromkeys(word for word in _WORD.findall(text) if word in channels or word not in WORDS)
        for word in words:
            if word not in channels:
                hint = nearest(word, channels) or f"; channels are {', '.join(channels)}"
                raise self._refused(f"names {word!r}, which is not a channel{hint}")
        if not words:
            raise self._refused(f"must name at least one channel of {', '.join(channels)}")
        return tuple(words)

    def _parse(self) -> Any:
        library = stl_library()
        parsed = library.StlDenseTimeOfflineSpecification()
        parsed.unit = "s"
        for channel in self.channels:
            parsed.declare_var(channel, "float")
        parsed.spec = in_seconds(self._requirement.formula)
        try:
            with _silent():
                parsed.parse()
        except Exception as error:  # the library has its own error for some mistakes and none for others
            why = " ".join(str(error).replace("RTAMT Exception:", "").split()).split(" expecting ")[0]
            raise self._refused(
                f"cannot be read as a formula ({why[:120] or type(error).__name__})"
            ) from None
        return parsed

    def robustness(self, trace: Mapping[str, NDArray[np.float64]]) -> float:
        """Robustness of a run at its start; NaN where there is none, or it has no bounds.

        Parameters
        ----------
        trace : mapping
            ``t_s`` and every channel of the formula, (loops,).
        """
        times = trace["t_s"].tolist()
        signals = [
            [name, [[t, float(v)] for t, v in zip(times, trace[name].tolist(), strict=True)]]
            for name in self.channels
        ]
        try:
            with _silent():
                found = self._parsed.evaluate(*signals)
        except Exception as error:
            raise self._refused(f"cannot be evaluated over a run ({str(error)[:120]})") from None
        value = float(found[0][1]) if found else float("nan")
        return value if np.isfinite(value) else float("nan")


def in_seconds(formula: str) -> str:
    """The formula with all its bounds in seconds; a first bound without a unit has that of the second.

    The library (0.4.10) would turn the units round: it takes 40 ms for 40 000 s.
    """

    def seconds(found: re.Match[str]) -> str:
        low, low_unit, high, high_unit = found.groups()
        last = high_unit or "s"
        return f"[{float(low) * _SECONDS[low_unit or last]:.12f},{float(high) * _SECONDS[last]:.12f}]"

    return _BOUNDS.sub(seconds, formula)


def stl_library() -> Any:
    """The library for signal temporal logic, an extra."""
    try:
        with _silent():
            import rtamt
    except ImportError:
        raise InputError(
            "needs the library rtamt, which is not installed: "
            'pip install "downstop[logic]" (Python 3.11 or 3.12)',
            key="[[requirement]]",
        ) from None
    return rtamt


def channels_of(trace: Trace, phases: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Channels that a formula may name: the trace's columns of numbers, and one for each phase."""
    return (*(name for name in trace.columns if name != "state"), *(PHASE_PREFIX + name for name in phases))


def channel_values(trace: Trace, channels: tuple[str, ...]) -> dict[str, NDArray[np.float64]]:
    """Values of some channels over a run, with ``t_s``."""
    found = {"t_s": np.asarray(trace["t_s"], dtype=np.float64)}
    for name in channels:
        if name in trace.columns:
            found[name] = np.asarray(trace[name], dtype=np.float64)
        else:
            found[name] = (trace["state"] == name.removeprefix(PHASE_PREFIX)).astype(np.float64)
    return found


@contextmanager
def _silent() -> Iterator[None]:
    """The library warns while it is imported and logs while it reads; neither is of use to anybody here."""
    logger, was = logging.getLogger(), logging.getLogger().disabled
    logger.disabled = True
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        logger.disabled = was
