"""What the page fetches besides its state, as JSON: the plan, and the head code of an entry."""

import json
from typing import Literal

from assistant.grammar.language import Language
from assistant.journal.head_code import head_code
from assistant.plan.model import Plan
from assistant.report.qr_code import qr_rows
from assistant.view.plan_picture import plan_picture

__all__ = ["head_json", "plan_json"]


def plan_json(
    plan: Plan, language: Language, mode: Literal["live", "replay"], start: int = 0
) -> str:
    """Return the plan's picture with what the page must know besides.

    Args:
        plan: the plan.
        language: the names of the positions.
        mode: whether the session goes on or is replayed.
        start: entry at which a replay begins.

    Raises:
        PlanError: as for `plan_picture`.
    """
    picture = plan_picture(plan, language).model_dump(mode="json")
    return json.dumps({**picture, "mode": mode, "start": start})


def head_json(seq: int, hash_: str) -> str:
    """Return the head code of an entry and the rows of its QR code.

    Args:
        seq: number of the entry, from 1.
        hash_: its 64 hexadecimal digits.
    """
    code = head_code(seq, hash_).text
    return json.dumps({"seq": seq, "code": code, "rows": qr_rows(code)})
