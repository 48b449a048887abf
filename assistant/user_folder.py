"""The one folder for everything that is the user's: settings, voice profiles, Vosk models."""

import os
from pathlib import Path
from typing import Final

from platformdirs import user_data_path

FOLDER_VARIABLE: Final = "SAMPLING_ASSISTANT_HOME"
"""Names another folder."""


def user_folder() -> Path:
    """Return the folder that the environment names, else the platform's own for such data."""
    named = os.environ.get(FOLDER_VARIABLE)
    return Path(named) if named else user_data_path("sampling-assistant", appauthor=False)
