"""Where a lockout job stands after its events: who has which lock where, what is proved, who is exposed."""
from dataclasses import dataclass


@dataclass(frozen=True)
class LockoutState:
    pass
