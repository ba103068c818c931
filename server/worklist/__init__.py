"""What someone must do today, and why. Reads only."""

from server.worklist.listing import Worklist, list_work
from server.worklist.rows import WorkRow
from server.worklist.year_marks import Mark, history_marks

__all__ = ["Mark", "WorkRow", "Worklist", "history_marks", "list_work"]
