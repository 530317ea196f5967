"""The web process, asked for every answer that its schema names, has loaded none of the fitting side."""

import json
import urllib.error
import urllib.request
from typing import Any

import psutil
import pytest

from clubdata.demo.files import RETURNS_FILE
from tests.services.stage import Stage, free_port, wait_for
from tests.services.traced_wsgi import PAGE

pytestmark = pytest.mark.slow

# Loaded by a fit, and far too large for a process that only reads what it left.
FITTING_SIDE = {"pandas", "statsmodels", "scipy"}
MOST_MEMORY_MB = 250
OPEN_PAGES = ["/health/live", "/health/ready", "/api/schema/", "/api/docs/", "/admin/login/"]
# What a route cannot do without, by how its path ends.
QUERIES = {
    "/advice/": "month=3",
    "/pair/": "first=1&second=2",
    **dict.fromkeys(("/plan/", "/plan/page/", "/plan/rig/", "/plan/next/"), "peg=14&month=3"),
}


class Web:
    """A client of one web process."""

    def __init__(self, address: str, token: str) -> None:
        self._address, self._token = address, token

    def get(self, path: str, body: Any = None, accept: str = "*/*") -> tuple[int, bytes]:
        headers = {"Authorization": f"Bearer {self._token}", "Accept": accept}
        data = None
        if body is not None:
            headers["Content-Type"] = "application/json"
            data = json.dumps(body).encode()
        request = urllib.request.Request(self._address + path, headers=headers, data=data)  # noqa: S310
        try:
            with urllib.request.urlopen(request, timeout=60) as response:  # noqa: S310
                return response.status, response.read()
        except urllib.error.HTTPError as error:
            return error.code, error.read()
        except OSError:
            return 0, b""

    def json(self, path: str) -> Any:
        status, text = self.get(path)
        assert status == 200, (path, status, text[:500])
        return json.loads(text)


@pytest.fixture
def web(files: Stage) -> tuple[Web, psutil.Process]:
    """A web process over a club that has returns and a fit."""
    office = files.office()
    office("open_club")
    assert office("work", job_id=office("want_import", sheet=str(RETURNS_FILE))) == "finished"
    assert office("work", job_id=office("want_fit")) == "finished"
    token = office("sign_in_with_every_role")
    port = free_port()
    files.environ["CLUBDATA_BIND"] = f"127.0.0.1:{port}"
    application = "tests.services.traced_wsgi:application"
    process = files.start("-m", "gunicorn", "--config", "api/server.py", application)
    client = Web(f"http://127.0.0.1:{port}", token)
    wait_for(lambda: client.get("/health/live")[0] == 200, what="the web process")
    return client, process


def test_every_answer_comes_without_the_fitting_side(
    web: tuple[Web, psutil.Process], capsys: pytest.CaptureFixture[str]
) -> None:
    client, gunicorn = web
    for path in OPEN_PAGES:
        assert client.get(path)[0] == 200, path
    # With a figure to check, so that every list has a first.
    assert client.get("/api/v1/clubs/heron/returns/", hand_in(client))[0] == 201
    asked = [address_of(client, template) for template in routes(client)]
    assert any("/advice/" in path for path in asked) and len(asked) > 10
    for path in asked:
        assert client.get(path)[0] == 200, path
    assert client.get("/api/v1/clubs/heron/fits/", {})[0] == 202

    (process,) = gunicorn.children()
    json_mb = process.memory_info().rss / 1e6
    assert json_mb < MOST_MEMORY_MB
    assert "matplotlib" not in client.json(PAGE), "nobody has asked for a chart"
    forms = [form for template, route in routes(client).items() for form in forms_of(client, template, route)]
    assert {media_type for _, media_type in forms} >= {"text/csv", "image/svg+xml", "image/png"}
    for path, media_type in forms:
        # 409: of so few returns there may be nothing to draw.
        assert client.get(path, accept=media_type)[0] in {200, 409}, (path, media_type)

    modules = client.json(PAGE)
    loaded = {name.partition(".")[0] for name in modules}
    assert {"numpy", "matplotlib", "pyarrow", "openpyxl"} <= loaded
    assert loaded & FITTING_SIDE == set()
    assert "matplotlib.pyplot" not in modules
    all_mb = process.memory_info().rss / 1e6
    with capsys.disabled():
        print(f"\nweb process: {json_mb:.0f} MB after {len(asked)} answers, {all_mb:.0f} in every form")  # noqa: T201


def routes(client: Web) -> dict[str, Any]:
    """Every path of the schema that can be read as JSON, with what the schema says of reading it."""
    status, text = client.get("/api/schema/?format=json")
    assert status == 200, text[:500]
    paths = json.loads(text)["paths"]
    reads = {template: methods["get"] for template, methods in paths.items() if "get" in methods}
    return {
        template: read
        for template, read in reads.items()
        if "application/json" in read["responses"]["200"]["content"]
    }


def forms_of(client: Web, template: str, route: Any) -> list[tuple[str, str]]:
    """The address of an answer with each media type beside JSON that the schema has for it."""
    others = set(route["responses"]["200"].get("content", {})) - {"application/json"}
    return [(address_of(client, template), media_type) for media_type in sorted(others)]


def address_of(client: Web, template: str) -> str:
    """The template with the club's name and, for an id, that of the first thing in the list above it."""
    path = template.replace("{slug}", "heron").replace("{name}", "hook-16")
    above, is_nested, _ = path.partition("{uid}")
    if is_nested:
        path = path.replace("{uid}", client.json(above)["results"][0]["uid"])
    query = next((query for ending, query in QUERIES.items() if path.endswith(ending)), "")
    return f"{path}?{query}" if query else path


def hand_in(client: Web) -> dict[str, Any]:
    part = {"hook_bait": "casters", "distance_m": 11, "main_line_mm": 0.1, "hooklength_mm": 0.18}
    said = {"water": "Heron Mere", "peg": "14", "fished_on": "2024-06-16", "hours": 5}
    return {**said, "outcome": "weighed", "weight": "12lb 8oz", "parts": [part]}
