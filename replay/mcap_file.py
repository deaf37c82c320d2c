"""MCAP logs with JSON messages, through the format's own library (extra ``mcap``)."""

from __future__ import annotations

import json
from io import BytesIO
from typing import Any

from replay.table import Table
from replay.typed import read_json_lines
from sensor_models.errors import InputError

#: First bytes of a file of this format (its specification, section "Magic").
MAGIC = b"\x89MCAP0\r\n"

#: Name of the column that holds the time at which a message was logged.
LOG_TIME = "log_time [ns]"


def read_mcap(data: bytes, source: str) -> tuple[Table, list[str]]:
    """Read the JSON messages of an MCAP file in the order in which they were logged.

    Each message becomes a row; with more than one topic the fields are named ``topic.field``. The time of
    logging goes into a column of its own.

    Parameters
    ----------
    data : bytes
        The whole file.
    source : str
        Name of the file, for messages.

    Returns
    -------
    Table, list of str
        Cells, and notes about what was left out.

    Raises
    ------
    InputError
        When the library is missing, the file is damaged, or nothing in it is JSON.
    """
    messages, others = _messages(data, source)
    if not messages:
        raise InputError("must hold messages encoded as JSON; it has none", file=source)
    topics = {topic for topic, _, _ in messages}
    lines = (
        json.dumps({LOG_TIME: time_ns, **_named(topic, fields, len(topics) > 1)})
        for topic, time_ns, fields in messages
    )
    notes = [f"{count} messages of topic {topic} are not JSON; left out" for topic, count in others.items()]
    return read_json_lines("\n".join(lines).encode(), source), notes


def _messages(data: bytes, source: str) -> tuple[list[tuple[str, int, dict[str, Any]]], dict[str, int]]:
    try:
        from mcap.exceptions import McapError
        from mcap.reader import make_reader
    except ImportError:
        raise InputError("needs the extra for MCAP: pip install 'downstop[mcap]'", file=source) from None
    found: list[tuple[str, int, dict[str, Any]]] = []
    others: dict[str, int] = {}
    try:
        for _, channel, message in make_reader(BytesIO(data)).iter_messages():
            fields = _fields(message.data) if channel.message_encoding == "json" else None
            if fields is None:
                others[channel.topic] = others.get(channel.topic, 0) + 1
            else:
                found.append((channel.topic, message.log_time, fields))
    except (McapError, ValueError, EOFError) as problem:
        raise InputError(
            f"must be a whole MCAP file; it breaks off or is damaged ({problem})", file=source
        ) from None
    return found, others


def _fields(data: bytes) -> dict[str, Any] | None:
    try:
        value = json.loads(data)
    except (ValueError, RecursionError):
        return None
    return value if isinstance(value, dict) else None


def _named(topic: str, fields: dict[str, Any], several: bool) -> dict[str, Any]:
    return {topic.strip("/"): fields} if several else fields
