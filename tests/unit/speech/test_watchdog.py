"""When a microphone counts as lost, with times given by hand."""

from assistant.speech.watchdog import Watchdog


def living(until: float, *, zeros_from: float = 1e9) -> Watchdog:
    """Return a watchdog that was fed every 50 ms up to a moment."""
    dog = Watchdog(opened=0.0)
    for number in range(round(until / 0.05) + 1):
        now = number * 0.05
        dog.block(now, zeros=now >= zeros_from)
    return dog


def test_a_stream_that_delivers_is_alive() -> None:
    """Also half a second after the last block, to the moment."""
    assert living(5.0).fault(5.0) is None
    assert living(5.0).fault(5.49) is None


def test_no_block_for_half_a_second_is_a_loss() -> None:
    """Ten blocks are missing."""
    assert living(5.0).fault(5.51) == "sound stopped arriving"


def test_the_first_block_may_take_three_seconds() -> None:
    """A fresh sound server needs two."""
    dog = Watchdog(opened=10.0)
    assert dog.fault(12.9) is None
    assert dog.fault(13.1) == "no sound arrived after opening"
    assert not dog.heard


def test_the_librarys_own_word_counts_at_once() -> None:
    """The stream says that it has finished."""
    dog = living(5.0)
    dog.finished = True
    assert dog.fault(5.0) == "the system ended the recording"


def test_a_second_of_exact_zeros_is_a_loss() -> None:
    """A shorter stretch is not; a single block of sound begins the count anew."""
    fault = living(5.0, zeros_from=3.9).fault(5.0)
    assert fault is not None
    assert "digital silence" in fault
    assert living(5.0, zeros_from=4.1).fault(5.0) is None
    dog = living(5.0, zeros_from=3.9)
    dog.block(5.05, zeros=False)
    dog.block(5.10, zeros=True)
    assert dog.fault(5.15) is None
    assert dog.heard


def test_a_standstill_of_the_program_is_no_silence_of_the_device() -> None:
    """Nobody asked for a second, so nobody could deliver; only silence after that is a loss."""
    dog = living(5.0)
    assert dog.fault(5.1) is None
    assert dog.fault(6.1) is None
    for tenth in range(1, 5):
        assert dog.fault(6.1 + tenth / 10) is None
    assert dog.fault(6.65) == "sound stopped arriving"


def test_a_silence_that_is_watched_all_the_time_is_a_loss() -> None:
    """Asked every tenth of a second, the same silence is one of the device."""
    dog = living(5.0)
    faults = [dog.fault(5.0 + tenth / 10) for tenth in range(11)]
    assert faults[4] is None
    assert faults[-1] == "sound stopped arriving"
