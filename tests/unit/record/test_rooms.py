"""Whoever audits a record need not be able to run a session."""

import subprocess
import sys


def test_verify_loads_no_speech_module() -> None:
    """Neither ours nor the libraries behind them."""
    probe = (
        "import sys, assistant.cli.verify; print(*(name for name in sys.modules if "
        "name.startswith(('assistant.speech', 'assistant.session', 'vosk', 'pocketsphinx', "
        "'sounddevice', 'soundfile'))))"
    )
    run = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert run.stdout.split() == []
