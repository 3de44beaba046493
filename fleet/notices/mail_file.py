"""Mails as files, where no mail server is named: for trying out, read by the operator alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.mail.backends.filebased import EmailBackend as FileBackend


class EmailBackend(FileBackend):
    """Django's, in a folder that others on the machine cannot read: mails hold links that open."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Make the folder."""
        Path(settings.EMAIL_FILE_PATH).mkdir(mode=0o700, parents=True, exist_ok=True)
        super().__init__(*args, **kwargs)
