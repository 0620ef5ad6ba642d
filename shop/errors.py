"""What can go wrong for a person, as one small tree. Services raise these; views translate them once.

ShopError                 one clear sentence, HTTP 422
 ├─ Refused               the role may not do this, HTTP 403
 ├─ Conflict              somebody else was first or the thing is no longer so, HTTP 409
 ├─ TooMany               too much from one sender, HTTP 429
 └─ NotDone               a job cannot be called done; carries every reason
"""

from collections.abc import Sequence


class ShopError(Exception):
    status = 422

    def __init__(self, words: str) -> None:
        super().__init__(words)
        self.words = words


class Refused(ShopError):
    status = 403


class Conflict(ShopError):
    status = 409


class TooMany(ShopError):
    status = 429


class NotDone(ShopError):
    def __init__(self, words: str, reasons: Sequence[str]) -> None:
        super().__init__(words)
        self.reasons = tuple(reasons)
