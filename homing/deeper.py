"""What ``downstop verify`` finds beyond the ensemble, and what becomes of it: told, written, in the JSON."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sensor_models.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from homing.deeper_options import DeeperChoices
    from homing.liftfile import Lift
    from homing.rare.study import SmallRate
    from homing.report.worst_page import OnPage
    from homing.results import Run, Verification
    from homing.setting import Setting
    from homing.worst.case import Case
    from homing.worst.study import WorstCase

CASE_FILE, PICTURE = "worst_case.toml", "worst_case.svg"


@dataclass(frozen=True)
class Deeper:
    """The worst case and the small failure rates, as far as they were asked for."""

    worst: WorstCase | None = None
    rates: tuple[SmallRate, ...] | None = None

    @classmethod
    def look(
        cls,
        verification: Verification,
        choices: DeeperChoices,
        periods_s: NDArray[np.float64] | None,
        progress: Callable[[str, int, int], None],
    ) -> Deeper:
        """Look for what the options ask for."""
        if choices.worst is None and choices.rare is None:
            return cls()
        from homing.rare.study import small_rates
        from homing.report.files import check_file
        from homing.setting import prepare
        from homing.worst.study import worst_case

        setting = prepare(verification.lift, verification.seed, periods_s)
        worst = rates = None
        if choices.worst is not None:
            if choices.out is None:
                check_file(free_name(Path(CASE_FILE)), key="--worst")
            worst = worst_case(
                setting,
                seconds=choices.worst,
                fault=choices.worst_fault,
                workers=choices.workers,
                progress=progress,
            )
        if choices.rare is not None:
            unseen = [each.name for each in verification.requirements if each.failures == 0]
            rates = small_rates(setting, unseen, choices.rare, choices.workers, progress)
        return cls(worst, rates)

    def document(self) -> dict[str, Any]:
        """What is added to the JSON."""
        from homing.report.rare_words import rates_json
        from homing.report.worst_words import worst_json

        worst = {} if self.worst is None else {"worst_case": worst_json(self.worst)}
        return worst | ({} if self.rates is None else {"small_probabilities": rates_json(self.rates)})

    def tell(self, quiet: bool) -> None:
        """Print it; in a line or two when it is to be quiet."""
        from homing.report.rare_words import rate_lines
        from homing.report.worst_words import worst_lines

        lines = [] if self.worst is None else worst_lines(self.worst)
        lines += [] if self.rates is None else rate_lines(self.rates)
        for line in lines[:1] if quiet else lines:
            click.echo(line)

    def on_page(self) -> OnPage | None:
        """What the page shows of it."""
        if self.worst is None and self.rates is None:
            return None
        from homing.report.worst_page import on_page

        return on_page(self.worst, self.rates, CASE_FILE)

    def keep(self, folder: Path | None) -> None:
        """Write the case file: into the folder of the report, or where we stand."""
        if self.worst is None:
            return
        from homing.report.files import write_text
        from homing.report.worst_words import case_note
        from homing.worst.case import case_text

        file = free_name(Path(CASE_FILE)) if folder is None else folder / CASE_FILE
        write_text(file, case_text(self.worst.case, case_note(self.worst)), key="--worst")
        click.echo(f"case: {file}", err=True)


def free_name(file: Path) -> Path:
    """The file's name, or the next one that is not taken: what was found before is never lost."""
    number, free = 2, file
    while free.exists():
        free = file.with_stem(f"{file.stem}_{number}")
        number += 1
    return free


def play_case(choices: DeeperChoices, lift_file: str | None) -> int:
    """Play a case file: the run, its margin, and whether it is still the one that was found."""
    from homing.liftfile import BUILT_IN, load_lift
    from homing.outputs import checked_outputs, hand_over_json
    from homing.report.tracefile import write_trace
    from homing.report.worst_words import played_json, played_lines
    from homing.setting import prepare
    from homing.worst.aims import Aims
    from homing.worst.case import case_margin, play
    from homing.worst.casefile import as_case, read_case

    assert choices.case is not None
    given = read_case(choices.case)
    source = lift_file if lift_file is not None else str(given["case"]["lift"])
    lift = load_lift(None if source == BUILT_IN else source)
    case = as_case(given, lift, choices.case)
    setting = prepare(lift, case.seed, _periods(choices, case, lift))
    with checked_outputs(choices.json, choices.out, False) as folder:
        margin, run = case_margin(Aims.named(setting, case.requirement), case), play(setting, case)
        if choices.trace is not None:
            write_trace(run.trace, choices.trace)
        if choices.json is not None:
            hand_over_json(played_json(lift, case, run, margin), choices.json)
        if folder is not None:
            _write_picture(folder, setting, run)
        if not choices.silent:
            for line in played_lines(lift, case, run, margin)[: 1 if choices.quiet else None]:
                click.echo(line)
    return 0 if margin >= 0.0 else 1


def _periods(choices: DeeperChoices, case: Case, lift: Lift) -> NDArray[np.float64] | None:
    """Loop periods of the log that a case was found with; it must be given again, and no other."""
    from homing.outputs import measured_periods
    from homing.worst.case import timing_mark

    if case.timing_mark is None:
        if choices.timing_from is not None:
            raise InputError("must be left out: the case was found without it", key="--timing-from")
        return None
    if choices.timing_from is None:
        raise InputError("must be given: the case was found with loops drawn from a log", key="--timing-from")
    periods_s = measured_periods(choices.timing_from, lift)
    if periods_s is None or timing_mark(periods_s) != case.timing_mark:
        must = "must be the log that the case was found with; its loops are not those"
        raise InputError(must, key="--timing-from", got=choices.timing_from)
    return periods_s


def _write_picture(folder: Path, setting: Setting, run: Run) -> None:
    from homing.report.figures import png
    from homing.report.files import write_files
    from homing.report.worst_picture import as_svg, worst_picture
    from homing.simulate import nominal_run

    made = worst_picture(nominal_run(setting), run, setting.lift)
    write_files(folder, {PICTURE: as_svg(made), str(Path(PICTURE).with_suffix(".png")): png(made)})
