"""`evaluate` from the command to its files, as a ratio to loading the libraries it needs.

The study is one of ten locations, three shaft positions and two ports: 60 vials; the last case adds
120 dosage units, tolerance limits and the predicted test. Figures are processor time and are
printed; what is asserted is that the work itself costs less than a few times what loading the
libraries costs on the same machine in the same run.
"""

import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from assistant.clock import ManualClock
from assistant.storage import bundled_files
from assistant.storage.record_writer import RecordFolder
from assistant.testing import quick_record

pytestmark = pytest.mark.slow

LIBRARIES = (
    "import scipy.stats, scipy.optimize, jinja2, pydantic, rich.console\n"
    "import matplotlib.figure, matplotlib.backends.backend_agg, matplotlib.backends.backend_svg\n"
    "import reportlab.platypus, reportlab.pdfbase.ttfonts\n"
)


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a record of 10 x 3 x 2 vials and its sheet."""
    root = tmp_path_factory.mktemp("study")
    plan = bundled_files.read_plan("double-cone").replace(
        b"ports_mm = [60.0]", b"ports_mm = [60.0, 160.0]"
    )
    grammar = bundled_files.read_grammar("en")
    with RecordFolder.create(root / "record", plan, grammar) as folder:
        quick_record(folder, ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC)), plan, grammar)
    made = ["-m", "assistant", "assays", "record", "-o"]
    seconds(root, *made, "assays.csv")
    seconds(root, *made, "units.csv", "--dosage-units", "40x3")
    return root


def seconds(where: Path, *words: str) -> float:
    """Processor time of one run of the interpreter."""
    before = os.times()
    subprocess.run([sys.executable, *words], cwd=where, check=True, capture_output=True)
    after = os.times()
    return (
        after.children_user + after.children_system - before.children_user - before.children_system
    )


@pytest.mark.parametrize(
    "files",
    [
        ["-o", "r.pdf"],
        ["-o", "r.html"],
        ["-o", "r.pdf", "-o", "r.html", "--json", "r.json"],
        [
            *("-o", "r.pdf", "--json", "r.json", "--tolerance-interval", "95/95", "--predict"),
            *("--dosage-units", "units.csv"),
        ],
    ],
    ids=["PDF", "HTML", "PDF, HTML and JSON", "everything, PDF and JSON"],
)
def test_evaluate_of_sixty_vials(
    study: Path, files: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """The best of three runs against the best of three loadings."""
    loading = min(seconds(study, "-c", LIBRARIES) for _ in range(3))
    words = ["-m", "assistant", "evaluate", "record", "assays.csv", "--overwrite", *files]
    whole = min(seconds(study, *words) for _ in range(3))
    with capsys.disabled():
        print(f"\n{' '.join(files)}: {whole:.2f} s, of these {loading:.2f} s loading libraries")  # noqa: T201 - a benchmark's figures are its result
    assert whole < 6.0 * loading
