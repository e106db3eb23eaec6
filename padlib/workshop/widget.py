"""The workshop in a notebook: the same front end, over the notebook's own line.

Needs the extra `notebook` (anywidget).
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from padlib.errors import InputError
from padlib.workshop.desk import Desk
from padlib.workshop.session import Session

try:
    import anywidget
except ImportError:
    anywidget = None

SCRIPT = Path(__file__).with_name("web") / "widget.js"


def workshop(suit: str | Path | None = None) -> Any:
    """The workshop page of a suit file (None: the demo suit) as a widget to show in a notebook.

    Everything is kept in the suit file as it goes. `close()` of the widget ends what runs behind it.
    Raises InputError where the extra `notebook` is not installed, SuitError for a suit file that
    cannot be read.
    """
    if anywidget is None:
        raise InputError(
            "The workshop in a notebook needs anywidget: pip install 'padlib[notebook]'."
        )
    return _widget_class()(Session(suit))


def _widget_class() -> Any:
    """The widget's class, made when anywidget is there."""

    class Workshop(anywidget.AnyWidget):
        """One session with its page."""

        _esm = SCRIPT.read_text(encoding="utf-8")

        def __init__(self, session: Session) -> None:
            super().__init__()
            self.session = session
            self._desk = Desk(session)
            self._hands = ThreadPoolExecutor(4, thread_name_prefix="workshop")
            self.on_msg(self._asked)

        def _asked(self, _widget: Any, _content: Any, buffers: list[Any]) -> None:
            for buffer in buffers:
                self._hands.submit(self._answer, bytes(buffer))

        def _answer(self, data: bytes) -> None:
            self.send({}, [self._desk.answer(data)])

        def close(self) -> None:
            """End the session and take the page away."""
            self._hands.shutdown(wait=False, cancel_futures=True)
            self.session.close()
            super().close()

    return Workshop
