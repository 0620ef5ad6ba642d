from shop.models.cars import Car, Climate, Customer, OdometerReading
from shop.models.jobs import Hold, Job, JobNote, Picture, Stage
from shop.models.people import Role, ShopProfile, User
from shop.models.runs import RunState, TaskRun
from shop.models.trail import AppendOnlyError, TrailEntry

__all__ = [
    "AppendOnlyError",
    "Car",
    "Climate",
    "Customer",
    "Hold",
    "Job",
    "JobNote",
    "OdometerReading",
    "Picture",
    "Role",
    "RunState",
    "ShopProfile",
    "Stage",
    "TaskRun",
    "TrailEntry",
    "User",
]
