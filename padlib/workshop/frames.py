"""One message between page and session: a JSON text and arrays behind it, in one block of bytes.

Four bytes, little-endian: the length of the text; the text, padded with spaces to a multiple of four;
then the arrays, which the text points into by [byte offset, number of entries].
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError


class Blocks:
    """Arrays on their way into a message."""

    def __init__(self) -> None:
        """None yet."""
        self._parts: list[bytes] = []
        self._size = 0

    def keep(self, array: NDArray) -> list[int]:
        """Take an array along; where it will be found: [byte offset, number of entries]."""
        data = np.ascontiguousarray(array).tobytes()
        data += b"\0" * (-len(data) % 4)
        self._parts.append(data)
        self._size += len(data)
        return [self._size - len(data), int(array.size)]

    def message(self, text: Mapping[str, Any]) -> bytes:
        """The message of a text and of the arrays kept."""
        words = json.dumps(text).encode()
        words += b" " * (-len(words) % 4)
        return b"".join([len(words).to_bytes(4, "little"), words, *self._parts])


def message(text: Mapping[str, Any], rest: bytes = b"") -> bytes:
    """A message of a text with a block of arrays that is made already."""
    words = json.dumps(text).encode()
    words += b" " * (-len(words) % 4)
    return len(words).to_bytes(4, "little") + words + rest


def parts(data: bytes) -> tuple[dict[str, Any], bytes]:
    """The text and the block of a message. Raises InputError where it is none."""
    length = int.from_bytes(data[:4], "little")
    if len(data) < 4 or length % 4 or length > len(data) - 4:
        raise InputError("The message is not as long as it says.")
    try:
        text = json.loads(data[4 : 4 + length])
    except (ValueError, RecursionError):
        raise InputError("The message is not readable JSON.") from None
    if not isinstance(text, dict):
        raise InputError("The message must be a JSON object.")
    return text, data[4 + length :]


def array(block: bytes, place: list[int], kind: str) -> NDArray:
    """An array of a block, by the place that `Blocks.keep` gave."""
    return np.frombuffer(block, kind, place[1], place[0])
