"""A session watched in Chromium: what stands on the page is the fold, at every entry."""

import json
import os
import signal
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from assistant.procedure.enums import Intent, State
from assistant.procedure.events import DeviceLost, Heard, Meaning, NoiseRose
from assistant.record import open_record
from assistant.session.rehearse import Rehearsal, RehearsalSettings
from assistant.session.view_link import ViewLink
from assistant.session.view_messages import ViewSettings
from assistant.session.view_replay import told_pages
from assistant.storage import bundled_files
from assistant.testing import Departure
from assistant.view.page_state import PageState
from tests.view.conftest import Stage, Staged, Start, await_entry, open_page, shortened, shown

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.site

SLIPS = (
    Departure(State.OPENING, Meaning(intent=Intent.NOTE_SPILL), visit=2),
    Departure(State.FILLING, 45.0, visit=3),
    Departure(State.SEATING, NoiseRose(noise_dbfs="-40", rise_db="8.0"), visit=2),
    Departure(State.CLOSING, Heard(source="voice", text="", decision="refuse", reason="unclear")),
    Departure(State.STOWING, DeviceLost(device="speaker", reason="unplugged")),
)

WATCHING = """() => {
  window.seen = [];
  new MutationObserver(() => window.seen.push({
    state: JSON.parse(JSON.stringify(page)),
    instruction: document.getElementById("instruction").textContent,
    samples: document.getElementById("samples").textContent,
    operator: document.getElementById("operator").textContent,
    heard: document.getElementById("heard").textContent,
    full: document.querySelectorAll(".vial.f").length,
    vials: document.querySelectorAll(".vial").length,
    deviations: document.querySelectorAll("#deviations li").length,
    port: !document.getElementById("port").hidden,
    sampler: document.querySelectorAll("#section .p-tube").length,
    wakes: document.querySelectorAll("#section .p-wake").length,
  })).observe(document.documentElement, { attributeFilter: ["data-seq"] });
}"""
"""Keeps what the page showed after every entry, read from the document itself."""


def check(seen: dict[str, Any], wanted: PageState) -> None:
    """Compare what was shown with the fold."""
    assert seen["state"] == json.loads(wanted.model_dump_json())
    assert seen["instruction"] == (wanted.instruction or "Waiting for the session.")
    assert seen["samples"] == f"{wanted.taken} of {wanted.planned}"
    assert seen["operator"] == wanted.operator
    assert seen["full"] == wanted.vials.count("f")
    assert seen["vials"] == len(wanted.vials)
    assert seen["deviations"] == len(wanted.deviations)
    assert seen["port"] is (wanted.port is not None or wanted.wait is not None)
    assert seen["sampler"] == (wanted.sampler.place != "outside")
    heard = next((one.what for one in wanted.recent if one.became), "-")
    assert seen["heard"] == heard
    inside = wanted.sampler.place == "powder"
    assert seen["wakes"] == len(wanted.entered) - inside


def test_every_entry_is_shown_as_it_is_folded(browser: "Browser", stage: Stage) -> None:
    """Some seventy entries with a spill, an overrun, noise and a lost loudspeaker."""
    staged = stage()
    with shown(staged) as url:
        page = open_page(browser, url)
        await_entry(page, 0)
        page.evaluate(WATCHING)
        staged.after = lambda seq: await_entry(page, seq)
        staged.play(SLIPS)
        seen = page.evaluate("window.seen")
        page.wait_for_function("() => document.getElementById('head-code').textContent !== '-'")
    wanted = staged.pages()[1:]
    assert len(wanted) > 70
    assert [one["state"]["seq"] for one in seen] == [one.seq for one in wanted]
    for one, fold in zip(seen, wanted, strict=True):
        check(one, fold)
    assert page.page_errors() == []
    page.wait_for_function(
        "() => document.getElementById('link').textContent === 'The session has ended.'"
    )


@pytest.mark.slow
def test_a_page_opened_late_shows_the_present_and_its_timer_goes_on(
    browser: "Browser", stage: Stage
) -> None:
    """Two seconds after the port was opened its timer says so."""
    staged = stage()
    with shown(staged) as url:
        staged.play(until=State.FILLING)
        time.sleep(2.2)
        page = open_page(browser, url)
        await_entry(page, len(staged.pages()) - 1)
        shows = page.locator("#port-time").inner_text()
        assert 2 <= int(shows.split()[0]) < 30
        before = int(shows.split()[0])
        page.wait_for_function(
            "n => parseInt(document.getElementById('port-time').textContent) > n", arg=before
        )


@pytest.mark.slow
def test_a_viewer_who_lost_the_connection_is_told_and_comes_back(
    browser: "Browser", stage: Stage
) -> None:
    """The process is killed and another takes its place: nothing is missed in the end."""
    staged = stage()
    with shown(staged) as url:
        page = open_page(browser, url)
        staged.play(until=State.OPENING)
        await_entry(page, len(staged.pages()) - 1)
        assert staged.link is not None
        os.kill(staged.link.pid, signal.SIGKILL)
        page.wait_for_function(
            "() => document.getElementById('link').textContent.startsWith('Connection lost')"
        )
    lines = list(staged.lines())
    again = stage()
    for line in lines:
        again.append(line + b"\n")
    with shown(again, int(url.rsplit(":", 1)[1].strip("/"))):
        page.wait_for_function("() => document.getElementById('link').textContent === 'Connected.'")
        assert page.evaluate("page.seq") == len(lines)
    assert page.evaluate("page") == json.loads(again.pages()[-1].model_dump_json())


@pytest.mark.slow
def test_names_from_a_plan_are_text_and_nothing_else(browser: "Browser", tmp_path: Path) -> None:
    """Whoever writes a plan cannot make the page run anything."""
    markup = '<img src=x onerror="document.title=1"><b>x</b>'
    plan = shortened("double-cone", 2)
    for name in ("Tarvolin 20 mg tablets", "TV2611", "Mira Oostveld", "C2"):
        assert name.encode() in plan
    plan = plan.replace(b'"Tarvolin 20 mg tablets"', f"'{markup}'".encode())
    plan = plan.replace(b'"Mira Oostveld"', f"'{markup}'".encode())
    staged = Staged(tmp_path / "record", plan)
    with staged.folder, shown(staged) as url:
        page = open_page(browser, url)
        staged.play(until=State.FILLING)
        await_entry(page, len(staged.pages()) - 1)
        assert markup in page.locator("#title").inner_text()
        assert page.locator("#operator").inner_text() == markup
        assert page.evaluate("document.images.length") == 0
        assert page.title() != "1"


@pytest.mark.slow
def test_a_rehearsal_is_watched_at_its_own_speed(
    browser: "Browser", start: Start, tmp_path: Path
) -> None:
    """From the command line, until it is interrupted; the page then says that it is over."""
    words = ("rehearse", "bin", "--view", "--view-port", 0, "--into", tmp_path / "record")
    rehearsal = start(*words)
    page = open_page(browser, rehearsal.find(r"page for a second person: (\S+)"))
    began = time.monotonic()
    await_entry(page, 3)
    assert time.monotonic() - began > 3
    assert rehearsal.end() == 130
    page.wait_for_function("() => document.getElementById('link').textContent.includes('ended')")


@pytest.mark.slow
@pytest.mark.timeout(1200)
def test_a_whole_rehearsal_is_watched(browser: "Browser", tmp_path: Path) -> None:
    """The shipped plan with a voice: three hundred entries, each as it is folded from the record.

    The rehearsal runs as fast as it can, so this is many times the pace of a session.
    """
    into, name = tmp_path / "record", "double-cone"
    rehearsed = RehearsalSettings(
        plan=bundled_files.read_plan(name),
        plan_name=name,
        grammar=bundled_files.read_grammar("en"),
        grammar_name="en",
        into=into,
    )
    link = ViewLink(ViewSettings(folder=into, host="127.0.0.1", port=0))
    rehearsal = Rehearsal(rehearsed, (link,))
    with link:
        page = open_page(browser, link.url)
        await_entry(page, 0)
        page.evaluate(WATCHING)
        assert rehearsal.run().state is State.CLOSED
    wanted = told_pages(open_record(into)).pages[1:]
    await_entry(page, len(wanted))
    seen = page.evaluate("window.seen")
    assert [one["state"]["seq"] for one in seen] == list(range(1, len(wanted) + 1))
    for one, fold in zip(seen, wanted, strict=True):
        check(one, fold)
    assert seen[-1]["full"] == 30


@pytest.mark.slow
def test_twenty_viewers_see_the_same(browser: "Browser", stage: Stage) -> None:
    """Every one of them arrives at the last page, in every detail."""
    staged = stage()
    with shown(staged) as url:
        pages: list[Page] = [open_page(browser, url) for _ in range(20)]
        last = staged.play(SLIPS)
        assert last.state is State.CLOSED
        wanted = json.loads(staged.pages()[-1].model_dump_json())
        for page in pages:
            await_entry(page, wanted["seq"])
            assert page.evaluate("page") == wanted


@pytest.mark.slow
def test_trouble_with_the_disk_is_shown_at_once_and_goes_away(
    browser: "Browser", stage: Stage
) -> None:
    """It cannot stand on record while the record cannot be written."""
    staged = stage()
    with shown(staged) as url:
        page = open_page(browser, url)
        staged.play(until=State.SEATING)
        await_entry(page, 1)
        assert staged.link is not None
        staged.link.trouble("The disk is full.")
        page.wait_for_selector("#banner:not([hidden])")
        assert page.locator("#banner").inner_text() == "The disk is full."
        staged.link.heard(-33.0)
        page.wait_for_selector("meter")
        staged.link.grown()
        page.wait_for_selector("#banner", state="hidden")
