"""The page with twenty viewers: from the entry on disk to the pixel in Chromium, and its cost.

A session's entries come one a second, three times as fast as in a session with a person, with an
input level twice a second as from a microphone. `python -m pytest -m slow -n 0` on this file
prints the figures.
"""

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant.storage import bundled_files
from tests.view.conftest import Staged, await_entry, browser, chromium, open_page, shown

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

__all__ = ["browser", "chromium"]

pytestmark = [pytest.mark.slow, pytest.mark.site]

VIEWERS = 20
PAINTING = 4
"""Of them, how many are pages in Chromium. Each viewer has a machine of his own to draw with; on
this one the others only take what is sent, or the browser alone would keep it busy."""
EVERY_S = 1.0
ENTRIES = 60

PAINTED = """() => {
  window.painted = {};
  const root = document.documentElement;
  new MutationObserver(() => {
    const seq = root.dataset.seq;
    // The message comes after the frame that the callback belongs to has been painted.
    requestAnimationFrame(() => {
      const channel = new MessageChannel();
      channel.port1.onmessage = () => {
        window.painted[seq] = performance.now();
      };
      channel.port2.postMessage(0);
    });
  }).observe(root, { attributeFilter: ["data-seq"] });
}"""


class Stalls:
    """How late this machine wakes a process that is due, while all else goes on."""

    def __init__(self) -> None:
        """Begin to measure, in a process of its own."""
        self._process = subprocess.Popen(
            [sys.executable, "-c", STALLS], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def p95_ms(self) -> float:
        """End it and return the 95th percentile, in milliseconds."""
        out, _ = self._process.communicate("\n")
        return float(out)


STALLS = """
import select, sys, time
late = []
while not select.select([sys.stdin], [], [], 0)[0]:
    due = time.monotonic() + 0.02
    time.sleep(0.02)
    late.append(time.monotonic() - due)
print(1000 * sorted(late)[len(late) * 95 // 100])
"""

HOPS = 8
"""Processes and threads that an entry passes on its way, each of which must be woken: the one that
tells, three in the view's process, and the browser's for network, page, frames and drawing."""


def spent_s(pid: int) -> float:
    """Return the processor time of a process so far, in seconds."""
    fields = Path(f"/proc/{pid}/stat").read_text("ascii").rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def ahead_ms(page: "Page") -> float:
    """Return what this process's steady clock shows more than a page's, from the quickest answer.

    Both count the same seconds from another beginning, so this holds as long as the page does.
    """
    found = []
    for _ in range(15):
        before = time.monotonic()
        shows = float(page.evaluate("performance.now()"))
        after = time.monotonic()
        found.append((after - before, (before + after) * 500 - shows))
    return min(found)[1]


TAKING = """
import selectors, socket, sys
host, port, count = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
chosen = selectors.DefaultSelector()
for _ in range(count):
    line = socket.create_connection((host, port))
    line.sendall(f"GET /events HTTP/1.1\\r\\nHost: {host}:{port}\\r\\n\\r\\n".encode())
    chosen.register(line, selectors.EVENT_READ)
chosen.register(sys.stdin, selectors.EVENT_READ)
taken = 0
while True:
    for key, _ in chosen.select():
        if key.fileobj is sys.stdin:
            print(taken)
            sys.exit()
        taken += key.fileobj.recv(65536).count(b"event: state")
"""
"""Opens so many streams and takes all that comes; prints how many pages came."""


class Enough(Exception):  # noqa: N818 - no accident
    """Enough entries were shown."""


def test_entries_are_painted_in_time_and_the_server_is_idle(
    browser: "Browser",
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Under 150 ms at the 95th percentile, under 2 % of a core, under 150 kB.

    How late this machine wakes what is due is measured in the same run and allowed for each hop:
    other work may be going on here, and viewers have a machine each. It is a millisecond or less
    on a machine that does nothing else.
    """
    from assistant.view.site import pages  # noqa: PLC0415 - an extra

    staged = Staged(tmp_path / "record", bundled_files.read_plan("double-cone"))

    def paced(seq: int) -> None:
        if seq == ENTRIES:
            raise Enough
        assert staged.link is not None
        for _ in range(2):
            time.sleep(EVERY_S / 2)
            staged.link.heard(-45.0 if seq % 3 else -25.0)

    with shown(staged) as url:
        viewers = [open_page(browser, url) for _ in range(PAINTING)]
        port = url.rsplit(":", 1)[1].strip("/")
        others = subprocess.Popen(
            [sys.executable, "-c", TAKING, "127.0.0.1", port, str(VIEWERS - PAINTING)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for page in viewers:
            await_entry(page, 0)
            page.evaluate(PAINTED)
        assert staged.link is not None
        pid = staged.link.pid
        staged.after = paced
        stalls = Stalls()
        began, before = time.monotonic(), spent_s(pid)
        with pytest.raises(Enough):
            staged.play()
        share = (spent_s(pid) - before) / (time.monotonic() - began)
        stall = stalls.p95_ms()
        taken, _ = others.communicate("\n")
        for page in viewers:
            await_entry(page, ENTRIES)
        time.sleep(1)
        painted = [(page.evaluate("window.painted"), ahead_ms(page)) for page in viewers]
    staged.folder.close()
    delays = [
        one[str(seq)] + ahead - 1000 * at
        for one, ahead in painted
        for seq, at in staged.written.items()
        if str(seq) in one
    ]
    size = sum(map(len, pages().values()))
    p50, p95, most = np.percentile(delays, [50, 95, 100])
    figures = {
        "entries painted": len(delays),
        "entry to pixel, ms": {"p50": round(p50), "p95": round(p95), "most": round(most)},
        "stall of the machine at p95, ms": round(stall, 1),
        "load of the machine": os.getloadavg()[0],
        "share of a core, %": round(100 * share, 2),
        "page, bytes": size,
    }
    with capsys.disabled():
        print(f"\n{json.dumps(figures)}")  # noqa: T201 - a benchmark's figures are its result
    assert len(delays) == PAINTING * ENTRIES
    # Each of the others also had the page before the first entry; the last one may be on its way.
    assert int(taken) >= (VIEWERS - PAINTING) * ENTRIES
    assert min(delays) > 0
    assert p95 < 150 + HOPS * stall
    # The goal of 2 % is reported above; on a machine that does other work every instruction takes
    # longer, so only a view that works without need fails here.
    assert share < 0.06
    assert size < 150_000
