"""A time-stamping authority for the tests: OpenSSL's, by function or over HTTP."""

import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Lock, Thread

CONFIGURATION = """
[tsa]
default_tsa = this
[this]
serial = {folder}/serial
signer_cert = {folder}/tsa.pem
signer_key = {folder}/tsa.key
signer_digest = sha256
default_policy = 1.3.6.1.4.1.32473.1
digests = {digests}
accuracy = secs:1
ess_cert_id_alg = sha256
"""
"""The policy is under the arc for documentation (RFC 5612)."""
EXTENSIONS = "basicConstraints=CA:FALSE\nkeyUsage=critical,digitalSignature\n"


def openssl(*words: object, folder: Path) -> subprocess.CompletedProcess[bytes]:
    """Run OpenSSL."""
    command = (shutil.which("openssl") or "", *map(str, words))
    return subprocess.run(command, cwd=folder, capture_output=True, check=True)


_ONE_AT_A_TIME = Lock()


@dataclass(frozen=True)
class Authority:
    """A test authority in a folder of its own."""

    folder: Path

    @property
    def root(self) -> Path:
        """The certificate that it is trusted by."""
        return self.folder / "root.pem"

    def reply(self, asked: bytes) -> bytes:
        """Answer a request."""
        with _ONE_AT_A_TIME:
            (self.folder / "q.tsq").write_bytes(asked)
            openssl(
                *("ts", "-reply", "-config", "tsa.cnf", "-section", "this"),
                *("-queryfile", "q.tsq", "-out", "a.tsr"),
                folder=self.folder,
            )
            return (self.folder / "a.tsr").read_bytes()


def found(folder: Path, *, purpose: str = "critical,timeStamping", digests: str = "sha256") -> None:
    """Found an authority: root certificate, its own certificate, configuration."""
    folder.mkdir()
    (folder / "serial").write_text("01\n")
    (folder / "tsa.cnf").write_text(CONFIGURATION.format(folder=folder, digests=digests))
    (folder / "extensions").write_text(f"{EXTENSIONS}extendedKeyUsage={purpose}\n")
    new = ("req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")
    openssl(
        *(*new, "-x509", "-days", 3650, "-subj", "/CN=Invented Root"),
        *("-addext", "keyUsage=critical,keyCertSign", "-keyout", "root.key", "-out", "root.pem"),
        folder=folder,
    )
    openssl(
        *(*new, "-subj", "/CN=Invented Time Office", "-keyout", "tsa.key", "-out", "tsa.csr"),
        folder=folder,
    )
    openssl(
        *("x509", "-req", "-in", "tsa.csr", "-CA", "root.pem", "-CAkey", "root.key", "-days", 3650),
        *("-CAcreateserial", "-extfile", "extensions", "-out", "tsa.pem"),
        folder=folder,
    )


class _Quiet(ThreadingHTTPServer):
    """Does not mind who hangs up."""

    daemon_threads = True
    block_on_close = False

    def handle_error(self, request: object, client_address: object) -> None:
        """Print nothing: a client was killed."""


@contextmanager
def serving(answer: Callable[[bytes], bytes]) -> Iterator[str]:
    """Serve an authority over HTTP; the address."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            assert self.headers["Content-Type"] == "application/timestamp-query"
            body = answer(self.rfile.read(int(self.headers["Content-Length"])))
            self.send_response(200)
            self.send_header("Content-Type", "application/timestamp-reply")
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: object) -> None:
            """Print nothing."""

    with _Quiet(("127.0.0.1", 0), Handler) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}/"
        server.shutdown()
