"""Files for a statistician: one table of columns, CSV, a codebook and a manifest. Reads only; never opens an envelope or scores."""

from server.exports.folder import ExportProblem, KeysMissing
from server.exports.manifest import Manifest
from server.exports.write import DIGEST_FOLDERS, count_operations, export_digest, export_set

__all__ = [
    "DIGEST_FOLDERS",
    "ExportProblem",
    "KeysMissing",
    "Manifest",
    "count_operations",
    "export_digest",
    "export_set",
]
