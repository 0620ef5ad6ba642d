from diagnostics.models.enquiries import Enquiry, EnquiryState
from diagnostics.models.learning import FailureModel, Learning, ProductionRange, RangeState, Sighting
from diagnostics.models.sheets import BenchSheet, Check, CheckKind
from diagnostics.models.systems import SystemDraft, SystemRevision
from diagnostics.models.units import Unit, Work, WorkKind

__all__ = [
    "BenchSheet",
    "Check",
    "CheckKind",
    "Enquiry",
    "EnquiryState",
    "FailureModel",
    "Learning",
    "ProductionRange",
    "RangeState",
    "Sighting",
    "SystemDraft",
    "SystemRevision",
    "Unit",
    "Work",
    "WorkKind",
]
