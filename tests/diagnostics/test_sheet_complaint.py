"""The sheet shows the whole complaint, for on all of it the suspects rest."""

from typing import Any

from diagnostics import services
from diagnostics.engine.case import Complaint
from diagnostics.models import BenchSheet
from shop.models import User
from tests.diagnostics.bench import words


def test_the_sheet_says_all_that_was_told(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    told = Complaint(motion="close", stops_at="raise-lid", lamp="flashing", sound="silent", comes_and_goes=True)
    services.sheet_set_complaint(sheet=sheet, by=tech, complaint=told.model_dump(), recent_work=())
    page = words(client_as("technician").get(f"/sheets/{sheet.pk}/"))
    complaint = page[page.index('id="complaint"') :]
    said = "Closing stops at “The lid opens to the rear”. Nothing is heard. It comes and goes. The lamp flashes."
    assert said in complaint
