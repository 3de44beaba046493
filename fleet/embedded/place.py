"""Where the private servers keep their files, and under whose account they run."""

from __future__ import annotations

import hashlib
import os
import pwd
import stat
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from fleet.embedded.errors import EmbeddedError

DATABASE_NAME = "millrace"
DATABASE_USER = "millrace"
SOCKET_PORT = 5432  # only names the socket file; no TCP port is opened

# sun_path holds 108 bytes on Linux and 104 on macOS, the final NUL included.
_LONGEST_SOCKET_PATH = 103
_STATE_FOLDER_OF_ROOT = Path("/var/lib/millrace")
# `postgres` refuses to run as root, and initdb wants an account that has a name.
_ACCOUNTS = ("millrace", "postgres", "nobody")


@dataclass(frozen=True)
class Account:
    """The unprivileged account the servers run under when the commands run as root."""

    uid: int
    gid: int


@dataclass(frozen=True)
class Place:
    """The files of one private stack.

    `root` holds everything that must survive; `runtime` only sockets. Both lie in the data
    folder unless the servers' account cannot reach it or its path is too long for a socket.
    """

    home: Path
    root: Path
    runtime: Path
    account: Account | None

    @property
    def cluster(self) -> Path:
        return self.root / "cluster"

    @property
    def broker(self) -> Path:
        return self.root / "broker"

    @property
    def log(self) -> Path:
        return self.root / "log"

    @property
    def password_file(self) -> Path:
        return self.root / "pgpass"

    @property
    def supervisor_lock(self) -> Path:
        return self.root / "supervisor.lock"

    @property
    def spawn_lock(self) -> Path:
        return self.root / "spawn.lock"

    @property
    def sockets(self) -> Path:
        """Folder of the servers' own sockets, mode 0700, owned by their account."""
        return self.runtime / "s"

    @property
    def broker_socket(self) -> Path:
        return self.sockets / "broker"

    @property
    def supervisor_socket(self) -> Path:
        return self.runtime / "supervisor"

    def make(self) -> None:
        """Create the folders, if absent, and record `root` when it lies elsewhere."""
        open_mode = 0o711 if self.account else 0o700
        make_home(self.home)
        if self.root.parent != self.home:
            _make_folder(self.root.parent, open_mode)
        _make_folder(self.root, open_mode)
        if (owner := self.root.stat().st_uid) != os.geteuid():
            raise EmbeddedError(
                f"{self.root} belongs to user id {owner}, this command runs as {os.geteuid()}. "
                "Run it as that user, or set MILLRACE_DATA to a folder of your own."
            )
        _make_folder(self.log, 0o700)
        if self.root.parent != self.home:
            _record(self.home, self.root)

    def make_runtime(self) -> None:
        """Create the socket folders; refuse one that another user put in our way."""
        _make_folder(self.runtime, 0o711 if self.account else 0o700)
        found = self.runtime.lstat()
        if not stat.S_ISDIR(found.st_mode) or found.st_uid != os.geteuid():
            raise EmbeddedError(
                f"{self.runtime} exists but is not a folder of this user. Remove it, or set "
                "MILLRACE_DATA to a shorter path so that the sockets fit inside it."
            )
        self.sockets.mkdir(mode=0o700, exist_ok=True)
        self.give(self.sockets)

    def give(self, path: Path) -> None:
        """Hand a file or folder to the servers' account."""
        if self.account:
            os.chown(path, self.account.uid, self.account.gid)


def data_folder() -> Path:
    """Return the data folder, absolute: ``MILLRACE_DATA`` or the platform's own place."""
    if chosen := os.environ.get("MILLRACE_DATA"):
        return Path(chosen).expanduser().absolute()
    if os.geteuid() == 0:
        return _STATE_FOLDER_OF_ROOT  # /root is closed to the account the servers run under
    return Path(platformdirs.user_data_dir("millrace", appauthor=False))


def locate(home: Path | None = None) -> Place:
    """Say where the private stack of `home` lies; touches nothing."""
    home = home or data_folder()
    root, account = home / "embedded", None
    if os.geteuid() == 0:
        account = _account()
        root = _root_for(home, account)
        if (root / "cluster").exists():
            owner = (root / "cluster").stat()
            account = Account(owner.st_uid, owner.st_gid)
    return Place(home, root, _runtime(root), account)


def reachable(path: Path, account: Account) -> bool:
    """Tell whether `account` may pass through every existing folder on the way to `path`."""
    for folder in (path, *path.parents):
        if not folder.exists():
            continue
        found = folder.stat()
        if found.st_uid == account.uid:
            allowed = found.st_mode & stat.S_IXUSR
        elif found.st_gid == account.gid:
            allowed = found.st_mode & stat.S_IXGRP
        else:
            allowed = found.st_mode & stat.S_IXOTH
        if not allowed:
            return False
    return True


def make_home(home: Path) -> None:
    """Create the data folder; as root, passable by the servers' account but not readable."""
    _make_folder(home, 0o711 if os.geteuid() == 0 else 0o700)


def write_private(path: Path, text: str) -> None:
    """Write a secret to a new file of mode 0600, and through to the disk."""
    path.unlink(missing_ok=True)
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(descriptor)


def tail(path: Path) -> str:
    """Return the last eight lines of a log, for an error message."""
    try:
        return "\n".join(path.read_text("utf-8", "replace").splitlines()[-8:])
    except OSError:
        return "(no log)"


def _account() -> Account:
    names = (os.environ.get("MILLRACE_SERVER_ACCOUNT", ""), *_ACCOUNTS)
    for name in filter(None, names):
        try:
            entry = pwd.getpwnam(name)
        except KeyError:
            continue
        return Account(entry.pw_uid, entry.pw_gid)
    raise EmbeddedError(
        "PostgreSQL refuses to run as root and no unprivileged account was found "
        f"({', '.join(_ACCOUNTS)}). Name one in MILLRACE_SERVER_ACCOUNT."
    )


def _root_for(home: Path, account: Account) -> Path:
    inside = home / "embedded"
    if inside.exists():
        return inside
    if (note := home / "embedded.location").exists():
        return Path(note.read_text(encoding="utf-8").strip())
    if reachable(home.resolve(), account):
        return inside
    return _STATE_FOLDER_OF_ROOT / f"for-{_digest(home)}"


def _record(home: Path, root: Path) -> None:
    note = home / "embedded.location"
    if not note.exists():
        draft = home / f"embedded.location.{os.getpid()}"
        draft.write_text(f"{root}\n", encoding="utf-8")
        draft.replace(note)


def _runtime(root: Path) -> Path:
    inside = root / "run"
    longest = inside / "s" / f".s.PGSQL.{SOCKET_PORT}"
    if len(os.fsencode(longest)) <= _LONGEST_SOCKET_PATH:
        return inside
    return Path("/tmp") / f"millrace-{os.geteuid()}-{_digest(root)}"  # noqa: S108 - owner checked


def _digest(path: Path) -> str:
    return hashlib.sha256(os.fsencode(path)).hexdigest()[:12]


def _make_folder(path: Path, mode: int) -> None:
    try:
        if not path.is_dir():
            path.parent.mkdir(parents=True, exist_ok=True)
            path.mkdir(mode=mode)
            path.chmod(mode)  # whatever the umask is
    except OSError as error:
        if path.is_dir():
            return  # another process was quicker
        raise EmbeddedError(
            f"cannot create {path}: {error.strerror}. Set MILLRACE_DATA to a folder this "
            "user may write."
        ) from error
