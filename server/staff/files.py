"""Files that leave the clinic: an export made on the spot and downloaded whole."""

import io
import tempfile
import zipfile
from pathlib import Path

from flask import Response, make_response, render_template

from server.exports import export_set
from server.staff.here import here, reading, runtime, who, writing
from server.trust.audit import audit

MEMBER_TIME = (1980, 1, 1, 0, 0, 0)  # a zip stores a time for each member; one for all keeps equal exports equal


def files() -> str:
    return render_template("staff/files.html")


def download() -> Response:
    """Rows are read in one consistent view; the audit entry is written before the file leaves."""
    machine = runtime()
    with tempfile.TemporaryDirectory(prefix="yearmark-export-") as folder:
        out = Path(folder) / "set"
        with reading() as session:
            export_set(session, out, library=machine.library, keys=machine.keys, today=here().today)
        packed = _zip(out)
    with writing() as session:
        audit(session, "export:downloaded", "export", now=here().now, by_id=who().id, bytes=len(packed))
    response = make_response(packed)
    response.mimetype = "application/zip"
    response.headers["Content-Disposition"] = f'attachment; filename="yearmark-{here().today}.zip"'
    return response


def _zip(folder: Path) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in sorted(path for path in folder.rglob("*") if path.is_file()):
            archive.writestr(zipfile.ZipInfo(str(file.relative_to(folder)), MEMBER_TIME), file.read_bytes())
    return packed.getvalue()
