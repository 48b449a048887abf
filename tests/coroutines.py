"""Run a coroutine to its end from a test, whatever loop the test's own thread is in.

A browser that was driven in the same process leaves a running loop behind in the main thread.
"""

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

Result = TypeVar("Result")


def finished(work: Coroutine[Any, Any, Result]) -> Result:
    """Return what the coroutine returns, run in a thread of its own."""
    with ThreadPoolExecutor(max_workers=1) as pool:
        return pool.submit(asyncio.run, work).result()
