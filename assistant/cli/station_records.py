"""What a live session keeps outside its record: the station's register and time stamps."""

import shlex
from pathlib import Path

from rich.console import Console

from assistant.cli.requirements import trusted_by
from assistant.errors import InputError
from assistant.printable import printable
from assistant.record.authority import Authority
from assistant.session.register_writer import RegisterWriter
from assistant.session.stamp_taker import StampTaker
from assistant.storage.register import Register


class StationRecords:
    """The observers that were asked for, and what became of their notes."""

    def __init__(
        self, into: Path, register: Path | None, url: str | None, certificates: Path | None
    ) -> None:
        """Open the register, and read the certificates; nothing is written to the record.

        Args:
            into: folder of the record.
            register: file of the register, None for none.
            url: address of the time-stamping authority, none where empty.
            certificates: PEM file of the authority.

        Raises:
            InputError: one of them cannot be used.
        """
        if certificates and not url:
            raise InputError("Name the authority's address too, with --authority-url.")
        again = [str(into), "--url", url or "", "--authority", str(certificates)]
        self._again = shlex.join(again)
        self._register = RegisterWriter(Register(register), into) if register else None
        authority = Authority(url, trusted_by(certificates)) if url else None
        self._stamps = StampTaker(authority, into) if authority else None
        self.observers = tuple(each for each in (self._register, self._stamps) if each)

    def finish(self, console: Console) -> None:
        """Wait a little for the last stamp, and say what is missing."""
        if self._register and self._register.missing:
            missing = self._register.missing
            console.print(f"the register could not be written: {missing} notes are missing")
        if self._stamps:
            self._stamps.finish()
            console.print(f"time stamps: {self._stamps.kept} kept, {self._stamps.missing} missing")
        if self._stamps and self._stamps.missing:
            console.print(printable(self._stamps.fault or "The authority has not answered yet."))
            console.print(f"ask again later: sampling-assistant time-stamp {self._again}")
