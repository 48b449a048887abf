"""The certificate is made once for an address, is good for it, and nobody else reads its key."""

import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes

from assistant.errors import InputError
from assistant.view.certificate import RENEW_DAYS, VALID_DAYS, certificate_for

NOW = datetime(2026, 3, 4, 8, tzinfo=UTC)


@pytest.mark.parametrize("host", ["192.0.2.5", "2001:db8::1", "booth-3.example"])
def test_it_is_made_at_first_use_and_kept(tmp_path: Path, host: str) -> None:
    """For this very address, with the fingerprint that is told; the key is the account's own."""
    folder = tmp_path / "view"
    first = certificate_for(host, folder, NOW)
    found = x509.load_pem_x509_certificate(first.path.read_bytes())
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert [str(name.value) for name in names] == [host]
    assert found.fingerprint(hashes.SHA256()).hex().upper() == first.fingerprint
    assert found.not_valid_before_utc < NOW < found.not_valid_after_utc
    assert stat.S_IMODE(first.key.stat().st_mode) == 0o600
    assert certificate_for(host, folder, NOW + timedelta(days=10)) == first


def test_it_is_made_anew_before_it_ends_or_when_it_is_spoilt(tmp_path: Path) -> None:
    """Also when the key is another one, is gone, or is no key."""
    seen = {certificate_for("192.0.2.5", tmp_path, NOW).fingerprint}
    late = NOW + timedelta(days=VALID_DAYS - RENEW_DAYS + 1)
    last = certificate_for("192.0.2.5", tmp_path, late)
    seen.add(last.fingerprint)
    other = certificate_for("192.0.2.6", tmp_path, late)
    seen.add(other.fingerprint)
    for spoil in (b"", other.key.read_bytes(), b"no key"):
        last.key.write_bytes(spoil)
        last = certificate_for("192.0.2.5", tmp_path, late)
        seen.add(last.fingerprint)
    last.key.unlink()
    seen.add(certificate_for("192.0.2.5", tmp_path, late).fingerprint)
    assert len(seen) == 7


def test_an_address_is_no_way_out_of_the_folder(tmp_path: Path) -> None:
    """Its name is spelt with harmless letters."""
    made = certificate_for("../../x", tmp_path / "view", NOW)
    assert made.path.parent == tmp_path / "view"


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    """In one sentence."""
    (tmp_path / "view").write_text("a file", "utf-8")
    with pytest.raises(InputError, match="cannot be written"):
        certificate_for("192.0.2.5", tmp_path / "view", NOW)
