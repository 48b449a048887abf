"""The site over a real socket: what it serves, what it refuses, and what it survives."""

import asyncio
import json
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import httpx
import pytest

from assistant.errors import InputError
from assistant.view import server as server_module
from assistant.view.admission import Admission, Visit
from assistant.view.publisher import MOST_VIEWERS, Message, Publisher
from assistant.view.server import ViewServer, hosts_of, listen
from assistant.view.site import COOKIE, Replay, Site, pages

LARGEST = 150_000
"""Bytes of the page with everything it loads."""


class Served:
    """A site that is being served, from a loop of its own."""

    def __init__(self, *, codes: bool = False, replay: Replay | None = None) -> None:
        """Start it."""
        self.codes: list[str] = []
        self.visits: list[Visit] = []
        self.publisher = Publisher()
        self._codes, self._replay = codes, replay
        self._opened = listen("127.0.0.1", 0)
        self.port = int(self._opened.getsockname()[1])
        self.url = f"http://127.0.0.1:{self.port}"
        self._ready = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._serve()))
        self._thread.start()
        self._ready.wait()

    async def _serve(self) -> None:
        self.loop = asyncio.get_running_loop()
        door = None
        if self._codes:
            door = Admission(self.codes.append, self.visits.append, first_wait_s=0.0, away_s=0.05)
        site = Site('{"mode":"live"}', self.publisher, door, self._replay)
        app = site.app(hosts_of("127.0.0.1", self.port), "http")
        self._server = ViewServer(app, self._opened)
        self._ready.set()
        await self._server.serve()

    def publish(self, message: Message) -> None:
        """Publish from the test's thread."""
        self.loop.call_soon_threadsafe(self.publisher.publish, message)

    def stop(self) -> None:
        """End it."""
        self.loop.call_soon_threadsafe(self.publisher.close)
        self._server.stop()
        self._thread.join(10)
        assert not self._thread.is_alive()


@contextmanager
def served(*, codes: bool = False, replay: Replay | None = None) -> Iterator[Served]:
    """Serve a site while the test runs."""
    site = Served(codes=codes, replay=replay)
    try:
        yield site
    finally:
        site.stop()


@pytest.fixture(scope="module")
def site() -> Iterator[Served]:
    """Return a site for this machine alone, for the tests that publish nothing."""
    with served() as found:
        yield found


@pytest.fixture
def fresh() -> Iterator[Served]:
    """Return one that a test may publish to."""
    with served() as found:
        yield found


@pytest.fixture
def locked() -> Iterator[Served]:
    """Return a site that asks for a code."""
    with served(codes=True) as found:
        yield found


def raw(port: int, data: bytes, wait_s: float = 5.0) -> bytes:
    """Send bytes as they are and return what comes back until the connection is closed."""
    with socket.create_connection(("127.0.0.1", port), timeout=wait_s) as line:
        line.sendall(data)
        found = b""
        try:
            while piece := line.recv(65536):
                found += piece
        except (TimeoutError, ConnectionError):
            pass
        return found


def events(text: str) -> list[tuple[str, str, object]]:
    """Identity, name and data of each event in a stream."""
    found = []
    for block in text.replace("\r\n", "\n").split("\n\n"):
        fields = dict(line.partition(": ")[::2] for line in block.splitlines() if ": " in line)
        if "event" in fields:
            found.append((fields.get("id", ""), fields["event"], json.loads(fields["data"])))
    return found


def test_the_page_is_small_and_loads_nothing_from_elsewhere() -> None:
    """Under 150 kB in all; no address but its own."""
    found = pages()
    assert sum(map(len, found.values())) < LARGEST
    for name, data in found.items():
        text = data.decode().replace("http://www.w3.org/2000/svg", "")
        assert "://" not in text, name
        assert "innerHTML" not in text, name
        assert " style=" not in text, name
        assert "<script>" not in text, name


@pytest.mark.parametrize("path", ["/", "/page.css", "/page.js", "/picture.js", "/plan"])
def test_everything_comes_with_a_strict_policy(site: Served, path: str) -> None:
    """And is kept by nobody."""
    answer = httpx.get(site.url + path)
    assert answer.status_code == 200
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"
    assert "server" not in answer.headers


def test_a_stream_is_whole_and_can_be_taken_up_again(fresh: Served) -> None:
    """Each page with its number; after a loss from the number the browser names."""
    for seq in range(1, 6):
        fresh.publish(Message("state", json.dumps({"seq": seq}), seq))
    fresh.publish(Message("over", "{}"))
    time.sleep(0.1)
    first = events(httpx.get(fresh.url + "/events").text)
    assert [(number, name) for number, name, _ in first] == [("5", "state"), ("", "over")]
    assert first[0][2]["page"] == {"seq": 5}  # type: ignore[index] # JSON
    again = events(httpx.get(fresh.url + "/events", headers={"Last-Event-ID": "3"}).text)
    assert [number for number, name, _ in again if name == "state"] == ["4", "5"]


@pytest.mark.parametrize("number", ["-1", "x", "9" * 40, "٣", "1.5", ""])
def test_a_made_up_number_gives_the_newest_page(fresh: Served, number: str) -> None:
    """It is only a wish."""
    fresh.publish(Message("state", '{"seq":2}', 2))
    fresh.publish(Message("over", "{}"))
    time.sleep(0.1)
    headers = [(b"Last-Event-ID", number.encode())]
    answer = httpx.get(fresh.url + "/events", headers=headers)
    assert [number for number, name, _ in events(answer.text) if name == "state"] == ["2"]


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Host": "elsewhere.example"}, 421),
        ({"Host": "127.0.0.1"}, 421),
        ({"Origin": "https://elsewhere.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "cors"}, 403),
        ({"Sec-Fetch-Site": "same-site", "Sec-Fetch-Mode": "no-cors"}, 403),
        ({"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}, 200),
        ({"Sec-Fetch-Site": "same-origin"}, 200),
    ],
)
def test_another_page_cannot_ask(site: Served, headers: dict[str, str], status: int) -> None:
    """Neither from another origin nor by a name that was made to point here; a link may."""
    assert httpx.get(site.url + "/plan", headers=headers).status_code == status


def test_two_names_at_once_are_none(site: Served) -> None:
    """A second Host header would be a way around the first."""
    own = f"127.0.0.1:{site.port}"
    asked = f"GET /plan HTTP/1.1\r\nHost: {own}\r\nHost: {own}\r\nConnection: close\r\n\r\n"
    assert raw(site.port, asked.encode()).startswith((b"HTTP/1.1 400", b"HTTP/1.1 421"))


@pytest.mark.parametrize("method", ["HEAD", "PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"])
def test_nothing_but_reading_is_possible(site: Served, method: str) -> None:
    """Whatever the path."""
    assert httpx.request(method, site.url + "/plan").status_code == 405


@pytest.mark.parametrize(
    "path",
    [
        "/../../etc/passwd",
        "/..%2f..%2fetc%2fpasswd",
        "/%2e%2e/%2e%2e/etc/passwd",
        "/page.css/../../page_state.py",
        "/page/page.html",
        "//etc/passwd",
        "/page.css%00.py",
        "/state/1",
        "/clip/1",
        "/timeline",
        "/join",
        "/\\..\\..\\x",
    ],
)
def test_no_path_leads_anywhere_else(site: Served, path: str) -> None:
    """There is no file behind the site: seven addresses, and no other."""
    own = f"127.0.0.1:{site.port}"
    asked = f"GET {path} HTTP/1.1\r\nHost: {own}\r\nConnection: close\r\n\r\n"
    assert raw(site.port, asked.encode()).split(b" ")[1] in (b"404", b"400")


def test_huge_requests_are_refused(site: Served) -> None:
    """A long address, a long header, many headers, and a body nobody asked for."""
    own = f"Host: 127.0.0.1:{site.port}\r\nConnection: close\r\n"
    long_path = f"GET /{'a' * 300} HTTP/1.1\r\n{own}\r\n"
    assert raw(site.port, long_path.encode()).startswith(b"HTTP/1.1 414")
    for extra in ("X: " + "a" * 100_000 + "\r\n", "X: a\r\n" * 20_000):
        found = raw(site.port, f"GET / HTTP/1.1\r\n{own}{extra}\r\n".encode())
        assert found == b"" or found.startswith((b"HTTP/1.1 400", b"HTTP/1.1 431"))
    body = f"POST /plan HTTP/1.1\r\n{own}Content-Length: 90000000\r\n\r\n".encode() + b"a" * 500_000
    found = raw(site.port, body)
    assert found == b"" or found.startswith(b"HTTP/1.1 405")
    assert httpx.get(site.url + "/plan").status_code == 200


def test_slow_requests_are_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    """One that never ends, one that never begins, and one that stalls after a first answer."""
    monkeypatch.setattr(server_module, "PATIENCE_S", 0.2)
    with served() as site:
        own = f"Host: 127.0.0.1:{site.port}\r\n"
        whole = f"GET /plan HTTP/1.1\r\n{own}\r\n"
        for sent in (b"", b"GET / HT", f"{whole}GET /plan HT".encode()):
            began = time.monotonic()
            found = raw(site.port, sent, wait_s=10)
            assert time.monotonic() - began < 5
            assert found.count(b"HTTP/1.1 200") == sent.count(b"\r\n\r\n")


@pytest.mark.slow
def test_a_viewer_who_takes_nothing_is_cut_off_and_nobody_waits(fresh: Served) -> None:
    """Its connection is closed; another viewer gets every page meanwhile."""
    asked = f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{fresh.port}\r\n\r\n".encode()
    stalled = socket.socket()
    stalled.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    stalled.connect(("127.0.0.1", fresh.port))
    stalled.sendall(asked)
    with stalled, httpx.stream("GET", fresh.url + "/events", timeout=30) as quick:
        while fresh.publisher.viewers < 2:
            time.sleep(0.02)
        filler = "x" * 20_000
        lines = quick.iter_lines()
        for seq in range(1, 301):
            fresh.publish(Message("state", json.dumps({"seq": seq, "filler": filler}), seq))
            assert f"id: {seq}" in iter(lambda: next(lines), "never")
        until = time.monotonic() + 20
        while fresh.publisher.viewers > 1 and time.monotonic() < until:
            time.sleep(0.1)
        assert (fresh.publisher.viewers, fresh.publisher.dropped) == (1, 1)
        stalled.settimeout(20)
        while stalled.recv(65536):
            pass


def test_no_more_viewers_than_fit(fresh: Served) -> None:
    """The next one is told to come back later."""
    streams = []
    try:
        asked = f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{fresh.port}\r\n\r\n".encode()
        for _ in range(MOST_VIEWERS):
            stream = socket.create_connection(("127.0.0.1", fresh.port))
            stream.sendall(asked)
            streams.append(stream)
        until = time.monotonic() + 10
        while not fresh.publisher.full and time.monotonic() < until:
            time.sleep(0.02)
        assert httpx.get(fresh.url + "/events").status_code == 503
    finally:
        for stream in streams:
            stream.close()


def test_without_a_code_only_the_form_is_served(locked: Served) -> None:
    """And with a made-up cookie as well."""
    for cookies in ({}, {COOKIE: "guess"}):
        with httpx.Client(base_url=locked.url, cookies=cookies) as viewer:
            assert b"Code from the operator" in viewer.get("/").content
            assert viewer.get("/plan").status_code == 401
            assert viewer.get("/events").status_code == 401


def test_a_code_opens_the_page_once(locked: Served) -> None:
    """The cookie goes to this site alone; the code again, and any other, is refused."""
    code = locked.codes[0]
    answer = httpx.post(locked.url + "/join", data={"code": code})
    assert answer.status_code == 303
    cookie = answer.headers["set-cookie"]
    assert all(word in cookie for word in ("HttpOnly", "Secure", "SameSite=strict"))
    token = {COOKIE: answer.cookies[COOKIE]}
    assert httpx.get(locked.url + "/plan", cookies=token).status_code == 200
    again = httpx.post(locked.url + "/join", data={"code": code})
    assert again.status_code == 403
    assert b"Wrong code." in again.content
    locked.publish(Message("over", "{}"))
    time.sleep(0.1)
    httpx.get(locked.url + "/events", cookies=token)
    time.sleep(0.2)
    assert [(visit.viewer, visit.did, visit.wrong_codes) for visit in locked.visits] == [
        (0, "wrong", 1),
        (1, "joined", 1),
        (1, "left", 1),
    ]


@pytest.mark.parametrize(
    "body", [b"code=" + b"A" * 100, b"name=AAAA", b"", b"code=\xff", b"A" * 5000]
)
def test_what_is_no_code_is_refused(locked: Served, body: bytes) -> None:
    """Before it is compared."""
    answer = httpx.post(locked.url + "/join", content=body)
    assert answer.status_code == 400
    assert b"That is no code." in answer.content


def test_a_form_from_another_page_is_refused(locked: Served) -> None:
    """Even with the right code."""
    headers = {"Origin": "https://elsewhere.example"}
    answer = httpx.post(locked.url + "/join", data={"code": locked.codes[0]}, headers=headers)
    assert answer.status_code == 403
    assert len(locked.codes) == 1


def test_a_replay_serves_its_entries_and_sounds() -> None:
    """And nothing beyond the last one."""
    replay = Replay(
        timeline="[]",
        states=["{}", '{"seq":1}'],
        head=lambda seq: f'"{seq}"',
        clip=lambda seq: b"\0\0" * 16 if seq == 1 else None,
    )
    with served(replay=replay) as site:
        assert httpx.get(site.url + "/timeline").json() == []
        assert httpx.get(site.url + "/state/0").json() == {"page": {}, "head": None}
        assert httpx.get(site.url + "/state/1").json() == {"page": {"seq": 1}, "head": "1"}
        sound = httpx.get(site.url + "/clip/1")
        assert sound.headers["content-type"] == "audio/wav"
        assert sound.content[:4] == b"RIFF"
        assert len(sound.content) == 44 + 32
        for path in ("/state/2", "/clip/0", "/clip/2", "/state/-1", "/clip/x", "/state/1e3"):
            assert httpx.get(site.url + path).status_code == 404


def test_a_taken_port_and_a_foreign_address_are_refused_in_a_sentence() -> None:
    """Both name the options to change."""
    with listen("127.0.0.1", 0) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(InputError, match=f"port {port} .*--view-port"):
            listen("127.0.0.1", port)
    with pytest.raises(InputError, match="--view-host"):
        listen("192.0.2.1", 0)
    with pytest.raises(InputError, match="no such address"):
        listen("no such name.invalid", 0)
    with pytest.raises(InputError, match="a port is a number"):
        listen("127.0.0.1", 70_000)


def test_the_names_a_browser_may_use() -> None:
    """This machine has two; an IPv6 address stands in brackets."""
    assert hosts_of("127.0.0.1", 8580) == {"127.0.0.1:8580", "localhost:8580"}
    assert hosts_of("192.0.2.5", 1) == {"192.0.2.5:1"}
    assert hosts_of("192.0.2.5", 443) == {"192.0.2.5:443", "192.0.2.5"}
    assert hosts_of("2001:db8::1", 1) == {"[2001:db8::1]:1"}
