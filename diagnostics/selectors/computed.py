"""What the shop's own observations tell, computed: everything, or the parts that changed."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from django.utils.translation import gettext as _

from diagnostics.learning.learn import Priors, learn
from diagnostics.learning.priors import priors_of
from diagnostics.learning.ranges import control
from diagnostics.learning.records import SEED, Learned, PartModel
from diagnostics.learning.stored import from_json
from diagnostics.models import FailureModel
from diagnostics.selectors.learning import Group, decisions_now
from diagnostics.selectors.sightings import observations
from diagnostics.selectors.systems import newest_revisions, system_of

Tell = Callable[[int, int, str], None]
"""done, total, what comes now; may raise to call it off."""


@dataclass(frozen=True, slots=True)
class Computed:
    """`models` of all parts in `groups` (None: of all there are)."""

    models: tuple[PartModel, ...]
    groups: frozenset[Group] | None
    seed: int


def learned_of_shop(tell: Tell) -> Learned:
    """All that the shop's own sightings tell, as they stand."""
    return learn(observations(), decisions=decisions_now(), priors=shop_priors(), progress=_by_name(tell))


def compute_all(tell: Tell) -> Computed:
    learned = learned_of_shop(tell)
    return Computed(learned.models, None, learned.seed)


def compute_changed(groups: frozenset[Group], tell: Tell) -> Computed:
    """The models of `groups`, as compute_all would give them.

    Which ranges count as found depends on everything that was searched: where the change turns that about elsewhere,
    the models of all parts come back, those of the others taken over but for the ranges that count.
    """
    decisions, priors, tell = decisions_now(), shop_priors(), _by_name(tell)
    others = [model for model in _standing(searched=True) if _group(model) not in groups]
    models: list[PartModel] = []
    for done, (system, part) in enumerate(sorted(groups)):
        tell(done, len(groups), f"{system} {part}")
        rows = observations(system=system, part=part)
        models += learn(rows, decisions=decisions, priors=priors, others=[*others, *models]).models
    tell(len(groups), len(groups), "")
    if _agree([*models, *others]):
        return Computed(tuple(models), groups, SEED)
    known = [*models, *(model for model in _standing() if _group(model) not in groups)]
    learned = learn(observations(), decisions=decisions, priors=priors, known=known, progress=tell)
    return Computed(learned.models, None, learned.seed)


def _agree(models: Iterable[PartModel]) -> bool:
    """Whether the ranges that count as found are those of the control over all of them together."""
    proposed = [one for model in models for one in model.ranges if one.state == "proposed"]
    kept = control([one.probability for one in proposed])
    return all(bool(one) == found.found for one, found in zip(kept, proposed, strict=True))


def _standing(*, searched: bool = False) -> list[PartModel]:
    """The models as they were kept; `searched`: only those in which some range was found or thought of."""
    rows = FailureModel.objects.order_by("pk")
    if searched:
        rows = rows.exclude(document__ranges=[])
    return [from_json(document) for document in rows.values_list("document", flat=True).iterator(50)]


def _group(model: PartModel) -> Group:
    return model.population.system, model.population.part


def shop_priors() -> Priors:
    """The trade defaults of every declared top system, as weak priors."""
    return {
        (revision.slug, position, mode): prior
        for revision in newest_revisions()
        for (position, mode), prior in priors_of(system_of(revision)).items()
    }


def _by_name(tell: Tell) -> Tell:
    """Says the parts by the names of their top systems, and what comes after the last of them."""
    titles = {revision.slug: revision.title for revision in newest_revisions()}

    def told(done: int, total: int, words: str) -> None:
        system, _space, part = words.partition(" ")
        of_part = _("{part} of {title}").format(part=part, title=titles.get(system, system))
        tell(done, total, of_part if part else _("Weighing all that was found together, and keeping it"))

    return told
