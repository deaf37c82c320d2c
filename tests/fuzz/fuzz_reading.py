"""Coverage-guided fuzzing of the log reader, and of the diagnosis of what it read.

    pip install atheris                                   a tool, no dependency of the project
    python tests/fuzz/fuzz_reading.py NEW tests/replay/corpus -max_total_time=600 -max_len=4096
    python tests/fuzz/fuzz_reading.py --diagnose NEW tests/replay/corpus -max_total_time=600

Not run by pytest. NEW is a folder for what is found; further arguments go to libFuzzer (``-timeout=20`` and
``-rss_limit_mb=3000`` tell hangs and memory apart from crashes). Each input is read without a map and with
one of `MAPS`, as short and as long files are. Anything but a `Log` or an `InputError` of reasonable length is
a crash, and so is a warning. Keep the minimised input (``-minimize_crash=1``) in tests/replay/corpus, named
after what was wrong; a test reads every file there.
"""

from __future__ import annotations

import random
import sys
import tempfile
import warnings
import zlib
from pathlib import Path
from unittest.mock import patch

import atheris

with atheris.instrument_imports(include=["replay"]):
    from replay import delimited
    from replay.diagnosing import diagnose
    from replay.reading import read_log

from replay.log import Log
from sensor_models.errors import InputError

sys.path.insert(0, str(Path(__file__).parents[1] / "replay"))
from corpusfiles import LONGEST_MESSAGE, MAPS

WORDS = Path(__file__).with_name("words.dict")
#: Longer logs take the diagnosis too long for fuzzing to get anywhere.
MOST_ROWS = 400

#: Cells that tell kinds of column, empty cells and extremes apart.
CELLS = (
    *(b"", b"0", b"1", b"-1", b"0,5", b"0.25", b"1e308", b"-1e308", b"1e-320", b"nan", b"inf", b"-inf"),
    *(b"65535", b"-32768", b"4294967295", b"9223372036854775807", b"-9223372036854775808", b"1e19"),
    *(b"true", b"off", b"pressed", b"null", b"ms", b"mm", b"[V]", b"t_ms", b"counts", b"limit", b'"', b'"a'),
)

_place = Path(tempfile.mkdtemp(prefix="fuzz-", dir="/dev/shm" if Path("/dev/shm").is_dir() else None))
_diagnosing = "--diagnose" in sys.argv


def one_input(data: bytes) -> None:
    """Read one file in three ways; the last time as long files are read."""
    path = _place / "log.bin"
    path.write_bytes(data)
    _use(path, None)
    with patch.multiple(delimited, TOP_BYTES=64, SNIFFED_LINES=2):
        _use(path, MAPS[zlib.crc32(data) % len(MAPS)])
        _use(path, None)


def _use(path: Path, columns: dict[str, object] | None) -> None:
    try:
        log = read_log(path, columns)
    except InputError as error:
        message = str(error)
        if not message.strip() or len(message) > LONGEST_MESSAGE:
            raise RuntimeError(f"no message for a person: {len(message)} characters") from error
        return
    if not isinstance(log, Log):
        raise TypeError(f"no log: {type(log)}")
    if _diagnosing and len(log) <= MOST_ROWS:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            diagnose(log)


def reshaped(data: bytes, longest: int, seed: int) -> bytes:
    """A mutation of whole lines and cells half of the time, of bytes otherwise."""
    rng = random.Random(seed)
    if rng.random() < 0.5:
        return bytes(atheris.Mutate(data, longest))
    separator = rng.choice((b"\n", b"\n", b",", b";", b"\t"))
    parts = data.split(separator)
    one, other = rng.randrange(len(parts)), rng.randrange(len(parts))
    kind = rng.randrange(6)
    if kind == 0:
        parts[one], parts[other] = parts[other], parts[one]
    elif kind == 1:
        parts[one:one] = parts[min(one, other) : max(one, other) + 1]
    elif kind == 2:
        del parts[min(one, other) : max(one, other)]
    elif kind == 3:
        parts[one] = parts[other]
    elif kind == 4:
        parts[one] = rng.choice(CELLS)
    else:
        parts[one] = bytes(atheris.Mutate(parts[one], 64)) if parts[one] else rng.choice(CELLS)
    return separator.join(parts)[:longest]


def main() -> None:
    warnings.simplefilter("error")
    arguments = [each for each in sys.argv if each != "--diagnose"]
    atheris.Setup([*arguments, f"-dict={WORDS}"], one_input, custom_mutator=reshaped)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
