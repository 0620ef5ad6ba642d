from diagnostics.engine.system.model import (
    ACTUATORS,
    BETWEEN,
    SENSORS,
    Axis,
    Condition,
    Module,
    Motion,
    Pin,
    Position,
    Step,
    TopSystem,
)

__all__ = [
    "ACTUATORS",
    "BETWEEN",
    "SENSORS",
    "Axis",
    "Condition",
    "Module",
    "Motion",
    "Pin",
    "Position",
    "Step",
    "TopSystem",
]
