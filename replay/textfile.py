"""Bytes of a log file, read in blocks so that what is no log is refused before it fills the memory.

A text log has lines. A file without a line end for a whole block is none, however large it is, and is left
after that block; zeros at the end, which a file system that lost power hands back, are dropped as they come.
"""

from __future__ import annotations

import codecs
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

import numpy as np

from replay.mcap_file import MAGIC
from sensor_models.errors import InputError

#: First bytes of a Parquet file (its specification, "File format").
PARQUET_MAGIC = b"PAR1"
#: A file is read in blocks of this size, and each must hold a line end: far longer than any row of a log,
#: the widest of which, 2000 columns of 20 characters, takes 40 kB.
BLOCK_BYTES = 1 << 20
#: More control characters than this share make a file binary.
BINARY_SHARE = 0.002
#: Bytes looked at to tell text from binary.
SNIFFED_BYTES = 1 << 16
#: Control characters that text may hold; the last one ends files of old systems.
_TEXT_CONTROLS = b"\t\n\r\f\v\x1a"
_LINE_END = ord("\n")
#: Byte order marks of UTF-16.
UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


def file_bytes(path: Path) -> tuple[bytes, list[str]]:
    """The whole file without zeros at its end, and notes about it.

    Raises
    ------
    InputError
        When it cannot be read, is empty, or is neither Parquet nor MCAP and has no lines.
    """
    try:
        with path.open("rb") as file:
            # peeked at, since a pipe cannot be wound back
            typed = file.peek(len(MAGIC)).startswith((PARQUET_MAGIC, MAGIC))
            data, zeros = (file.read(), 0) if typed else _text_blocks(file, path.name)
    except OSError as problem:
        reason = (problem.strerror or "cannot be read").lower()
        raise InputError(f"must be a log that can be read ({reason})", file=str(path)) from None
    # the beginning is looked at first, since to strip a long text is to copy it
    if not data[:SNIFFED_BYTES].strip(b" \r\n\t") and not data.strip(b" \r\n\t"):
        raise InputError("must hold a header and rows; it is empty", file=path.name)
    return data, [f"{zeros} zero bytes at the end ignored"] if zeros else []


def _text_blocks(file: BinaryIO, source: str) -> tuple[bytes, int]:
    """The text of a file and how many zero bytes stand behind it."""
    # grows in place: to join blocks would hold the text twice
    text = BytesIO()
    zeros = 0
    while block := file.read(BLOCK_BYTES):
        bare = block.rstrip(b"\0")
        if bare:
            if zeros >= BLOCK_BYTES or _no_line_end(bare):
                raise _long_line(text.getvalue(), source)
            if text.tell() == 0:
                _refuse_binary(bare, source)
            # zeros within the text stay there, for the check for binary files to see
            text.write(b"\0" * zeros + bare if zeros else bare)
            zeros = 0
        zeros += len(block) - len(bare)
    data = text.getvalue()
    if data.startswith(b"\xff\xfe") and len(data) % 2 and zeros:
        # the second half of the last character was no padding
        data, zeros = data + b"\0", zeros - 1
    return data, zeros


def _no_line_end(block: bytes) -> bool:
    # the last character of a block of UTF-16 may end in a zero
    return len(block) >= BLOCK_BYTES - 1 and b"\n" not in block and b"\r" not in block


def _long_line(before: bytes, source: str) -> InputError:
    line = 1 + before.count(b"\n")
    return InputError(
        f"must end within {BLOCK_BYTES} bytes; a log has short lines", file=source, key=f"line {line}"
    )


def _refuse_binary(block: bytes, source: str) -> None:
    sniffed = block[:SNIFFED_BYTES]
    if sniffed.startswith(UTF_16):
        return
    control = sum(sniffed.count(code) for code in range(32) if code not in _TEXT_CONTROLS)
    if control > BINARY_SHARE * len(sniffed):
        raise InputError("must be a text log (CSV, TSV, JSON lines) or Parquet; this is binary", file=source)


def as_utf_8(data: bytes, source: str) -> tuple[bytes, list[str]]:
    """The text as UTF-8 with plain line feeds and without a byte order mark, and what it was before."""
    notes = []
    if data.startswith(UTF_16):
        data, notes = data.decode("utf-16", errors="replace").encode(), ["read as UTF-16"]
        if b"\0" in data:
            # UTF-32 begins in the same way
            raise InputError("must be UTF-8 or UTF-16 where it is text", file=source)
    elif data.startswith(codecs.BOM_UTF8):
        data = data[len(codecs.BOM_UTF8) :]
    if not data.isascii() and not _is_utf_8(data):
        data, notes = data.decode("latin-1").encode(), ["not UTF-8; read as Latin-1"]
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return data, notes


def count_lines(data: bytes) -> int:
    """Lines of a text, the last one with or without its end.

    Each block is compared whole, several times as fast as `bytes.count` on short lines.
    """
    ends = 0
    for start in range(0, len(data), BLOCK_BYTES):
        block = np.frombuffer(data, np.uint8, min(BLOCK_BYTES, len(data) - start), start)
        ends += int(np.count_nonzero(block == _LINE_END))
    return ends + (not data.endswith(b"\n"))


def _is_utf_8(data: bytes) -> bool:
    try:
        data.decode()
    except UnicodeDecodeError:
        return False
    return True
