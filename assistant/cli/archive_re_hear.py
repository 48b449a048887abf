"""`archive re-hear`: hear the voice confirmations of every record again, many records at a time."""

from functools import lru_cache
from pathlib import Path
from typing import Final

from assistant.archive.fleet import FAILED, Found, Task
from assistant.cli.archive_fleet import Options, work_on_all
from assistant.errors import AssistantError
from assistant.grammar.language import recall_grammar
from assistant.procedure.model import begin
from assistant.record import open_record
from assistant.session.clip_recheck import ClipRecogniser, both_engines, rehear

ALIKE: Final = "alike"
OTHERWISE: Final = "heard otherwise"


def run(options: Options) -> int:
    """Hear every record again; 1 where one could not be. Differences do not change the exit code.

    Raises:
        InputError: an option cannot be used.
        ArchiveError: the database refused.
        DeviceError: the scheduler does not answer.
    """
    answers = work_on_all(options, "re-hear", rehear_record, ALIKE)
    return 1 if answers.keys() - {ALIKE, OTHERWISE} else 0


def rehear_record(task: Task) -> Found:
    """Recognise every voice confirmation of a record with both engines."""
    try:
        record = open_record(Path(task.folder))
        engines = _engines(record.view.grammar)
        told = rehear(record.told(), begin(record.plan), record.language, record.view, engines)
        confirmations = list(told)
    except AssistantError as fault:
        return Found(FAILED, str(fault))
    differing = [
        f'entry {each.entry.seq}: on record "{each.heard.text}", {one.engine} hears "{one.text}"'
        for each in confirmations
        for one in each.otherwise
    ]
    if differing:
        return Found(OTHERWISE, "; ".join(differing))
    return Found(ALIKE, f"{len(confirmations)} voice confirmations")


@lru_cache(maxsize=1)
def _engines(grammar: bytes) -> tuple[ClipRecogniser, ...]:
    """Load the engines once for records of the same grammar."""
    return both_engines(recall_grammar(grammar, "grammar.toml"))
