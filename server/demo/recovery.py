"""How an invented shoulder does over the years, on the SST's range of 0 to 12, from which all its answers are drawn.

Plausible, and nobody's data: about 3 to 4 before surgery, about 9 from the first year on, a plateau, and for some a slow loss.
"""

from dataclasses import dataclass, replace
from math import exp
from random import Random


@dataclass(frozen=True)
class Recovery:
    """`before` and `best` in points; from `plateau_years` after surgery on, `loss` points are lost each year."""

    before: float
    best: float
    plateau_years: float = 20.0
    loss: float = 0.0

    def ability(self, years: float) -> float:
        """Points at this time after surgery; negative or 0 is before it."""
        if years <= 0:
            return self.before
        recovered = 0.55 if years < 0.25 else 1 - exp(-3.6 * years)
        lost = self.loss * max(0.0, years - self.plateau_years)
        return min(12.0, max(0.0, self.before + (self.best - self.before) * recovered - lost))

    def failing(self, years: float) -> "Recovery":
        """The same, with a loss that leads to a revision `years` after surgery."""
        begins = max(0.5, years - 1.8)
        return replace(self, plateau_years=begins, loss=(self.best - self.before) / max(0.7, years - begins))

    def revised(self, years: float, random: Random) -> "Recovery":
        """After a revision: it begins where the shoulder was and does less well than the first time."""
        return Recovery(before=self.ability(years), best=min(10.0, max(4.0, random.gauss(7.4, 1.6))))


def draw_recovery(random: Random, implant_type: str) -> Recovery:
    """`implant_type` matters a little: a hemiarthroplasty may lose to glenoid erosion from its sixth year on."""
    hemi = implant_type.endswith("hemi")
    best = min(11.6, max(4.0, random.gauss(9.2 if hemi else 9.6, 1.6)))
    loses = random.random() < (0.28 if hemi else 0.12)
    return Recovery(
        before=min(7.0, max(0.5, random.gauss(3.5, 1.5))),
        best=best,
        plateau_years=random.uniform(5, 9) if loses else 20.0,
        loss=random.uniform(0.25, 0.6) if loses else 0.0,
    )
