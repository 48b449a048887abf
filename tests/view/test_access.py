"""Readable by everybody: axe-core in every look, the keyboard, paper, and small screens."""

from typing import TYPE_CHECKING

import pytest

from assistant.procedure.enums import Intent, State
from assistant.procedure.events import Meaning
from assistant.testing import Departure
from tests.view.conftest import Stage, Start, await_entry, open_page, shown

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.site

SPILL = Departure(State.OPENING, Meaning(intent=Intent.NOTE_SPILL), visit=2)


def findings(page: "Page") -> list[str]:
    """What axe-core finds that is serious or worse, with the place."""
    from axe_playwright_python.sync_playwright import Axe  # noqa: PLC0415 - an extra

    found = Axe().run(page).response["violations"]
    return [
        f"{one['id']}: {node['html'][:90]}"
        for one in found
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"]
    ]


@pytest.mark.parametrize(
    "size", [(1366, 768), pytest.param((390, 844), marks=pytest.mark.slow)], ids=["tablet", "phone"]
)
def test_no_look_has_serious_findings(
    browser: "Browser", stage: Stage, size: tuple[int, int]
) -> None:
    """Light, dark, high contrast; with a port open, vials filled and a deviation."""
    staged = stage()
    with shown(staged) as url:
        last = staged.play((SPILL,), until=State.EMPTYING_TUBE)
        assert last.deviations
        width, height = size
        page = open_page(browser, url, viewport={"width": width, "height": height})
        await_entry(page, len(staged.pages()) - 1)
        for name in ("Light", "Dark", "High contrast"):
            page.get_by_role("button", name=name).click()
            assert page.get_by_role("button", name=name).get_attribute("aria-pressed") == "true"
            assert findings(page) == []
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width


@pytest.mark.slow
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_system_s_own_wish_is_followed(browser: "Browser", stage: Stage, scheme: str) -> None:
    """Without a choice on the page; and nothing moves, whether or not less motion is wished."""
    staged = stage()
    with shown(staged) as url:
        staged.play(until=State.FILLING)
        page = open_page(browser, url, color_scheme=scheme)
        await_entry(page, 7)
        dark = page.evaluate("getComputedStyle(document.body).color") == "rgb(240, 243, 244)"
        assert dark is (scheme == "dark")
        moving = page.evaluate(
            "[...document.querySelectorAll('*')].map((n) => getComputedStyle(n))"
            ".filter((s) => s.transitionDuration !== '0s' || s.animationName !== 'none').length"
        )
        assert moving == 0
        assert findings(page) == []


@pytest.mark.slow
def test_the_keyboard_reaches_everything(browser: "Browser", stage: Stage) -> None:
    """The way to the instruction first, then the looks."""
    staged = stage()
    with shown(staged) as url:
        page = open_page(browser, url)
        await_entry(page, 0)
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.className") == "skip"
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.id") == "instruction"
        page.locator("button[data-look=dark]").focus()
        page.keyboard.press("Space")
        assert page.evaluate("document.documentElement.dataset.look") == "dark"


@pytest.mark.slow
def test_a_screen_reader_is_told_what_changes(browser: "Browser", stage: Stage) -> None:
    """The instruction, what was heard, deviations; a vial says what it holds in words."""
    staged = stage()
    with shown(staged) as url:
        staged.play(until=State.EMPTYING_TUBE)
        page = open_page(browser, url)
        await_entry(page, len(staged.pages()) - 1)
        assert page.locator("#instruction").get_attribute("aria-live") == "polite"
        assert page.locator("#heard").locator("..").get_attribute("role") == "status"
        names = page.locator(".vial").evaluate_all("all => all.map(one => one.ariaLabel)")
        assert names[0] == "Vial 1, bottom: full"
        assert names[3] == "Vial 4, bottom: planned"


@pytest.mark.slow
def test_paper_is_black_on_white_without_controls(browser: "Browser", stage: Stage) -> None:
    """Whatever look was chosen."""
    staged = stage()
    with shown(staged) as url:
        staged.play(until=State.FILLING)
        page = open_page(browser, url)
        await_entry(page, 5)
        page.get_by_role("button", name="Dark").click()
        page.emulate_media(media="print")
        assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
        assert not page.locator(".looks").is_visible()


@pytest.mark.slow
def test_the_replay_has_no_serious_findings(browser: "Browser", stage: Stage, start: Start) -> None:
    """With its controls."""
    staged = stage()
    staged.play()
    replay = start("replay", staged.folder.path, "--view", "--view-port", 0)
    page = open_page(browser, replay.find(r"replay: (\S+)"))
    await_entry(page, 0)
    assert findings(page) == []
