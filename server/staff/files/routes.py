"""Files that leave the clinic."""

from server.staff.files import files, locks
from server.staff.page.route import KEEPING, Route

ROUTES = (
    Route("GET", "/files", "files", files.files, KEEPING),
    Route("POST", "/files", "download", files.download, KEEPING),
    Route("POST", "/files/locks", "make_lock", locks.make, KEEPING),
    Route("GET", "/files/locks/<int:lock_id>", "data_lock", locks.data_lock, KEEPING),
    Route("POST", "/files/locks/<int:lock_id>", "download_lock", locks.download, KEEPING),
    Route("POST", "/files/locks/<int:lock_id>/changes", "lock_changes", locks.changes, KEEPING),
)
