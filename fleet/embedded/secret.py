"""The installation's secret key: made once, kept in the data folder."""

from __future__ import annotations

import contextlib
import os
import secrets

from fleet.embedded.errors import EmbeddedError
from fleet.embedded.place import data_folder, make_home, write_private


def secret_key() -> str:
    """Return the key in the data folder, made on first use (mode 0600).

    In a folder that cannot be written the key lasts as long as the process; the system check
    millrace.E001 reports that folder.
    """
    home = data_folder()
    kept = home / "secret_key"
    with contextlib.suppress(OSError):
        return kept.read_text("ascii").strip()
    fresh = secrets.token_urlsafe(50)
    with contextlib.suppress(EmbeddedError, OSError):
        make_home(home)
        draft = home / f"secret_key.{os.getpid()}.{secrets.token_hex(4)}"
        write_private(draft, fresh)
        try:
            os.link(draft, kept)  # fails if another process was quicker
        except FileExistsError:
            fresh = kept.read_text("ascii").strip()
        finally:
            draft.unlink()
    return fresh
