"""Helpers of the enquiry tests: one set of answers, one sender, a page as its reader sees it."""

import re
from html import unescape
from typing import Any

from diagnostics.services import Contact

ANSWERS = {"fails": "close", "stops": "raise-lid", "hand": "as-it-should", "sound": "silent", "lamp": "flashing"}
CONTACT = Contact(name="Oda Marchbank", phone="555 0170", words="Since the washing plant.")


def text_of(answer: Any) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())).split())
