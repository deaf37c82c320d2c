"""Errors about what a person gave us.

InputError (ValueError)          something given cannot be used; carries file, key, row
    the command line turns every InputError into one sentence and exit code 2
"""

from __future__ import annotations


class InputError(ValueError):
    """Input that cannot be used: one sentence saying where, what is accepted and what was found.

    Parameters
    ----------
    must : str
        What is accepted, as the end of "KEY must ...", or a whole sentence when ``key`` is None.
    file, key : str, optional
        Where it stands: file name and ``section.key`` (or column).
    row : int, optional
        Data row, counted from 1 as a person would.
    got : object, optional
        What was found; left out of the sentence when not given.
    """

    def __init__(
        self,
        must: str,
        *,
        file: str | None = None,
        key: str | None = None,
        row: int | None = None,
        got: object = None,
    ) -> None:
        self.file, self.key, self.row, self.got = file, key, row, got
        place = ", ".join(
            part for part in (file, f"row {row}" if row is not None else None, key) if part is not None
        )
        sentence = f"{place} {must}" if key is not None else (f"{place}: {must}" if place else must)
        if got is not None:
            sentence += f"; got {got!r}"
        super().__init__(sentence)
