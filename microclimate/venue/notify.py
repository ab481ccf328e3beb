"""Who is told when the advice changes: [notify]. Passwords and the webhook's address are never in the file."""

import re
from typing import Annotated, Self

from pydantic import Field, field_validator, model_validator
from pydantic_core import PydanticCustomError

from microclimate.venue.model import Model, Unit

_ADDRESS = re.compile(r"[^@\s<>,]+@[^@\s<>,]+")
_SERVER = re.compile(r"[A-Za-z0-9.-]+:\d{1,5}")


class Notify(Model):
    """E-mail and webhook of `microclimate run`; without this table nothing is sent."""

    email: tuple[str, ...] = Field((), description="addresses that get the message")
    sender: str = Field("", description="address it comes from")
    server: str = Field("", description="of outgoing mail, with its port: smtp.example.org:587")
    webhook: bool = Field(False, description="post it too, to the address in MICROCLIMATE_WEBHOOK")
    heartbeat: Annotated[float, Unit("h", 0, 24, kept=True)] | None = Field(
        12.0, description="local hour from which one message a day comes even if nothing changed"
    )

    @field_validator("email", mode="after")
    @classmethod
    def _addresses(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        for address in value:
            if not _ADDRESS.fullmatch(address):
                raise PydanticCustomError("address", "{found} is no e-mail address", {"found": repr(address)})
        return value

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.email and not (_ADDRESS.fullmatch(self.sender) and _SERVER.fullmatch(self.server)):
            raise PydanticCustomError(
                "notify", "email needs sender (an address) and server (such as smtp.example.org:587)", {}
            )
        return self
