"""The bench's part of putting a car together that was written down twice."""

from django.utils.translation import gettext as _

from diagnostics.models import BenchSheet, Sighting, Unit
from diagnostics.selectors.merge import both_at_once, units_left
from diagnostics.services.learned import models_stale
from diagnostics.services.learning import learning_follow
from shop.merging import Chosen
from shop.models import Car


def bench_moved(kept: Car, double: Car, chosen: Chosen) -> None:
    """Sheets, units and what was seen of them hang on the kept car; what sheets say of units is read anew, and what was
    learned of the parts concerned is learned anew."""
    left = _units_left(kept, double, chosen)
    both = Sighting.objects.filter(car__in=[kept, double])
    groups = sorted(both.order_by().values_list("system", "part").distinct())
    for model in (Unit, BenchSheet, Sighting):
        model.objects.filter(car=double).update(car=kept)
    Unit.objects.filter(pk__in=left).update(car=double)
    # What a sheet saw is told by the unit that was fitted, and the units of both cars are now those of one.
    BenchSheet.objects.filter(car=kept).update(sighted=False)
    models_stale(groups)
    learning_follow()


def _units_left(kept: Car, double: Car, chosen: Chosen) -> list[int]:
    """The units that do not count. What is said to be fitted still was never there as a second one: it ends on the day
    on which it began, so that nothing counts it as fitted or as exchanged."""
    units = units_left(both_at_once(kept, double), chosen)
    for unit in units:
        if unit.removed_on is None:
            unit.removed_on = unit.fitted_on or unit.car.made_on
            unit.removed_why = _("The car was written down twice: the other entry counts.")
            unit.save(update_fields=["removed_on", "removed_why"])
    return [unit.pk for unit in units]
