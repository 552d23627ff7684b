"""What was last made, kept for who asks for it next."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

_KEPT = 24

T = TypeVar("T")


class Recent(Generic[T]):
    """Keeps what was last made, and makes each thing once, also when asked for at once."""

    def __init__(self) -> None:
        self._made: OrderedDict[Hashable, tuple[Lock, list[T]]] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return a thing, made now or before.

        Parameters
        ----------
        key : hashable
            What it is known by.
        make : callable
            Makes it; what it raises is raised, and nothing is kept.

        Returns
        -------
        object
            The thing.
        """
        with self._lock:
            lock, place = self._made.setdefault(key, (Lock(), []))
            self._made.move_to_end(key)
            while len(self._made) > _KEPT:
                self._made.popitem(last=False)
        with lock:
            if not place:
                place.append(make())
            return place[0]
