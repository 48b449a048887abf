"""When a spoken remark is over: after a pause, after the limit, or when nothing is said at all."""

BLOCK_S = 0.05
_LOUD_DB = 8.0
_PAUSE_S = 1.8
_PATIENCE_S = 8.0


class RemarkWatch:
    """Follows the level while a remark is taken."""

    def __init__(self, limit_s: float) -> None:
        """Wait for at most `limit_s` seconds."""
        self._limit_s = limit_s
        self._elapsed = 0.0
        self._quiet = 0.0
        self._spoke = False

    @property
    def seconds(self) -> float:
        """How long it has been taken."""
        return self._elapsed

    def over(self, level_dbfs: float, floor_dbfs: float) -> bool:
        """Take the levels of one block of 50 ms and say whether the remark has ended."""
        self._elapsed += BLOCK_S
        if level_dbfs > floor_dbfs + _LOUD_DB:
            self._spoke, self._quiet = True, 0.0
        else:
            self._quiet += BLOCK_S
        patience = _PAUSE_S if self._spoke else _PATIENCE_S
        return self._quiet >= patience or self._elapsed >= self._limit_s
