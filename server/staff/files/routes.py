"""Files that leave the clinic."""

from server.staff.files import files
from server.staff.page.route import KEEPING, Route

ROUTES = (
    Route("GET", "/files", "files", files.files, KEEPING),
    Route("POST", "/files", "download", files.download, KEEPING),
)
