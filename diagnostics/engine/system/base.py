"""What every part of a system file's model is made of."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints

Code = Annotated[str, StringConstraints(pattern=r"^[A-Z]{2}[0-9]{1,2}$")]
Slug = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]
Name = Annotated[str, StringConstraints(min_length=1, max_length=120)]


class Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, allow_inf_nan=False)
