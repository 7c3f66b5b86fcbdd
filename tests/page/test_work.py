"""Processes for what takes long: they end at once, whatever they are at."""

import asyncio
import threading
import time
from concurrent.futures import ThreadPoolExecutor

from blockcheck.page.work import Workers

LARGE = 64 * 2**20  # far more than a pipe holds


def _later():
    time.sleep(0.4)
    return bytes(LARGE)


async def _ended_while_an_answer_comes():
    workers = Workers()
    await workers.run("edit", int)
    answer = asyncio.ensure_future(workers.run("edit", _later))
    await asyncio.sleep(0.2)
    sum(range(6 * 10**7))  # nobody reads meanwhile, so the process is stopped amid its answer
    workers.end()
    answer.cancel()


def test_a_half_sent_answer_does_not_hold_up_the_end():
    before = set(threading.enumerate())
    with ThreadPoolExecutor(1) as apart:  # the browser's tests leave a loop in this thread
        apart.submit(asyncio.run, _ended_while_an_answer_comes()).result()
    for thread in set(threading.enumerate()) - before:
        thread.join(20)
        assert not thread.is_alive(), thread
