"""A record folder as a whole: opening, reading, verifying, reading despite damage, identifying.

`opening` reads plan, grammar and entries, `proof` proves everything but who signed,
`damaged` reads what can still be read, `signed` says who signed, `identity` says what wrote it.
"""

from assistant.record.identity import fingerprint, software
from assistant.record.opening import OpenRecord, open_record
from assistant.record.proof import Proof, prove

__all__ = ["OpenRecord", "Proof", "fingerprint", "open_record", "prove", "software"]
