"""What would have been learned by a day in the past: for who asks how good forecasts made then would have been."""

from datetime import date

from diagnostics.learning.learn import learn
from diagnostics.learning.records import PartModel
from diagnostics.models import Learning
from diagnostics.selectors.computed import shop_priors
from diagnostics.selectors.failure_model import Learned
from diagnostics.selectors.sightings import observations


def learned_as_of(day: date, learning: Learning) -> dict[str, Learned]:
    """Top system -> the models learned from what was seen up to and on that day, without what the owner decided of
    ranges since; `learning`: the one that they stand beside. As long as a learning of everything."""
    models: dict[str, list[PartModel]] = {}
    for model in learn(observations(until=day), priors=shop_priors()).models:
        models.setdefault(model.population.system, []).append(model)
    return {system: Learned(learning, tuple(mine), {}) for system, mine in models.items()}
