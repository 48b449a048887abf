"""The table as a picture: Mermaid text of the work's steps, for the README."""

from assistant.procedure.enums import END, SHORT_ONLY, STEP, Intent, State
from assistant.procedure.table import rows

_SHOWN = (State.NEW, *STEP, *END)


def mermaid() -> str:
    """The steps of a full dialogue and the transitions between them, without side dialogues."""
    lines = ["stateDiagram-v2", f"    [*] --> {_id(State.NEW)}"]
    for (source, target), triggers in _arrows().items():
        lines.append(f"    {_id(source)} --> {_id(target)}: {', '.join(triggers)}")
    lines += [f"    {_id(state)} --> [*]" for state in END]
    return "\n".join(lines)


def _arrows() -> dict[tuple[State, State], list[str]]:
    found: dict[tuple[State, State], list[str]] = {}
    for row in rows():
        if row.source not in _SHOWN or row.target not in _SHOWN or row.trigger in SHORT_ONLY:
            continue
        known = found.get((row.source, row.target), [])
        found[row.source, row.target] = list(dict.fromkeys([*known, row.trigger.value]))
    # These lead there by way of a side dialogue: the reason is recorded, stopping is asked back.
    found[State.DISPOSING, State.SIGNING] = ["last deviation disposed of, reason recorded"]
    found[State.DISPOSING, State.SEATING] = [Intent.INSERTION_REPEATED.value]
    found[State.SEATING, State.STOPPED] = [f"{Intent.STOP_SAMPLING.value} (from any step)"]
    return found


def _id(state: State) -> str:
    return state.value.replace("-", "_")
