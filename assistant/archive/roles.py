"""The roles of a site on PostgreSQL, as SQL for the owner of the database."""

from importlib.resources import files

__all__ = ["roles_sql"]


def roles_sql() -> str:
    """Return the statements; they may be run again."""
    return (files("assistant.archive") / "roles.sql").read_text("utf-8")
