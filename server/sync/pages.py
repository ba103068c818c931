"""Serves the built phone app under /p/, with the clinic's numbers in its first page and its own strict policy."""

import base64
import gzip
import hashlib
import json
import re
from functools import cached_property, lru_cache
from pathlib import Path

from flask import Blueprint, Response, abort, request, send_from_directory

from server.fields.by_language import in_language
from server.models.clinic import Clinic
from server.queries.clock import the_clinic
from server.store.engine import Store

BUILT = Path(__file__).resolve().parent.parent / "static" / "pwa"
NOT_BUILT = "The phone app is not built. Run ./run demo or ./run test, which build it, then load this page again."


class PhoneApp:
    """The built files. index.html holds one inline script and one inline style; the policy names their hashes."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    @cached_property
    def index(self) -> str:
        return (self.folder / "index.html").read_text(encoding="utf-8")

    @cached_property
    def worker(self) -> str:
        return (self.folder / "sw.js").read_text(encoding="utf-8")

    @cached_property
    def build(self) -> str:
        return str(json.loads((self.folder / "build.json").read_text(encoding="utf-8"))["build"])

    @cached_property
    def files(self) -> frozenset[str]:
        return frozenset(path.relative_to(self.folder).as_posix() for path in self.folder.rglob("*") if path.is_file())

    @cached_property
    def policy(self) -> str:
        """The Content-Security-Policy of the phone's page: its own inline parts by their hashes, and nothing else."""
        scripts = [code for attributes, code in _inline("script", self.index) if "application/json" not in attributes]
        styles = [code for _attributes, code in _inline("style", self.index)]
        return "; ".join(
            (
                "default-src 'none'",
                f"script-src 'self' {_hashes(scripts)}",
                f"style-src 'self' {_hashes(styles)}",
                "connect-src 'self'",
                "img-src 'self' data:",
                "manifest-src 'self'",
                "worker-src 'self'",
                "base-uri 'none'",
                "form-action 'none'",
                "frame-ancestors 'self'",
            )
        )


def _inline(tag: str, page: str) -> list[tuple[str, str]]:
    found = re.findall(rf"<{tag}\b([^>]*)>(.*?)</{tag}>", page, flags=re.DOTALL)
    return [(attributes, code) for attributes, code in found if " src=" not in attributes]


def _hashes(blocks: list[str]) -> str:
    digests = (base64.b64encode(hashlib.sha256(block.encode()).digest()).decode() for block in blocks)
    return " ".join(f"'sha256-{digest}'" for digest in digests)


def _clinic_json(clinic: Clinic) -> str:
    shown = {
        "name": clinic.name,
        "phone": clinic.phone,
        "phone_hours": in_language(clinic.phone_hours, "", clinic.languages),
        "hours": dict(clinic.phone_hours),  # the page's language is chosen on the phone
        "closed_phone": clinic.closed_phone,
        "emergency_number": clinic.emergency_number,
        "demo": clinic.mode == "demo",
        "languages": clinic.languages.split(","),
    }
    return json.dumps(shown, ensure_ascii=False).replace("<", "\\u003c")


PACKED = {
    ".html": "text/html",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}


@lru_cache(maxsize=64)
def _packed(data: bytes) -> bytes:
    """Compressed once; on a slow line the first page is unusable otherwise. The same bytes each time."""
    return gzip.compress(data, 9, mtime=0)


def _sent(data: bytes, kind: str) -> Response:
    """With a tag of its content: the worker asks again for what the page just fetched, and is told that it has it."""
    if not request.accept_encodings.quality("gzip"):
        answer = Response(data, mimetype=kind)
    else:
        answer = Response(_packed(data), mimetype=kind, headers={"Content-Encoding": "gzip"})
    answer.vary.add("Accept-Encoding")
    answer.set_etag(hashlib.sha256(answer.get_data()).hexdigest()[:32])
    answer.make_conditional(request)  # changes it in place
    return answer


def make_phone_pages(store: Store, app: PhoneApp | None = None) -> Blueprint:
    """The blueprint that serves the phone's app, its manifest and its service worker under /p/."""
    pages = Blueprint("phone_pages", __name__, url_prefix="/p")
    built = app or PhoneApp(BUILT)

    def clinic_json() -> str:
        with store.reading() as session:
            return _clinic_json(the_clinic(session))

    def guarded(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = built.policy
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers.setdefault("Cache-Control", "no-cache")
        return response

    @pages.get("/")
    def first_page() -> Response:
        if not (built.folder / "index.html").exists():
            return Response(NOT_BUILT, status=503, mimetype="text/plain")
        return guarded(_sent(built.index.replace("__CLINIC_JSON__", clinic_json()).encode(), "text/html"))

    @pages.get("/sw.js")
    def worker() -> Response:
        numbers = hashlib.sha256(clinic_json().encode()).hexdigest()[:8]
        script = built.worker.replace("__BUILD__", f"{built.build}-{numbers}")
        return guarded(_sent(script.encode(), "text/javascript"))

    @pages.get("/<path:name>")
    def file(name: str) -> Response:
        if name not in built.files or name == "index.html":
            abort(404)
        path = built.folder / name
        if path.suffix in PACKED:
            return guarded(_sent(path.read_bytes(), PACKED[path.suffix]))
        return guarded(send_from_directory(built.folder, name))

    return pages
