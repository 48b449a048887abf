"""Sound as a browser plays it."""

import io
import wave

from starlette.responses import Response

from assistant.ports import SAMPLE_RATE

__all__ = ["wav_response"]


def wav_response(pcm: bytes) -> Response:
    """Return mono 16-bit sound at `SAMPLE_RATE` as a WAV file."""
    out = io.BytesIO()
    with wave.open(out, "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(SAMPLE_RATE)
        sound.writeframes(pcm)
    return Response(out.getvalue(), media_type="audio/wav")
