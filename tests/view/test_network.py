"""`run --view-host` with a real browser: codes, the certificate, and who is on record."""

import hashlib
import socket
import ssl
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assistant.procedure.events import ViewerNoted
from assistant.record import open_record
from tests.view.conftest import Start, await_entry, open_page
from tests.view.test_access import findings

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.site

HOST = "127.0.0.1"

ELSEWHERE = """async (url) => {
  const tried = {};
  const refused = () => "refused";
  const ask = (options) => fetch(url + "/plan", options).then((r) => r.type + r.status, refused);
  tried.cors = await ask({});
  tried.opaque = await ask({ mode: "no-cors" });
  tried.post = await ask({ method: "POST", mode: "no-cors", body: "code=A" });
  tried.stream = await new Promise((done) => {
    const source = new EventSource(url + "/events");
    source.onopen = () => done("open");
    source.onerror = () => done("refused");
  });
  tried.script = await new Promise((done) => {
    const script = document.createElement("script");
    script.onload = () => done("loaded");
    script.onerror = () => done("refused");
    script.src = url + "/page.js";
    document.head.append(script);
  });
  const frame = document.createElement("iframe");
  const loaded = new Promise((done) => { frame.onload = done; setTimeout(done, 2000); });
  frame.src = url + "/";
  document.body.append(frame);
  await loaded;
  try { tried.frame = frame.contentDocument ? "readable" : "closed"; }
  catch { tried.frame = "closed"; }
  return tried;
}"""
"""What a page of another origin can try."""


def served_fingerprint(port: int) -> str:
    """SHA-256 of the certificate that is served, as it is printed."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    with (
        socket.create_connection((HOST, port)) as plain,
        context.wrap_socket(plain) as line,
    ):
        assert line.version() == "TLSv1.3"
        digest = hashlib.sha256(line.getpeercert(binary_form=True) or b"").hexdigest().upper()
    return ":".join(digest[n : n + 2] for n in range(0, 64, 2))


@pytest.mark.slow
def test_a_viewer_joins_with_a_code_and_is_on_record(
    browser: "Browser", start: Start, tmp_path: Path
) -> None:
    """A wrong code, the code, the same code again from another browser; then he leaves."""
    into = tmp_path / "record"
    words = ("run", "bin", "--into", into, "--keyboard", "--silent", "--view-host", HOST)
    session = start(*words, "--view-port", 0)
    url = session.find(r"page for a second person: (https://\S+)")
    code = session.find(r"code for the next viewer: (\S+)")
    printed = session.find(r"SHA-256\): (\S+)")
    assert printed == served_fingerprint(int(url.rsplit(":", 1)[1].strip("/")))
    page = open_page(browser, url, ignore_https_errors=True)
    assert findings(page) == []
    page.get_by_label("Code from the operator").fill("AAAA-AAAA")
    page.get_by_role("button", name="Watch").click()
    page.get_by_text("Wrong code.").wait_for()
    session.find(r"wrong code from 127.0.0.1 \((1) so far\)")
    page.get_by_label("Code from the operator").fill(code)
    page.get_by_role("button", name="Watch").click()
    await_entry(page, 1)
    session.type("vessel is isolated")
    await_entry(page, 2)
    session.find(r"viewer 1 (joined)")
    other = open_page(browser, url, ignore_https_errors=True)
    other.get_by_label("Code from the operator").fill(code)
    other.get_by_role("button", name="Watch").click()
    other.get_by_text("Wrong code.").wait_for()
    assert session.find(r"code for the next viewer: (\S+)", 2) != code
    page.context.close()
    session.find(r"viewer 1 (left)")
    session.end()
    noted = [one.event for one in open_record(into).told() if isinstance(one.event, ViewerNoted)]
    assert [(one.viewer, one.did, one.address, one.wrong_codes) for one in noted] == [
        (1, "joined", HOST, 1),
        (1, "left", HOST, 2),
    ]


@pytest.mark.slow
def test_a_stranger_s_page_cannot_look(browser: "Browser", start: Start, tmp_path: Path) -> None:
    """From another origin: not by fetch, by stream, by frame, by script, nor by form."""
    into = tmp_path / "record"
    session = start(
        "run", "bin", "--into", into, "--keyboard", "--silent", "--view", "--view-port", 0
    )
    url = session.find(r"page for a second person: (\S+)").rstrip("/")
    page = browser.new_context().new_page()
    page.route(
        "http://elsewhere.example/**",
        lambda route: route.fulfill(status=200, content_type="text/html", body="<p>elsewhere</p>"),
    )
    page.goto("http://elsewhere.example/")
    found = page.evaluate(ELSEWHERE, url)
    assert found["cors"] == found["stream"] == found["script"] == "refused"
    assert found["opaque"] in ("opaque0", "refused")
    assert found["post"] in ("opaque0", "refused")
    assert found["frame"] == "closed"
    assert 'id="instruction"' not in "".join(frame.content() for frame in page.frames[1:])


@pytest.mark.slow
def test_strangers_do_not_slow_the_session(start: Start, tmp_path: Path) -> None:
    """A hundred connections that never ask, while phrases are typed and taken."""
    into = tmp_path / "record"
    session = start(
        "run", "bin", "--into", into, "--keyboard", "--silent", "--view", "--view-port", 0
    )
    port = int(session.find(r"page for a second person: \S+:(\d+)/"))
    lines = [socket.create_connection((HOST, port)) for _ in range(100)]
    try:
        for line in lines:
            line.sendall(b"GET /events HTTP/1.1\r\nHost: x\r\nX-Y: ")
        began = time.monotonic()
        session.type("vessel is isolated")
        session.find(r"(vessel is isolated)")
        assert time.monotonic() - began < 5
    finally:
        for line in lines:
            line.close()
