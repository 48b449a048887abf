"""A PostgreSQL server of the tests' own: a cluster in a temporary folder, started by `pg_ctl`.

Through its socket everybody is trusted; over TCP a password is asked for (scram-sha-256).
"""

import os
import shutil
import socket
import subprocess
import tempfile
from pathlib import Path

import psycopg

BINARIES = Path("/usr/lib/postgresql")
ACCOUNT = "postgres"
"""Runs the server where the tests run as root, which PostgreSQL refuses."""


def binaries() -> Path | None:
    """Return the folder of the newest server that Debian installed, None without one."""
    found = sorted(BINARIES.glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    return found[-1].parent if found else None


class Cluster:
    """One server, stopped and removed by `remove`."""

    def __init__(self, programs: Path) -> None:
        """Make the cluster and start it.

        Args:
            programs: folder with `initdb` and `pg_ctl`.
        """
        self._programs = programs
        # Not below pytest's own folder: another account could not reach it there.
        self.folder = Path(tempfile.mkdtemp(prefix="pg", dir="/tmp"))
        self.port = _free_port()
        if os.geteuid() == 0:
            shutil.chown(self.folder, ACCOUNT)
        self._run("initdb", "-D", "data", "-U", "owner", "-E", "UTF8", "--no-sync", "--auth=trust")
        self._write(
            "data/postgresql.auto.conf",
            f"port = {self.port}\nlisten_addresses = '127.0.0.1'\nmax_connections = 60\n"
            f"unix_socket_directories = '{self.folder}'\nlc_messages = 'C'\n"
            # The machine does not lose power; what a killed server loses is the same either way.
            "fsync = off\nfull_page_writes = off\n",
        )
        self._write(
            "data/pg_hba.conf",
            "local all all trust\nhost all all 127.0.0.1/32 scram-sha-256\n",
        )
        self.start()
        self._databases = 0

    def start(self) -> None:
        """Start the server and wait until it answers."""
        self._run("pg_ctl", "-D", "data", "-l", "log", "-w", "start")

    def stop(self, how: str = "fast") -> None:
        """Stop the server: "fast", or "immediate" as a power cut does."""
        self._run("pg_ctl", "-D", "data", "-m", how, "-w", "stop")

    def remove(self) -> None:
        """Stop the server and remove everything."""
        if (self.folder / "data" / "postmaster.pid").exists():
            self.stop("immediate")
        shutil.rmtree(self.folder)

    def database(self, template: str = "template1") -> str:
        """Make a database and return its name."""
        self._databases += 1
        name = f"site_{self._databases}"
        self.execute(f"CREATE DATABASE {name} TEMPLATE {template}")
        return name

    def execute(self, statement: str, database: str = "postgres") -> list[tuple[object, ...]]:
        """Run statements as the owner; return the rows of the last one."""
        where = f"host={self.folder} port={self.port} user=owner dbname={database}"
        with psycopg.connect(where, autocommit=True) as connection:
            cursor = connection.execute(statement.encode())
            return cursor.fetchall() if cursor.description else []

    def url(self, database: str, user: str = "owner") -> str:
        """Return the URL of a database through the socket."""
        place = f"host={self.folder}&port={self.port}"
        return f"postgresql+psycopg://{user}@/{database}?{place}"

    def tcp_url(self, database: str, user: str) -> str:
        """Return the URL of a database over TCP, where a password is asked for."""
        return f"postgresql+psycopg://{user}@127.0.0.1:{self.port}/{database}"

    def _write(self, name: str, text: str) -> None:
        with (self.folder / name).open("w", encoding="utf-8") as file:
            file.write(text)

    def _run(self, program: str, *words: str) -> None:
        account = ["setpriv", f"--reuid={ACCOUNT}", f"--regid={ACCOUNT}", "--clear-groups"]
        subprocess.run(
            [*(account if os.geteuid() == 0 else []), str(self._programs / program), *words],
            cwd=self.folder,
            check=True,
            stdout=subprocess.DEVNULL,
            stdin=subprocess.DEVNULL,
            timeout=60,
        )


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
