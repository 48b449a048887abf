"""A clip cut into utterances as the live program cuts the microphone's sound."""

from assistant.ports import BLOCK_SAMPLES
from assistant.speech.endpoint import Endpointer, EndpointSettings, Segment
from assistant.speech.pcm import Samples


def segments(samples: Samples, settings: EndpointSettings | None = None) -> list[Segment]:
    """Cut a clip into utterances, block by block."""
    endpointer = Endpointer(settings)
    data = samples.astype("<i2").tobytes()
    size = BLOCK_SAMPLES * 2
    found = [endpointer.feed(data[at : at + size]) for at in range(0, len(data) - size + 1, size)]
    found.append(endpointer.finish())
    return [each for each in found if each is not None]


def usable(samples: Samples, settings: EndpointSettings | None = None) -> list[Segment]:
    """Return the utterances of a clip that the live program would judge."""
    found = segments(samples, settings)
    return [each for each in found if not each.too_short and each.ended_by != "limit"]
