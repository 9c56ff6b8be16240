"""The one place that reads the process environment, and where local data is kept.

Without any variable set, the site runs by itself for one office: SQLite, a folder for mail,
a generated secret. Each variable that production sets is listed in `.env.example`. A variable
`NAME_FILE` may name a file that holds the value of `NAME`, so that secrets stay out of the
environment.
"""

import secrets
from pathlib import Path

import environ

ROOT = Path(__file__).resolve().parent.parent

env = environ.FileAwareEnv()


def data_folder() -> Path:
    """Return the folder for the local database, mail and uploads, made if it is missing."""
    folder = Path(env.str("EBBMARK_DATA", default=str(ROOT / ".ebbmark"))).expanduser()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder.resolve()


def default_database_url() -> str:
    """Return the address of the local SQLite database."""
    return f"sqlite:///{data_folder() / 'ebbmark.sqlite3'}"


def secret_key() -> str:
    """Return SECRET_KEY, or the one made for this folder on first use.

    Several processes may start at once: the file is made by a hard link, which only the first
    of them gets, and all read what it wrote.
    """
    given = env.str("SECRET_KEY", default="")
    return given or _kept_secret(data_folder() / "secret_key")


def secret_is_generated() -> bool:
    """Tell whether the secret was made here, not given: fit for one machine only."""
    return not env.str("SECRET_KEY", default="")


def _kept_secret(kept: Path) -> str:
    if not kept.exists():
        draft = kept.with_name(f"{kept.name}.{secrets.token_hex(8)}")
        draft.touch(mode=0o600)
        draft.write_text(secrets.token_urlsafe(64), encoding="ascii")
        try:
            kept.hardlink_to(draft)
        except FileExistsError:
            pass
        finally:
            draft.unlink()
    return kept.read_text(encoding="ascii").strip()
