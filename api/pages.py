"""Pages that need nothing from outside: what a browser may do with them."""

import hashlib
from base64 import b64encode


def page_policy(style: str, *, inline_style: bool = False) -> str:
    """Nothing from outside, no script, and the page's own style alone.

    With `inline_style` the styles that drawings in the page carry hold too.
    """
    digest = b64encode(hashlib.sha256(style.encode()).digest()).decode()
    styles = "'unsafe-inline'" if inline_style else f"'sha256-{digest}'"
    return (
        f"default-src 'none'; style-src {styles}; img-src data:; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'none'"
    )
