"""What a pure function gave, kept in this process's memory by the whole of its input."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

T = TypeVar("T")


class Kept(Generic[T]):
    """Results by key, ``most`` of them; the one not asked for longest goes first.

    Nothing in it can be out of date as long as the key holds all that the result is made from, the day too. What a
    person may see is never kept here: that is asked anew with every request, and only then is the key made.
    """

    def __init__(self, most: int) -> None:
        self.most = most
        self._kept: OrderedDict[Hashable, T] = OrderedDict()
        self._lock = Lock()

    def of(self, key: Hashable, make: Callable[[], T]) -> T:
        """The result for ``key``; ``make`` is called where it is not kept."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        made = make()
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > self.most:
                self._kept.popitem(last=False)
        return made

    def clear(self) -> None:
        with self._lock:
            self._kept.clear()

    def __len__(self) -> int:
        return len(self._kept)
