"""What the judgement of a file says, apart from the libraries that make it."""

import re
from dataclasses import dataclass

MEMORY, SECONDS = 1024**3, 20
"""What the process of its own gets: bytes of memory and seconds of processor time."""


@dataclass(frozen=True, slots=True)
class Judged:
    """`wrong`: '' where all holds, else what is wrong, as a word of WRONG in reports.checking. `numbers`: certificate
    numbers that the file's title names."""

    wrong: str
    signatures: int = 0
    intact: bool = False
    trusted: bool = False
    whole: bool = False
    signed_at: str = ""
    signer: str = ""
    numbers: tuple[str, ...] = ()


NUMBER = re.compile(r"TW-\d{4}-[0-9A-Z]{8}-[0-9A-Z]")
