"""What every answer is: frozen, typed, dumped to JSON as it is."""

from pydantic import BaseModel, ConfigDict


class Frozen(BaseModel):
    """An answer: never changed after it is given."""

    model_config = ConfigDict(frozen=True, extra="forbid")
