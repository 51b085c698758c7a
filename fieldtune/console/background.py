"""What the screen's thread must not wait for: three threads that compute, and the one line of news that tells of it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import Any, TypeVar

from textual.app import App

from fieldtune.errors import FieldtuneError

T = TypeVar("T")
STALE_S = 15.0
"""How long a line of news stays."""


class News:
    """One line at the bottom of every screen; ``show`` is called when it changes."""

    def __init__(self, clock: Callable[[], float], show: Callable[[], None]) -> None:
        self.text, self.bad = "", False
        self._clock, self._show = clock, show
        self._said_at = clock()

    def say(self, text: str, bad: bool = False) -> None:
        """Says this until something else is said, or for ``STALE_S``."""
        self.text, self.bad, self._said_at = text.replace("\n", " "), bad, self._clock()
        self._show()

    def forget_old(self) -> None:
        """Takes the news away once it is old."""
        if self._clock() - self._said_at > STALE_S:
            self.text = ""


class BackgroundThreads:
    """One thread for answers, one for the log, one for what takes seconds; each runs its calls one after another.

    A waiting call whose asker was cancelled (a newer question superseded it) is dropped before it starts; one that
    has started is finished, so that a confirmed shot is never lost half-way. A failure becomes news and ``None``.
    """

    def __init__(self, app: App[None], news: News) -> None:
        self._app, self._news = app, news
        self._answers, self._log, self._slow = (
            ThreadPoolExecutor(max_workers=1, thread_name_prefix=f"fieldtune-{name}")
            for name in ("answers", "log", "slow")
        )

    async def run(self, call: Callable[..., T], *args: Any) -> T:
        """The call's answer from the thread for answers; its exception is raised here."""
        return await self._run_on(self._answers, call, *args)

    async def ask(self, what: str, call: Callable[..., T], *args: Any, **kwargs: Any) -> T | None:
        """The call's answer from the thread for answers."""
        return await self._ask(self._answers, what, call, *args, **kwargs)

    async def ask_log(self, what: str, call: Callable[..., T], *args: Any, **kwargs: Any) -> T | None:
        """As ``ask``, for the log: writing a shot never waits for something that is being worked out."""
        return await self._ask(self._log, what, call, *args, **kwargs)

    async def ask_slowly(self, what: str, call: Callable[..., T], *args: Any, **kwargs: Any) -> T | None:
        """As ``ask``, for what takes seconds and needs no session: it keeps nobody waiting."""
        return await self._ask(self._slow, what, call, *args, **kwargs)

    async def _ask(
        self, thread: ThreadPoolExecutor, what: str, call: Callable[..., T], *args: Any, **kwargs: Any
    ) -> T | None:
        try:
            return await self._run_on(thread, call, *args, **kwargs)
        except FieldtuneError as error:
            self._news.say(str(error), bad=True)
        except Exception as error:  # the console stays up whatever went wrong, and says what it was
            self._app.log.error(error)
            self._news.say(f"{what} did not work: {type(error).__name__}: {error}", bad=True)
        return None

    @staticmethod
    async def _run_on(thread: ThreadPoolExecutor, call: Callable[..., T], *args: Any, **kwargs: Any) -> T:
        return await asyncio.get_running_loop().run_in_executor(thread, partial(call, *args, **kwargs))

    def begin(
        self, group: str, work: Callable[..., Coroutine[Any, Any, None]], *args: Any, exclusive: bool = True
    ) -> bool:
        """Starts asking, unless the console is ending; in an exclusive group the newer takes the older's place."""
        if self._app.is_running:
            # A partial, not a coroutine: one that is superseded before it began is then never made.
            self._app.run_worker(partial(work, *args), group=group, exclusive=exclusive, exit_on_error=False)  # type: ignore[arg-type]
        return self._app.is_running

    def close(self) -> None:
        """Drops what waits; what runs is left to end by itself."""
        for thread in (self._answers, self._log, self._slow):
            thread.shutdown(wait=False, cancel_futures=True)
