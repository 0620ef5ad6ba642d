"""A finding for somebody who knows nothing of tops: what it means, by the rule that gave its weight."""

from collections.abc import Mapping
from typing import Final

from diagnostics.engine.words import _
from reports.document.compose.findings import RULES
from reports.document.content import Finding

PLAIN: Final[Mapping[str, str]] = {
    "leak": "Fluid escapes here. Do not operate the top until it is sealed.",
    "motion": "The top does not complete this movement.",
    "pin": "The control of the top is told something wrong from here, so the top can stop.",
    "electrical": "A wire, a plug or a switch does not work as it should here.",
    "look": "Something is broken, worn or loose here.",
    "noted": "Something was noticed here; it need not be a fault.",
    "hold": "This part does not hold its pressure, so what it carries can sink.",
    "battery": "The battery was too low to judge the top by.",
    "unproven": "This was worked on, and it was not yet seen that it works.",
    "probable": "By the checks made, the fault most likely lies here.",
    "possible": "By the checks made, the fault may lie here.",
    "limit": "A measured value is worse than its limit.",
    "limit-near": "A measured value is close to its limit.",
    "slow": "This takes longer than usual.",
    "once": "This was seen once and not again; it may come back.",
    "put-right": "This was wrong, was worked on, and was seen in order afterwards.",
}
_BY_RULE: Final[Mapping[str, str]] = {RULES[key].words: words for key, words in PLAIN.items() if key in RULES}


def plain_words(found: Finding) -> str:
    """A sentence; of a rule without one, the rule itself."""
    return _(_BY_RULE.get(found.rule, found.rule))


def where_words(found: Finding) -> str:
    """The name first, the letters of the shop after it."""
    name = found.subject.removeprefix(f"{found.position} ")
    return f"{name} ({found.position})" if found.position and name != found.subject else found.subject
