"""A time-stamping authority for the tests: OpenSSL's, by function or over HTTP."""

import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Lock, Thread

from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import load_pem_private_key

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
_TST_INFO = bytes.fromhex("060b2a864886f70d0109100104")
"""The object identifier of what is stamped, in DER (RFC 3161, 2.4.2)."""
_CONTENT_TYPE = bytes.fromhex("301a06092a864886f70d010903")
"""The beginning of the first signed attribute, in DER (RFC 5652, 11.1)."""


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

    def reply_at(self, asked: bytes, when: datetime) -> bytes:
        """Answer a request at another time: OpenSSL's own clock cannot be set.

        Time, digest and signature keep their lengths, so that everything else stays as it was.
        """
        answer = self.reply(asked)
        (old,) = re.findall(rb"\x18\x0f(\d{14}Z)", answer)
        start = answer.index(_TST_INFO) + len(_TST_INFO) + 4
        assert answer[start - 4] == 0xA0
        assert answer[start - 2] == 0x04, "one byte for each length: what is stamped is short"
        said = answer[start : start + answer[start - 1]]
        assert old in said
        new = said.replace(old, when.strftime("%Y%m%d%H%M%SZ").encode())
        changed = answer.replace(said, new)
        changed = changed.replace(sha256(said).digest(), sha256(new).digest())
        key = load_pem_private_key((self.folder / "tsa.key").read_bytes(), None)
        assert isinstance(key, RSAPrivateKey)
        first = changed.rindex(_CONTENT_TYPE)
        header = 3 if changed[first - 3] == 0xA0 else 4
        length = int.from_bytes(changed[first - header + 2 : first])
        attributes = b"\x31" + changed[first - header + 1 : first + length]
        signature = key.sign(attributes, PKCS1v15(), SHA256())
        return changed[: -len(signature)] + signature


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
        *("req", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=Invented Time Office"),
        *("-keyout", "tsa.key", "-out", "tsa.csr"),
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
