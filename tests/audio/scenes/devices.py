"""Scene: list the devices, and look some up; print what was found or the error.

Arguments: pairs of kind and wanted words, as one string with a colon.
"""

import json
import sys

from assistant.errors import DeviceError
from assistant.speech.devices import SoundSystem


def main() -> None:
    """Run the scene."""
    try:
        system = SoundSystem()
    except DeviceError as fault:
        sys.stdout.write(json.dumps({"error": str(fault), "code": fault.exit_code}) + "\n")
        return
    found = []
    for word in sys.argv[1:]:
        kind, _, wanted = word.partition(":")
        try:
            found.append(system.find("input" if kind == "input" else "output", wanted).label)
        except DeviceError as fault:
            found.append(f"error {fault.exit_code}: {fault}")
    labels = [device.label for device in system.devices()]
    sys.stdout.write(json.dumps({"labels": labels, "found": found}) + "\n")


main()
