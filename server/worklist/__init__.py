"""What someone must do today, and why. Reads only."""

from server.worklist.listing import Worklist, list_work
from server.worklist.marks import Mark, history_marks
from server.worklist.rows import WorkRow

__all__ = ["Mark", "WorkRow", "Worklist", "history_marks", "list_work"]
