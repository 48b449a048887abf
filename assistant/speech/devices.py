"""Microphones and loudspeakers of this machine, by name; only this module uses the audio library.

PortAudio freezes its list of devices when it starts, and refreshing the list ends every open
stream. `SoundSystem` therefore knows all streams of the program: it asks their owners to close them
before it refreshes.
"""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from assistant.errors import DeviceError

Kind = Literal["input", "output"]

_KINDS = {"input": "microphone", "output": "loudspeaker"}

PATIENCE_SECONDS = 10.0
"""How long a refresh of the devices waits for a sentence to end."""

_POLL_SECONDS = 0.05

_QUERY_SECONDS = 0.5
"""How long to wait for a refresh by another thread before asking for the devices."""

REFRESH_SECONDS = 5.0
"""How long to wait for a sound server, which may hang, before it counts as lost."""


@dataclass(frozen=True, slots=True)
class Device:
    """One device as one host interface of the system offers it."""

    index: int
    """Index in the current list; it changes when devices come and go, so it is never stored."""
    name: str
    host: str
    inputs: int
    outputs: int
    default_rate: int
    """Samples per second that the device prefers."""

    @property
    def label(self) -> str:
        """Name and host interface, which together identify the device."""
        return f"{self.name}, {self.host}"

    def has(self, kind: Kind) -> bool:
        """Whether the device can record, or play."""
        return (self.inputs if kind == "input" else self.outputs) > 0


class StreamOwner(Protocol):
    """The owner of an open stream."""

    @property
    def busy(self) -> bool:
        """Whether closing the stream now would interrupt something."""
        ...

    def let_go(self) -> None:
        """Close the stream; it may be opened again afterwards."""
        ...


class SoundSystem:
    """The audio library, opened once and shared by microphone and loudspeaker."""

    def __init__(self) -> None:
        """Load PortAudio.

        Raises:
            DeviceError: the package or the system library is missing; says what to install.
        """
        self.library = load_library()
        self._owners: list[StreamOwner] = []
        self._lock = threading.RLock()

    def join(self, owner: StreamOwner) -> None:
        """Register a stream owner, which must close its stream before a refresh."""
        with self._lock:
            self._owners.append(owner)

    def leave(self, owner: StreamOwner) -> None:
        """Unregister a stream owner."""
        with self._lock:
            self._owners = [other for other in self._owners if other is not owner]

    def devices(self) -> list[Device]:
        """Return all devices known since the last refresh.

        Raises:
            DeviceError: a refresh is going on, or the sound server did not answer the last one.
        """
        if not self._lock.acquire(timeout=_QUERY_SECONDS):
            raise DeviceError("The sound server does not answer yet; try again")
        try:
            return self._known()
        except self.library.PortAudioError as fault:
            raise DeviceError(f"The sound server does not answer ({fault}); restart it") from fault
        finally:
            self._lock.release()

    def _known(self) -> list[Device]:
        hosts = [str(host["name"]) for host in self.library.query_hostapis()]
        return [
            Device(
                index=index,
                name=str(found["name"]),
                host=hosts[found["hostapi"]],
                inputs=int(found["max_input_channels"]),
                outputs=int(found["max_output_channels"]),
                default_rate=round(found["default_samplerate"]),
            )
            for index, found in enumerate(self.library.query_devices())
        ]

    def find(self, kind: Kind, wanted: str = "") -> Device:
        """Return the device whose name and host contain all words of `wanted`.

        Args:
            kind: "input" for a microphone, "output" for a loudspeaker.
            wanted: the label of a device or some of its words, in any case; "" means the
                system's default.

        Raises:
            DeviceError: no device matches, or several do; the message lists them. Also as for
                `devices`.
        """
        able = [device for device in self.devices() if device.has(kind)]
        if not able:
            raise DeviceError(
                f"There is no {_KINDS[kind]}; connect one, or use rehearse, which needs none"
            )
        return choose(able, kind, wanted, self._default(kind))

    def _default(self, kind: Kind) -> int:
        return int(self.library.default.device[0 if kind == "input" else 1])

    def refresh(self) -> None:
        """Refresh the list of devices; every open stream is closed first.

        A sentence being spoken is given up to `PATIENCE_SECONDS` to end.

        Raises:
            DeviceError: the sound server does not answer.
        """
        deadline = time.monotonic() + PATIENCE_SECONDS
        while self._busy() and time.monotonic() < deadline:
            time.sleep(_POLL_SECONDS)
        with self._lock:
            for owner in tuple(self._owners):
                owner.let_go()
            if not within(REFRESH_SECONDS, self._restart):
                raise DeviceError("The sound server does not answer; restart it or the machine")

    def _busy(self) -> bool:
        with self._lock:
            return any(owner.busy for owner in self._owners)

    def _restart(self) -> None:
        # The package has no public function to refresh the devices.
        self.library._terminate()  # noqa: SLF001 - see above
        self.library._initialize()  # noqa: SLF001 - see above


def load_library() -> Any:  # noqa: ANN401 - untyped library
    """Return the module sounddevice.

    Raises:
        DeviceError: the package or PortAudio is missing; says what to install.
    """
    try:
        import sounddevice  # noqa: PLC0415 - loads a system library and asks for all devices
    except ImportError as fault:
        raise DeviceError(
            f"Live sound cannot be loaded ({fault}); run: pip install sounddevice"
        ) from fault
    except OSError as fault:
        raise DeviceError(
            "Live sound needs PortAudio, which is missing; run: sudo apt install libportaudio2"
            " (rehearsal works without)"
        ) from fault
    return sounddevice


def choose(able: list[Device], kind: Kind, wanted: str, default: int) -> Device:
    """Return the matching device, or list the available ones in the error.

    Raises:
        DeviceError: no device matches, or several do.
    """
    if not wanted:
        return next((device for device in able if device.index == default), able[0])
    exact = [device for device in able if wanted.lower() == device.label.lower()]
    words = wanted.lower().replace(",", " ").split()
    fitting = exact or [
        device for device in able if all(word in device.label.lower() for word in words)
    ]
    if len(fitting) == 1:
        return fitting[0]
    listed = "; ".join(device.label for device in fitting or able)
    trouble = "matches several devices" if fitting else "is not connected"
    raise DeviceError(f'The {_KINDS[kind]} "{wanted}" {trouble}; choose one of: {listed}')


def within(seconds: float, action: Callable[[], None]) -> bool:
    """Run an action that may hang in a separate thread; return whether it finished.

    Closing a stream of a frozen sound server never returns; the thread is then left behind.
    """
    worker = threading.Thread(target=action, name="sound-close", daemon=True)
    worker.start()
    worker.join(seconds)
    return not worker.is_alive()
