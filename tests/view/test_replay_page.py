"""`replay --view` in Chromium: the time line, the keys, and the sounds."""

import json
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant.procedure.enums import State
from assistant.procedure.events import DeviceLost, RemarkTaken
from assistant.testing import Departure
from tests.view.conftest import Stage, Staged, Start, await_entry, open_page

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.site


@pytest.fixture
def recorded(stage: Stage) -> Staged:
    """Return a record with one remark that was spoken."""
    staged = stage()
    hum = (3000 * np.sin(np.arange(16_000) / 9)).astype("<i2").tobytes()
    clip = staged.folder.save_clip(hum)
    staged.play(
        (
            Departure(State.STOWING, DeviceLost(device="speaker", reason="unplugged")),
            Departure(State.REMARKING, RemarkTaken(clip=clip, seconds="1.0")),
        )
    )
    return staged


def test_the_time_line_is_scrubbed_and_the_sound_is_played(
    browser: "Browser", recorded: Staged, start: Start
) -> None:
    """Any entry by slider, button and key; each is the fold at that entry."""
    replay = start("replay", recorded.folder.path, "--view", "--view-port", 0)
    page = open_page(browser, replay.find(r"replay: (\S+)"))
    await_entry(page, 0)
    pages = recorded.pages()
    assert page.locator("#line").get_attribute("max") == str(len(pages) - 1)
    for seq in (len(pages) - 1, 3, 20):
        page.locator("#line").fill(str(seq))
        page.wait_for_function("n => page.seq === n", arg=seq)
        assert page.evaluate("page") == json.loads(pages[seq].model_dump_json())
        assert page.locator("#head-code").inner_text().startswith(f"{seq}-")
    page.get_by_role("button", name="Entry after").click()
    page.wait_for_function("() => page.seq === 21")
    page.locator("#instruction").focus()
    page.keyboard.press("ArrowLeft")
    page.wait_for_function("() => page.seq === 20")
    assert page.get_by_role("button", name="Play the sound").is_disabled()
    spoken = next(n for n, one in enumerate(pages) if "remark of 1.0 s" in _last(one.recent))
    page.locator("#line").fill(str(spoken))
    page.wait_for_function("n => page.seq === n", arg=spoken)
    page.get_by_role("button", name="Play the sound").click()
    page.wait_for_function("n => document.documentElement.dataset.clip === n", arg=str(spoken))
    assert page.page_errors() == []


def _last(recent: tuple[object, ...]) -> str:
    return str(recent[0]) if recent else ""


@pytest.mark.slow
def test_it_plays_on_by_itself_and_pauses(
    browser: "Browser", recorded: Staged, start: Start
) -> None:
    """From an entry that was asked for, sixteen times as fast."""
    replay = start("replay", recorded.folder.path, "--view", "--view-port", 0, "--from", 10)
    page = open_page(browser, replay.find(r"replay: (\S+)"))
    await_entry(page, 10)
    page.get_by_label("Speed").select_option("16")
    page.get_by_role("button", name="Play", exact=True).click()
    await_entry(page, 14)
    page.get_by_role("button", name="Pause").click()
    stopped = page.evaluate("page.seq")
    page.wait_for_timeout(600)
    assert page.evaluate("page.seq") <= stopped + 1
    assert replay.end() == 0
