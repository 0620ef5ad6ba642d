from diagnostics.models.enquiries import Enquiry, EnquiryState
from diagnostics.models.sheets import BenchSheet, Check, CheckKind
from diagnostics.models.systems import SystemDraft, SystemRevision
from diagnostics.models.units import Unit, Work, WorkKind

__all__ = [
    "BenchSheet",
    "Check",
    "CheckKind",
    "Enquiry",
    "EnquiryState",
    "SystemDraft",
    "SystemRevision",
    "Unit",
    "Work",
    "WorkKind",
]
