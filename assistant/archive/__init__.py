"""The archive of a site: an index of record folders in a database.

The folders stay the originals. Everything in the database can be made again from them, except when
and from where a record was added and what the checks of the archive found.
"""

from importlib.util import find_spec

from assistant.errors import DeviceError

if any(find_spec(name) is None for name in ("alembic", "bagit", "distributed", "sqlalchemy")):
    raise DeviceError(
        "The archive needs libraries that are not installed: run pip install "
        "'sampling-assistant[site]'."
    )
