"""A team's program as the player of a study (``homing.players``)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.bridge.controller import Program
from homing.bridge.play import Game
from homing.bridge.study import Progress, play_many, play_traced
from homing.draws import Start, draw
from homing.ensemble import converted
from homing.kernel.layout import RESULT_COLUMNS
from homing.results import Ensemble, Run
from homing.setting import Setting
from homing.simulate import as_run

if TYPE_CHECKING:
    from homing.faults import FaultPlan
    from homing.players import Player

Indices = NDArray[np.int64]


@dataclass(frozen=True)
class ProgramPlayer:
    """Plays the runs of a setting with a program as the controller."""

    setting: Setting
    program: Program
    workers: int | None = None

    def nominal(self) -> tuple[Run, Ensemble]:
        game = play_traced(self.setting, self.program, None)
        nowhere = np.zeros(1, dtype=np.int8)
        ensemble = converted(self.setting, game.conclude()[None, :], nowhere, _texts(game))
        return self._as_run(game, None), ensemble

    def run(self, number: int) -> Run:
        return self._as_run(play_traced(self.setting, self.program, number), number)

    def many(
        self, indices: Indices, *, faults: FaultPlan | None = None, progress: Progress | None = None
    ) -> Ensemble:
        played = play_many(
            self.setting, self.program, indices, faults=faults, workers=self.workers, progress=progress
        )
        starts = draw(self.setting.lift, self.setting.seed, indices).start_kind.astype(np.int8)
        return converted(self.setting, played.rows, starts, played.reasons)

    def without_guards(self) -> Player | None:
        """A program's guards cannot be told from the rest of it."""
        return None

    def _as_run(self, game: Game, number: int | None) -> Run:
        columns = dict(zip(RESULT_COLUMNS, (result := game.conclude()).tolist(), strict=True))
        start = "nominal"
        if number is not None:
            kinds = draw(self.setting.lift, self.setting.seed, np.array([number])).start_kind
            start = Start(int(kinds[0])).words
        return as_run(
            self.setting,
            number,
            result,
            game.stops,
            np.array(game.rows),
            states=np.array(game.states),
            reason=_texts(game).get(int(columns["reason"]), ""),
            start=start,
        )


def _texts(game: Game) -> dict[int, str]:
    return {number: text for text, number in game.reasons.items()}
