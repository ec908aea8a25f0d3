"""A bound on the time of a call that has none of its own."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from typing import Any, TypeVar

Result = TypeVar("Result")


def within(seconds: float, call: Callable[[], Result]) -> Result:
    """What the call gives, or raises. Beyond the time ``TimeoutError``; its thread is then left to end by itself."""
    answers: queue.SimpleQueue[tuple[Any, Exception | None]] = queue.SimpleQueue()

    def ask() -> None:
        try:
            answers.put((call(), None))
        except Exception as error:
            answers.put((None, error))

    threading.Thread(target=ask, name="asked with patience", daemon=True).start()
    try:
        answer, trouble = answers.get(timeout=seconds)
    except queue.Empty as error:
        raise TimeoutError(f"no answer within {seconds:g} s") from error
    if trouble is not None:
        raise trouble
    return answer
