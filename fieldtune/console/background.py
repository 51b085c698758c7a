"""One thread in which everything that takes time happens, in order, away from the screen."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


class BackgroundThread:
    """Runs calls on the session one after another.

    A waiting call whose asker was cancelled (a newer question superseded it) is dropped before it starts; one that
    has started is finished, so that a confirmed shot is never lost half-way.
    """

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="fieldtune-backroom")

    async def run(self, call: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """The call's result; its exception is raised here."""
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._pool, partial(call, *args, **kwargs))

    def close(self) -> None:
        """Drop what waits; what runs is left to end by itself."""
        self._pool.shutdown(wait=False, cancel_futures=True)
