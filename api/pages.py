"""Pages that need nothing from outside: what a browser may do with them."""

import hashlib
from base64 import b64encode


def page_policy(*styles: str) -> str:
    """Nothing from outside, no script, and these styles alone, of the page and of drawings in it."""
    digests = " ".join(f"'sha256-{_digest(style)}'" for style in styles)
    return (
        f"default-src 'none'; style-src {digests}; img-src data:; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'none'"
    )


def _digest(style: str) -> str:
    return b64encode(hashlib.sha256(style.encode()).digest()).decode()
