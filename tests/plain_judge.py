"""A judge without any safeguard, so that tests of other parts need none."""

from assistant.ports import Judgement, Utterance
from assistant.speech.pocketsphinx_engine import PocketSphinxRecogniser


class PlainJudge:
    """Accepts whatever the grammar makes of an utterance: the baseline, without any safeguard."""

    def __init__(self, recogniser: PocketSphinxRecogniser) -> None:
        """Judge by this recogniser; its phrases are set by whoever owns it."""
        self._recogniser = recogniser

    def __call__(self, utterance: Utterance) -> Judgement:
        """Accept a phrase, refuse when none fits."""
        found = self._recogniser.hear(utterance)
        return Judgement(
            decision="accept" if found.text else "refuse",
            text=found.text,
            reason="" if found.text else "no-phrase",
            utterance=utterance,
            engine=self._recogniser.name,
        )
