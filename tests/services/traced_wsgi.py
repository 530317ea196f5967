"""The real application, with one more page: which of the named modules its process has loaded."""

import json
import sys
from collections.abc import Callable, Iterable
from typing import Any

from api.wsgi import application as real

PAGE = "/loaded-modules"


def application(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    if environ["PATH_INFO"] != PAGE:
        return real(environ, start_response)
    start_response("200 OK", [("Content-Type", "application/json")])
    return [json.dumps(sorted(sys.modules)).encode()]
