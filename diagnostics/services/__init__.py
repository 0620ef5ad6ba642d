"""The writes of the bench: one function for each thing that a person does, one transaction each."""

from diagnostics.services.checks import check_add, check_strike
from diagnostics.services.drafts import DraftMoved, draft_drop, draft_keep, draft_publish
from diagnostics.services.enquiries import Contact, enquiry_close, enquiry_erase, enquiry_send, enquiry_take
from diagnostics.services.learning import learning_ask, learning_follow, learning_nightly, learning_run
from diagnostics.services.ranges import range_confirm, range_dismiss, range_reopen
from diagnostics.services.sheets import SheetAlreadyOpen, sheet_close, sheet_open, sheet_set_complaint, sheet_set_pose
from diagnostics.services.sightings import sightings_refresh
from diagnostics.services.systems import system_publish
from diagnostics.services.work import work_add

__all__ = [
    "Contact",
    "DraftMoved",
    "SheetAlreadyOpen",
    "check_add",
    "check_strike",
    "draft_drop",
    "draft_keep",
    "draft_publish",
    "enquiry_close",
    "enquiry_erase",
    "enquiry_send",
    "enquiry_take",
    "learning_ask",
    "learning_follow",
    "learning_nightly",
    "learning_run",
    "range_confirm",
    "range_dismiss",
    "range_reopen",
    "sheet_close",
    "sheet_open",
    "sheet_set_complaint",
    "sheet_set_pose",
    "sightings_refresh",
    "system_publish",
    "work_add",
]
