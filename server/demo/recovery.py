"""How an invented shoulder does over the years, on the SST's range of 0 to 12, from which all its answers are drawn.

Nobody's data, but spread as published, so that what a visitor sees has the ceilings of the field. 408 arthroplasties scored 3.9 (SD 2.8)
before surgery and 10.2 (SD 2.3) two years after it (doi 10.1016/j.jse.2017.03.029); of 1,817 anatomic and 2,635 reverse ones 43 % and
34 % reached the top of the SST ("patients who achieve ceiling scores", J Shoulder Elbow Surg). A shoulder may do better than twelve
questions can tell: what lies above 12 is kept here, and answered as twelve. A later loss is this clinic's own invention.
"""

from dataclasses import dataclass, replace
from math import exp
from random import Random

BEST, TAIL, SPREAD = 13.2, 1.3, 2.2


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
        return max(0.0, self.before + (self.best - self.before) * recovered - lost)

    def failing(self, years: float) -> "Recovery":
        """The same, with a loss that leads to a revision `years` after surgery."""
        begins = max(0.5, years - 1.8)
        return replace(self, plateau_years=begins, loss=max(1.0, self.best - self.before) / max(0.7, years - begins))

    def revised(self, years: float, random: Random) -> "Recovery":
        """After a revision: it begins where the shoulder was and does less well than the first time."""
        return Recovery(before=self.ability(years), best=min(10.0, max(4.0, random.gauss(7.4, 1.6))))


def draw_recovery(random: Random, implant_type: str) -> Recovery:
    """`implant_type` matters a little: a hemiarthroplasty may lose to glenoid erosion from its sixth year on.

    Most do well and a tail does badly, as a score with a ceiling shows it.
    """
    hemi = implant_type.endswith("hemi")
    before = min(10.0, max(0.0, random.gauss(3.6, 3.0)))
    best = BEST - random.gammavariate(TAIL, SPREAD)
    loses = random.random() < (0.28 if hemi else 0.12)
    return Recovery(
        before=before,
        best=max(best, before - 1.0, 0.0),
        plateau_years=random.uniform(5, 9) if loses else 20.0,
        loss=random.uniform(0.25, 0.6) if loses else 0.0,
    )
