"""Rules of the `inspection` block of a system file."""

from collections.abc import Iterator

from diagnostics.engine.inspection.asked import ASKED, asked
from diagnostics.engine.system.inspection import InspectionRules
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.problems import Finding, shown
from diagnostics.engine.words import _

NOT_LEFT_OUT = frozenset({"surroundings"})


def inspection_findings(system: TopSystem) -> Iterator[Finding]:
    """Mistakes of the block: an item left out that this top does not have, or a new one under a name that is taken."""
    rules = system.inspection
    if rules is None:
        return
    own = [one.key for one in asked(system, InspectionRules()) if one.key not in NOT_LEFT_OUT]
    for name in rules.without:
        if name not in own:
            words = _("There is no item {name} to leave out; expected one of: {known}.")
            yield ("inspection", "without", name), words.format(name=shown(name), known=", ".join(own))
    for name in rules.extra:
        if name in ASKED:
            words = _("{name} is an item of every plan; choose another name.")
            yield ("inspection", "extra", name), words.format(name=shown(name))
        elif name in ("battery", "supply"):
            words = _("{name} is answered by the bench sheet; choose another name.")
            yield ("inspection", "extra", name), words.format(name=shown(name))
