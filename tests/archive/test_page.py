"""The page over the archive: what it shows, that it only reads, and that it sends no script."""

import html
import io
import re
import shutil
import wave
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest

from assistant.archive.database import Archive
from assistant.archive.page import POLICY, page
from assistant.archive.questions import Filters, ask
from tests.archive import made_site
from tests.archive.made_site import PRODUCTS, Made
from tests.coroutines import finished

pytestmark = pytest.mark.site
GOLDEN = Path(__file__).parents[1] / "golden" / "schema-2"
Tell = Callable[..., tuple[int, str, str]]
Get = Callable[..., "tuple[int, str]"]


@pytest.fixture
def golden(url: str, archive: Archive, tmp_path: Path, tell: Tell) -> tuple[Path, str]:
    """The golden record in an archive: its folder and its head."""
    folder = Path(shutil.copytree(GOLDEN / "record", tmp_path / "golden"))
    assert tell("archive", "add", folder, "--keys", GOLDEN / "keys", "--archive", url)[0] == 0
    answer = ask(archive, "sessions", Filters())
    return folder, str(answer.rows[0][answer.headings.index("head")])


class Browser:
    """Sends requests to the application, without a server between them."""

    def __init__(self, archive: Archive) -> None:
        """Open the page over an archive."""
        self._transport = httpx.ASGITransport(app=page(archive))

    def get(self, path: str, method: str = "GET", host: str = "", **asked: str) -> httpx.Response:
        """Return the answer."""

        async def send() -> httpx.Response:
            here = httpx.AsyncClient(transport=self._transport, base_url="http://127.0.0.1")
            async with here as client:
                headers = {"host": host} if host else {}
                return await client.request(method, path, params=asked, headers=headers)

        return finished(send())


@pytest.fixture
def client(archive: Archive) -> Browser:
    """A browser without a window."""
    return Browser(archive)


@pytest.fixture
def get(client: Browser) -> Get:
    """Return a function that gets a page: status and text; every answer has the policy."""

    def fetch(path: str, **asked: str) -> tuple[int, str]:
        answer = client.get(path, **asked)
        assert answer.headers["x-content-type-options"] == "nosniff"
        policy = answer.headers["content-security-policy"]
        assert policy == POLICY or answer.headers["content-type"].startswith("image/svg")
        assert "default-src 'none'" in policy
        assert "script" not in policy
        assert "<script" not in answer.text
        return answer.status_code, html.unescape(answer.text)

    return fetch


def test_a_search_leads_to_a_records_story(golden: tuple[Path, str], get: Get) -> None:
    """From the product over the batch to the words of every entry."""
    _, head = golden
    status, found = get("/", product=PRODUCTS[0])
    assert (status, "1 records" in found) == (200, True)
    assert f'href="/record/{head}"' in found
    assert "0 records" in get("/", product="none")[1]
    assert "0 records" in get("/", question="unsigned")[1]
    status, story = get(f"/record/{head}")
    assert status == 200
    assert "anchored to the end, entry 120" in story
    assert "Not a live session: rehearsal." in story
    assert story.count("<tr><td>") > 120
    assert "Has your site's procedure isolated" in story


def test_a_clip_is_played_and_a_changed_one_is_not(
    golden: tuple[Path, str], get: Get, client: Browser
) -> None:
    """As WAV of 16 kHz; nothing but a clip of this record can be had."""
    folder, head = golden
    names = re.findall(r"/clip/([0-9a-f]{64})\.wav", get(f"/record/{head}")[1])
    assert names
    answer = client.get(f"/record/{head}/clip/{names[0]}.wav")
    assert answer.headers["content-type"] == "audio/wav"
    with wave.open(io.BytesIO(answer.content)) as sound:
        assert (sound.getframerate(), sound.getnchannels(), sound.getsampwidth()) == (16000, 1, 2)
        assert sound.getnframes() > 1000
    for name in ("0" * 64, "..%2Frecord", "record"):
        assert get(f"/record/{head}/clip/{name}.wav")[0] == 404
    assert get(f"/record/{'0' * 64}/clip/{names[0]}.wav")[0] == 404
    clip = folder / "clips" / f"{names[0]}.flac"
    clip.write_bytes(clip.read_bytes()[:-1] + b"\0")
    assert get(f"/record/{head}/clip/{names[0]}.wav")[0] == 404


def test_a_record_that_is_damaged_or_gone_says_so(golden: tuple[Path, str], get: Get) -> None:
    """The index is shown all the same, and the story as far as it holds."""
    folder, head = golden
    lines = (folder / "record.jsonl").read_bytes().splitlines(keepends=True)
    (folder / "record.jsonl").write_bytes(b"".join([*lines[:20], lines[21]]))
    story = get(f"/record/{head}")[1]
    assert "Entry 21" in story or "entry 21" in story
    assert "Has your site's procedure isolated" in story
    shutil.rmtree(folder)
    status, story = get(f"/record/{head}")
    assert (status, "There is no record in" in story) == (200, True)


def test_a_trend_has_its_picture(url: str, tmp_path: Path, tell: Tell, get: Get) -> None:
    """Rehearsals only when they are asked for, and said."""
    work = []
    for number in (0, 3, 6):
        made = Made(number, small=True)
        folder = made_site.record(tmp_path / "site", made)
        work.append(f"{folder}={made_site.sheet(folder, made)}")
    assert tell("archive", "add", *work, "--archive", url)[0] == 0
    asked = {"product": PRODUCTS[0], "rehearsals": "yes"}
    status, found = get("/trend", **asked)
    assert (status, "Rehearsals and simulated assays only." in found) == (200, True)
    assert all(Made(number).batch in found for number in (0, 3, 6))
    status, drawn = get("/trend.svg", **asked)
    assert (status, "<svg" in drawn) == (200, True)
    assert "holds 0 batches" in get("/trend", product=PRODUCTS[0])[1]
    assert get("/trend.svg", product="none")[0] == 404


@pytest.mark.usefixtures("golden")
def test_what_is_typed_is_shown_as_text(get: Get, client: Browser) -> None:
    """Markup in a search stays text; a day that is none is said."""
    raw = client.get("/", product="<script>x</script>").text
    assert "<script" not in raw
    assert "&lt;script&gt;" in raw
    assert "Invalid isoformat string" in get("/", **{"from": "soon"})[1]


def test_it_only_reads_and_for_this_machine_only(client: Browser, get: Get) -> None:
    """No other method, no other name of this machine, nothing beside the routes."""
    assert client.get("/", method="POST").status_code == 405
    other = client.get("/", host="elsewhere.example")
    assert other.status_code == 400
    assert get("/nowhere")[0] == 404
    assert get(f"/record/{'0' * 64}")[0] == 404
    assert get("/style.css")[1].startswith(":root")


def test_a_port_that_cannot_be_used(url: str, tell: Tell) -> None:
    """One sentence."""
    code, _, err = tell("archive", "page", "--port", "80", "--archive", url)
    assert (code, "--port 80 is not between" in err) == (2, True)
