"""The workshop as a widget: the same questions and answers over a notebook's line."""

from __future__ import annotations

import time

import pytest

from padlib.workshop.frames import message, parts

pytest.importorskip("anywidget")


def test_a_widget_answers_as_the_page_does(suit_file):
    """A change asked for over the widget's line is answered with the state, and kept in the file."""
    from padlib.workshop.widget import workshop

    widget = workshop(suit_file)
    sent = []
    widget.send = lambda content, buffers=None: sent.extend(buffers)
    question = {"id": 5, "ask": "value", "path": ["pad", 0, "depth"], "value": 71}
    widget._handle_custom_msg({}, [memoryview(message(question))])
    end = time.monotonic() + 10
    while not sent and time.monotonic() < end:
        time.sleep(0.01)
    answer, _ = parts(sent[0])
    widget.close()

    assert answer["id"] == 5
    assert answer["value"]["saved"] is True
    assert "depth = 71" in suit_file.read_text()
