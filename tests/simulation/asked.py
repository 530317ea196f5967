"""A simulated club behind the API: stored, fitted by its job, and asked as an organiser asks it."""

from typing import Any

import pandas as pd
from django.test import Client

from clubdata.models import Role
from tests.factories import make_member
from tests.simulation.stored import fit_now, store_club


class Asked:
    """Questions to one club by an HTTP client; what does not answer 200 is an error."""

    def __init__(self, slug: str, frame: pd.DataFrame) -> None:
        stored = store_club(slug, frame)
        organiser = make_member(stored.club, "A1", Role.ORGANISER, Role.ANALYST, login=True)
        self.run = fit_now(stored.club)
        self.waters = {name: water.uid for name, water in stored.waters.items()}
        self._root = f"/api/v1/clubs/{slug}/"
        self._client = Client()
        self._client.force_login(organiser.account)

    def get(self, path: str, **parameters: Any) -> Any:
        """The JSON at a path under the club.

        :raises RuntimeError: it answers with anything but 200.
        """
        answer = self._client.get(self._root + path, parameters)
        if answer.status_code != 200:
            raise RuntimeError(f"{path} answered {answer.status_code}: {answer.content[:200]!r}")
        return answer.json()

    def peg_form(self, water: str) -> Any:
        return self.get(f"waters/{self.waters[water]}/peg-form/")

    def advice(self, water: str, **parameters: Any) -> Any:
        return self.get(f"waters/{self.waters[water]}/advice/", **parameters)
