"""Which version of the tables a database has, by Alembic's own table and migrations."""

from pathlib import Path

from alembic.command import upgrade as alembic_upgrade
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection

from assistant.archive import migrations

__all__ = ["known", "standing", "upgrade"]


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(migrations.__file__).parent))
    config.set_main_option("path_separator", "os")
    return config


def _scripts() -> ScriptDirectory:
    return ScriptDirectory.from_config(_config())


def standing(connection: Connection) -> tuple[str, str]:
    """Return the version that a database has ("" for none) and the one of this program."""
    has = MigrationContext.configure(connection).get_current_revision()
    return has or "", _scripts().get_current_head() or ""


def known() -> frozenset[str]:
    """Return every version that this program can bring up to its own, "" among them."""
    return frozenset({"", *(script.revision for script in _scripts().walk_revisions())})


def upgrade(connection: Connection) -> None:
    """Bring the tables up to this program's version, in the connection's transaction."""
    config = _config()
    config.attributes["connection"] = connection
    alembic_upgrade(config, "head")
