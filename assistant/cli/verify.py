"""`verify`: is this record what it was when it was written, and could it have happened?"""

import argparse

from rich.console import Console

from assistant.cli.record import open_record
from assistant.errors import RecordBroken
from assistant.journal.head import matches
from assistant.procedure.events import Heard, Opened, RemarkTaken
from assistant.session.assemble import fingerprint
from assistant.storage.view import RecordView


def run(options: argparse.Namespace) -> int:
    """Check chain, order, plan, grammar, clips and, where given, the head code.

    Raises:
        RecordBroken: something does not hold; says which entry, or which clip.
    """
    console = Console(highlight=False)
    record = open_record(options.record)
    entries, clips, last = 0, 0, None
    for told in record.told():
        entries, last = entries + 1, told
        match told.event:
            case Opened():
                _same_files(record.view, told.event)
            case Heard(clip=clip) | RemarkTaken(clip=clip) if clip:
                record.view.clip(clip)
                clips += 1
    if last is None:
        raise RecordBroken(f"{options.record} holds no entry; nothing can be proved.")
    if options.head:
        entries_again = (told.entry for told in record.told())
        if not matches(options.head, entries_again):
            raise RecordBroken(f"{options.record} never had the head code {options.head}.")
    state = last.outcome.session.state.value
    console.print(f"proven: {entries} entries in order, {clips} clips unchanged, {state}")
    if not options.head:
        console.print("whether its end was cut off shows only with --head CODE or a signature")
    return 0


def _same_files(view: RecordView, opened: Opened) -> None:
    for name, data, recorded in (
        ("plan.toml", view.plan, opened.plan_sha256),
        ("grammar.toml", view.grammar, opened.grammar_sha256),
    ):
        if fingerprint(data) != recorded:
            raise RecordBroken(f"{name} in the record's folder is not the one that was used.")
