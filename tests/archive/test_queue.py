"""A booth that loses the network: its records wait and are added later, once each."""

from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import func, select

from assistant.archive.database import connect
from assistant.archive.queue import Queue, Waiting
from assistant.archive.tables import sessions
from assistant.errors import InputError
from assistant.user_folder import user_folder
from tests.archive import made_site
from tests.archive.cluster import Cluster
from tests.archive.made_site import Made

Site = Callable[..., Path]
Tell = Callable[..., tuple[int, str, str]]


@pytest.mark.site
def test_what_waited_is_added_when_the_server_is_back(
    cluster: Cluster, site: Site, tell: Tell
) -> None:
    """Stopped as by a power cut, started again: nothing lost, nothing twice."""
    url = cluster.url(cluster.database("made"))
    first, second = site(0), site(1)
    sheet = made_site.sheet(second, Made(1, small=True))
    assert tell("archive", "add", first, "--archive", url)[0] == 0
    cluster.stop("immediate")
    try:
        code, _, err = tell("archive", "add", first, f"{second}={sheet}", "--archive", url)
        assert code == 3
        assert "2 records wait" in err
    finally:
        cluster.start()
    code, out, _ = tell("archive", "add", "--archive", url)
    assert code == 0
    assert "1 added, 0 completed, 1 known already, 0 not added" in out
    assert Queue(user_folder()).waiting(url) == ()
    archive = connect(url)
    with archive.reading() as connection:
        assert connection.scalar(select(func.count()).select_from(sessions)) == 2
    archive.close()


def test_a_record_that_cannot_be_added_goes_on_waiting(
    tmp_path: Path, site: Site, tell: Tell
) -> None:
    """It is named each time, until it can be added or its line is taken out."""
    url = f"sqlite:///{tmp_path / 'archive.sqlite'}"
    folder, queue = site(0), Queue(user_folder())
    away = folder.rename(tmp_path / "away")
    queue.put([Waiting(archive=url, record=folder), Waiting(archive="another", record=folder)])
    code, out, _ = tell("archive", "add", "--archive", url)
    assert (code, f"not added: There is no record in {folder}" in out) == (2, True)
    away.rename(folder)
    assert tell("archive", "add", "--archive", url)[0] == 0
    assert queue.waiting(url) == ()
    assert len(queue.waiting("another")) == 1


def test_one_record_waits_once(tmp_path: Path) -> None:
    """However often it was named."""
    queue, one = Queue(tmp_path), Waiting(archive="a", record=tmp_path)
    queue.put([one])
    queue.put([one, one.model_copy(update={"unit": "mg"})])
    assert len(queue.waiting("a")) == 2


def test_a_queue_that_holds_something_else(tmp_path: Path) -> None:
    """The line is to be taken out by hand: nothing is thrown away."""
    queue = Queue(tmp_path)
    queue.path.write_text("a letter\n", "utf-8")
    with pytest.raises(InputError, match="holds a line that is none of it"):
        queue.waiting("a")
    queue.path.unlink()
    queue.path.mkdir()
    with pytest.raises(InputError, match="cannot be read"):
        queue.waiting("a")
