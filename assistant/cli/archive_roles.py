"""`archive roles`: the SQL that makes the roles of a site on PostgreSQL."""

import sys
from dataclasses import dataclass

from assistant.archive.roles import roles_sql


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `archive roles`: none."""


def run(_options: Options) -> int:
    """Print it, for `psql`."""
    sys.stdout.write(roles_sql())
    return 0
