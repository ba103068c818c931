"""A set of files as one zip file: equal sets are equal bytes."""

import io
import zipfile
from pathlib import Path

MEMBER_TIME = (1980, 1, 1, 0, 0, 0)  # a zip stores a time for each member; one for all keeps equal exports equal
FOLDER = "yearmark"


def zipped(folder: Path) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in sorted(path for path in folder.rglob("*") if path.is_file()):
            member = zipfile.ZipInfo(f"{FOLDER}/{file.relative_to(folder).as_posix()}", MEMBER_TIME)
            archive.writestr(member, file.read_bytes(), zipfile.ZIP_DEFLATED)
    return packed.getvalue()
