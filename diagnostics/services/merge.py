"""The bench's part of putting a car together that was written down twice."""

from diagnostics.models import BenchSheet, Sighting, Unit
from diagnostics.services.learned import models_stale
from diagnostics.services.learning import learning_follow
from shop.models import Car


def bench_moved(kept: Car, double: Car) -> None:
    """Sheets, units and what was seen of them hang on the kept car; what sheets say of units is read anew, and what was
    learned of the parts concerned is learned anew."""
    both = Sighting.objects.filter(car__in=[kept, double])
    groups = sorted(both.order_by().values_list("system", "part").distinct())
    for model in (Unit, BenchSheet, Sighting):
        model.objects.filter(car=double).update(car=kept)
    # What a sheet saw is told by the unit that was fitted, and the units of both cars are now those of one.
    BenchSheet.objects.filter(car=kept).update(sighted=False)
    models_stale(groups)
    learning_follow()
