"""Messages as files in a folder: the broker of the default install, which needs no server.

The stock transport writes a message under its final name, so that a reader can take it half
written, and carries it off to the system's temporary folder. Ours appears whole and stays at home.
"""

import json
import os
import uuid
from pathlib import Path
from queue import Empty
from time import monotonic_ns
from typing import Any

from kombu.transport import filesystem


class Channel(filesystem.Channel):
    """One message, one file, named so that names sort by age."""

    def _put(self, queue: str, payload: dict[str, Any], **kwargs: Any) -> None:  # type: ignore[override]  # noqa: ARG002
        folder = Path(self.data_folder_out)
        name = f"{monotonic_ns():020}_{uuid.uuid4().hex}"
        draft = folder / f"{name}.draft"
        draft.write_text(json.dumps(payload))
        draft.rename(folder / f"{name}.{queue}.msg")

    def _get(self, queue: str, timeout: float | None = None) -> Any:  # noqa: ARG002
        for path in sorted(Path(self.data_folder_in).glob(f"*.{queue}.msg")):
            mine = path.with_suffix(f".{os.getpid()}.taken")
            try:
                path.rename(mine)
            except FileNotFoundError:
                continue  # another worker was quicker
            payload = mine.read_text()
            mine.unlink()
            return json.loads(payload)
        raise Empty


class Transport(filesystem.Transport):
    """The stock transport with our channel."""

    Channel = Channel
