"""The writes of the base app: one function for each thing that a person does, in one transaction, with its trail."""

from shop.services.bays import away_add, away_remove, bay_add, bay_give_up, bay_rename, bay_take_up
from shop.services.bookings import Placed, booking_drop, booking_move, booking_place
from shop.services.cars import car_create, car_update, customer_create, customer_update, odometer_add
from shop.services.estimates import (
    answers_keep,
    estimate_make,
    estimate_send,
    estimate_withdraw,
    estimate_words,
    line_keep,
    line_remove,
    line_up,
    version_next,
)
from shop.services.feeds import feed_given, feed_make, feed_revoke
from shop.services.jobs import job_held, job_hold, job_move, job_open, note_add
from shop.services.merge import car_merge
from shop.services.outlays import outlay_add, outlay_strike, rates_set
from shop.services.owners import owner_change
from shop.services.people import (
    invitation_accept,
    invitation_make,
    invitation_resend,
    invitation_revoke,
    password_set,
    person_leave,
    person_return,
    person_set_role,
    tour_dismiss,
)
from shop.services.pictures import (
    Kept,
    picture_add,
    picture_describe,
    picture_pair,
    picture_unpair,
    pictures_add,
    small_of,
)
from shop.services.second_factor import (
    recovery_codes_renew,
    second_factor_remove,
    second_factor_reset,
    second_factor_set_up,
)
from shop.services.sessions import session_end, sessions_end_others
from shop.services.trail import trail_record

__all__ = [
    "Kept",
    "Placed",
    "answers_keep",
    "away_add",
    "away_remove",
    "bay_add",
    "bay_give_up",
    "bay_rename",
    "bay_take_up",
    "booking_drop",
    "booking_move",
    "booking_place",
    "car_create",
    "car_merge",
    "car_update",
    "customer_create",
    "customer_update",
    "estimate_make",
    "estimate_send",
    "estimate_withdraw",
    "estimate_words",
    "feed_given",
    "feed_make",
    "feed_revoke",
    "invitation_accept",
    "invitation_make",
    "invitation_resend",
    "invitation_revoke",
    "job_held",
    "job_hold",
    "job_move",
    "job_open",
    "line_keep",
    "line_remove",
    "line_up",
    "note_add",
    "odometer_add",
    "outlay_add",
    "outlay_strike",
    "owner_change",
    "password_set",
    "person_leave",
    "person_return",
    "person_set_role",
    "picture_add",
    "picture_describe",
    "picture_pair",
    "picture_unpair",
    "pictures_add",
    "rates_set",
    "recovery_codes_renew",
    "second_factor_remove",
    "second_factor_reset",
    "second_factor_set_up",
    "session_end",
    "sessions_end_others",
    "small_of",
    "tour_dismiss",
    "trail_record",
    "version_next",
]
