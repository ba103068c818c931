"""One route of the staff pages, and the roles that pages are open to."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from server.models.staff import IN

CARE = ("nurse", "surgeon")  # who meets patients sees names and answers
KEEPING = ("surgeon", "data_manager")  # who may take data out
ALL = ("nurse", "surgeon", "data_manager")
MANAGER = ("data_manager",)


@dataclass(frozen=True)
class Route:
    """`roles` None: open to all, as signing in is. `stages`: what a session must be good for, by server.models.staff."""

    method: str
    path: str
    name: str
    view: Callable[..., Any]
    roles: tuple[str, ...] | None
    stages: tuple[str, ...] = (IN,)
