"""What happens, told at once to every page that is open (server-sent events)."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from typing import Any

_BEAT_S = 15.0
_MOST = 500  # that wait for a page that does not read


class Hub:
    """Hands out events by the name of the project that they are about."""

    def __init__(self) -> None:
        self._listening: dict[asyncio.Queue[str | None], str] = {}

    def tell(self, project: str, kind: str, data: Any) -> None:
        """Send an event to the pages that show a project."""
        text = f"event: {kind}\ndata: {json.dumps(data, ensure_ascii=False)}\n\n"
        for queue, of in self._listening.items():
            if of == project and queue.qsize() < _MOST:
                queue.put_nowait(text)

    def end(self) -> None:
        """End all listening; the server stops."""
        for queue in self._listening:
            queue.put_nowait(None)

    async def listen(self, project: str, first: Callable[[], str]) -> AsyncIterator[str]:
        """Events as they come, after what is so at `first`; a sign of life where nothing happens.

        `first` is asked once the events are heard, so that none falls between the two.
        """
        queue: asyncio.Queue[str | None] = asyncio.Queue()
        self._listening[queue] = project
        try:
            yield first()
            while True:
                try:
                    text = await asyncio.wait_for(queue.get(), _BEAT_S)
                except TimeoutError:
                    text = ": still here\n\n"
                if text is None:
                    return
                yield text
        finally:
            del self._listening[queue]
