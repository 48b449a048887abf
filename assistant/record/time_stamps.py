"""Time stamps of a record by an authority outside (RFC 3161): asked for, and checked.

What is stamped is the hash of an entry, as its 64 hexadecimal digits in ASCII. A stamp shows that
this entry, and so every one before it, was there at the stated time at the latest. It shows nothing
about when it was written, and it holds as far as the authority's key and clock are trusted.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Never
from warnings import catch_warnings

from assistant.errors import InputError, RecordBroken
from assistant.printable import printable
from assistant.record.anchor import Anchor
from assistant.storage.time_stamps import TimeStampFile

if TYPE_CHECKING:
    from cryptography.x509 import Certificate
    from rfc3161_client import TimeStampResponse

__all__ = ["TimeStamp", "anchors", "certificates_in", "check_stamps", "read_response", "request"]

_GRANTED = 0


@dataclass(frozen=True, slots=True)
class TimeStamp:
    """What an answer says, its signature not yet checked."""

    imprint: bytes
    """SHA-256 of what was stamped, 32 bytes."""
    utc: str
    """When it was stamped, RFC 3339 with seconds, as the authority says."""
    authority: str
    """Common name in the certificate that signed it, or the whole subject; printable."""


def request(head: str) -> bytes:
    """Return the question to an authority, a TimeStampReq of RFC 3161 (2.4.1), DER.

    It carries no nonce: a nonce guards against an old answer, and an answer over the hash of an
    entry cannot be older than the entry.

    Args:
        head: hash of the entry to be stamped, 64 hexadecimal digits.
    """
    from rfc3161_client import HashAlgorithm, TimestampRequestBuilder  # noqa: PLC0415 - rarely used

    builder = TimestampRequestBuilder().data(head.encode()).hash_algorithm(HashAlgorithm.SHA256)
    return builder.cert_request(cert_request=True).nonce(nonce=False).build().as_bytes()


def read_response(response: bytes, where: str) -> TimeStamp:
    """Read an answer; that it was signed by anybody is not shown.

    Args:
        response: a TimeStampResp of RFC 3161 (2.4.2), DER.
        where: it came from, for messages.

    Raises:
        InputError: it is none, or the authority refused.
    """
    return _said(_parsed(response, where), where)


def _said(parsed: "TimeStampResponse", where: str) -> TimeStamp:
    try:
        info = parsed.tst_info
        when = info.gen_time.astimezone(UTC)
        utc = when.isoformat(timespec="seconds").replace("+00:00", "Z")
        return TimeStamp(bytes(info.message_imprint.message), utc, _signer(parsed))
    except Exception as fault:  # noqa: BLE001 - bytes from outside, libraries of many errors
        _no_response(where, fault)


def certificates_in(pem: bytes, where: Path) -> tuple["Certificate", ...]:
    """Return the certificates that an authority is trusted by.

    Raises:
        InputError: there is none in the file, or it is no PEM.
    """
    from cryptography.x509 import load_pem_x509_certificates  # noqa: PLC0415 - rarely used

    try:
        return tuple(load_pem_x509_certificates(pem))
    except ValueError:
        raise InputError(
            f"{where} holds no certificates: name the PEM file of the authority's root and, if it "
            "has any, intermediate certificates."
        ) from None


def check_stamps(stamps: Iterable[TimeStampFile], heads: Mapping[int, str]) -> None:
    """Prove that every time stamp is over the entry that it is filed under.

    Args:
        stamps: of the record.
        heads: the record's hash at each stamp's count.

    Raises:
        RecordBroken: one is no time stamp, or is over something else.
    """
    for stamp in stamps:
        try:
            said = read_response(stamp.response, f"time stamp {stamp.name}")
        except InputError as fault:
            raise RecordBroken(str(fault)) from None
        head = heads.get(stamp.count)
        if head is None or sha256(head.encode()).digest() != said.imprint:
            raise RecordBroken(
                f"Time stamp {stamp.name} is over another entry {stamp.count}: the record was "
                "rewritten or cut off since, or the stamp is another record's; look for another "
                "copy."
            )


def anchors(
    stamps: Iterable[TimeStampFile], heads: Mapping[int, str], trusted: Sequence["Certificate"]
) -> tuple[Anchor, ...]:
    """Prove that an authority signed every time stamp; return the anchors that they are.

    The certificates must have been valid at the stamped time, and the signer's be for time stamping
    (RFC 3161, 2.3). Whether one was revoked since is not looked up.

    Args:
        stamps: of the record, or to be added.
        heads: the record's hash at each stamp's count.
        trusted: root and intermediate certificates of the authority.

    Raises:
        RecordBroken: one was not signed under these certificates, or not over this record.
    """
    from rfc3161_client import VerifierBuilder  # noqa: PLC0415 - rarely used

    found = []
    verifier = VerifierBuilder(roots=list(trusted)).build()
    for stamp in stamps:
        where = f"time stamp {stamp.name}"
        parsed = _parsed(stamp.response, where)
        said = _said(parsed, where)
        try:
            verifier.verify_message(parsed, heads.get(stamp.count, "").encode())
        except Exception:  # noqa: BLE001 - bytes from outside, libraries of many errors
            raise RecordBroken(
                f"The {where} does not hold under these certificates: it is another authority's, "
                "or was changed."
            ) from None
        by = f"the time stamp of {said.authority}, {said.utc}"
        found.append(Anchor(stamp.count, by, utc=said.utc))
    return tuple(found)


def _parsed(response: bytes, where: str) -> "TimeStampResponse":
    from rfc3161_client import decode_timestamp_response  # noqa: PLC0415 - rarely used

    try:
        parsed = decode_timestamp_response(response)
        status = parsed.status
    except ValueError as fault:
        _no_response(where, fault)
    if status != _GRANTED:
        why = printable(", ".join(parsed.status_string)) or "no reason given"
        raise InputError(f"The authority refused in {where} ({why}): ask again, or ask another.")
    return parsed


def _no_response(where: str, fault: Exception) -> Never:
    raise InputError(
        f"{printable(where)} is no time-stamp answer by RFC 3161 ({printable(str(fault))[:80]}): "
        "check the file."
    ) from None


def _signer(parsed: "TimeStampResponse") -> str:
    """Return the name in the certificate that signed; its issuer's where none is enclosed."""
    from cryptography.x509 import NameOID, load_der_x509_certificate  # noqa: PLC0415 - rarely used

    signer = next(iter(parsed.signed_data.signer_infos))
    name = signer.issuer
    for raw in parsed.signed_data.certificates:
        with catch_warnings(action="error"):
            certificate = load_der_x509_certificate(raw)
        same = certificate.issuer == signer.issuer
        if same and certificate.serial_number == signer.serial_number:
            name = certificate.subject
    common = name.get_attributes_for_oid(NameOID.COMMON_NAME)
    return printable(str(common[0].value) if common else name.rfc4514_string())
