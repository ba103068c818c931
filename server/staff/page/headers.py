"""The headers that every page carries, and those of every staff page: nothing foreign loads, nothing is framed, nothing is kept."""

from flask import Response, request

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "connect-src 'self'",
        "font-src 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "frame-src 'self'",
        "base-uri 'none'",
    )
)
A_YEAR = "max-age=31536000"
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Frame-Options": "DENY",
}


def protect_every_page(response: Response) -> Response:
    """What a page of the phone and a page of staff have in common."""
    response.headers["Permissions-Policy"] = "camera=(), geolocation=(), microphone=()"
    if request.is_secure:
        response.headers["Strict-Transport-Security"] = A_YEAR
    return response


def protect(response: Response) -> Response:
    """Sets the headers of a response that is not the phone's. What already says how it may be kept (style sheets) keeps that."""
    for name, value in HEADERS.items():
        response.headers[name] = value
    if "Cache-Control" not in response.headers:
        response.headers["Cache-Control"] = "no-store"
    return protect_every_page(response)
