"""What a long proof hands back: a line of the table."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Proof:
    name: str
    tried: str
    lost: str = "nothing"

    @property
    def good(self) -> bool:
        return self.lost == "nothing"
