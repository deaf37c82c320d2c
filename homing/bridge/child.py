"""The team's program as a process: started without a shell, asked line by line, ended with all it started."""

from __future__ import annotations

import os
import select
import shlex
import signal
import subprocess
import tempfile
import time
from contextlib import suppress
from pathlib import Path

from homing.bridge.protocol import LONGEST_LINE
from sensor_models.errors import InputError

#: A program may take so long to start and answer the first time [s]; a virtual machine needs a second or two.
FIRST_ANSWER_S = 20.0
#: And so long for every later answer [s]. A controller's loop is far shorter; this is about hanging.
ANSWER_S = 2.0
#: Time to leave by itself once its input is closed [s].
LEAVE_S = 0.5
#: Read at once [bytes].
CHUNK = 65_536
#: Of what it wrote to standard error, the last so many characters are told.
TOLD = 200


class Child:
    """One running copy of a program.

    Parameters
    ----------
    command : str
        Program and arguments as one would type them; quotes are heeded, nothing else is interpreted.

    Raises
    ------
    InputError
        When it cannot be started.
    """

    def __init__(self, command: str) -> None:
        self.command = command
        self.answered = False
        self._unread = b""
        self._errors = tempfile.TemporaryFile()  # noqa: SIM115 - closed in close()
        try:
            self._process = subprocess.Popen(
                arguments(command),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._errors,
                bufsize=0,
                start_new_session=True,  # one group: whatever it forks is ended with it
            )
        except OSError as error:
            self._errors.close()
            raise InputError(
                f"cannot be started: {error.strerror or error}", key="--program", got=command
            ) from error
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._in, self._out = self._process.stdin.fileno(), self._process.stdout.fileno()
        self._ready = select.poll()
        self._ready.register(self._out, select.POLLIN | select.POLLHUP)

    def tell(self, line: bytes) -> None:
        """Send one line; one that came together with the last answer is an error."""
        self._refuse_unasked()
        try:
            os.write(self._in, line)
        except (BrokenPipeError, OSError) as error:
            raise self._ended() from error

    def rest(self) -> None:
        """Hold that it has said nothing unasked; to look at each loop would cost a tenth of the speed.

        A line too many shifts all later answers by one, so that one is left over when the run ends.
        """
        if not self._unread and self._ready.poll(0):
            self._unread = os.read(self._out, CHUNK)
            if not self._unread:
                raise self._ended()
        self._refuse_unasked()

    def answer(self) -> bytes:
        """The next line that it writes.

        Raises
        ------
        InputError
            When it takes too long, ends, or writes a line without end.
        """
        within_s = ANSWER_S if self.answered else FIRST_ANSWER_S
        until_s = time.monotonic() + within_s
        while (end := self._unread.find(b"\n")) < 0:
            if len(self._unread) > LONGEST_LINE:
                raise self._trouble(
                    f"must answer in lines of at most {LONGEST_LINE} bytes; it wrote a longer one"
                )
            left_s = until_s - time.monotonic()
            if left_s <= 0.0 or not self._ready.poll(1000.0 * left_s):
                raise self._trouble(f"must answer within {within_s:g} s; it did not")
            read = os.read(self._out, CHUNK)
            if not read:
                raise self._ended()
            self._unread += read
        line, self._unread = self._unread[:end], self._unread[end + 1 :]
        if end > LONGEST_LINE:
            raise self._trouble(f"must answer in lines of at most {LONGEST_LINE} bytes; it wrote {end}")
        self.answered = True
        return line

    def close(self) -> None:
        """Close its input, give it a moment to leave, then end it and everything in its group."""
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with suppress(OSError):
                    pipe.close()
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(LEAVE_S)
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()
        self._errors.close()

    def _refuse_unasked(self) -> None:
        if self._unread:
            raise self._trouble("must answer one line for one loop, and none for a reset; it sent more")

    def _ended(self) -> InputError:
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(LEAVE_S)
        code = self._process.returncode
        how = "closed its output" if code is None else f"ended with code {code}" if code >= 0 else ""
        how = how or f"was ended by signal {signal.Signals(-code).name}"
        return self._trouble(f"must go on until its input is closed; it {how}")

    def _trouble(self, must: str) -> InputError:
        said = self._said()
        told = f"; it said: {said}" if said else ""
        return InputError(f"{must}{told}", file=f'program "{self.command}"', key="--program")

    def _said(self) -> str:
        """The end of what it wrote to standard error, on one line."""
        self._errors.seek(0, os.SEEK_END)
        self._errors.seek(max(0, self._errors.tell() - 4 * TOLD))
        text = " ".join(self._errors.read().decode("utf-8", errors="replace").split())
        return text if len(text) <= TOLD else f"...{text[-TOLD:]}"


def arguments(command: str) -> list[str]:
    """Program and arguments of a command line; no shell is involved.

    Raises
    ------
    InputError
        When there is nothing in it, or a quote is not closed.
    """
    try:
        words = shlex.split(command, posix=os.name == "posix")
    except ValueError as error:
        raise InputError(f"must be a command line: {error}", key="--program", got=command) from error
    if not words:
        raise InputError("must name a program", key="--program", got=command)
    if "\0" in command:
        raise InputError("must be a command line of text", key="--program", got=command)
    return [str(Path(words[0])) if os.sep in words[0] else words[0], *words[1:]]
