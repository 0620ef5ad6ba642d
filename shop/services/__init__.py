"""The writes of the base app: one function for each thing that a person does, in one transaction, with its trail."""

from shop.services.cars import car_create, car_update, customer_create, customer_update, odometer_add
from shop.services.jobs import job_hold, job_move, job_open, note_add
from shop.services.merge import car_merge
from shop.services.owners import owner_change
from shop.services.people import tour_dismiss
from shop.services.pictures import picture_add
from shop.services.trail import trail_record

__all__ = [
    "car_create",
    "car_merge",
    "car_update",
    "customer_create",
    "customer_update",
    "job_hold",
    "job_move",
    "job_open",
    "note_add",
    "odometer_add",
    "owner_change",
    "picture_add",
    "tour_dismiss",
    "trail_record",
]
