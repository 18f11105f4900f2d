"""What every answer says to the browser about how to treat it."""

# Nothing comes from anywhere else, nothing runs that is not a file of ours, and nobody frames the page (W3C, Content
# Security Policy Level 3). `same-origin` keeps the Origin of our own forms; no-referrer would make it null.
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; form-action 'self'; "
        "frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(self)",
}
# A page shows how things stand now, to whoever is signed in now.
FRESH = {"Cache-Control": "no-store"}
# A file of ours is asked for again, and sent again only where it has changed.
CHECKED = {"Cache-Control": "no-cache"}
