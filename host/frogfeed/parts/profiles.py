"""The board profiles that frogfeed carries: found by name, read from their files, refused unless they hold together."""

from __future__ import annotations

import functools
import tomllib
from pathlib import Path

from pydantic import ValidationError

from frogfeed import shipped
from frogfeed.parts import profile_rules
from frogfeed.parts.boards import BoardProfile


class ProfileError(Exception):
    """A profile that does not exist or does not hold together; the text says which, where and why."""


def names() -> tuple[str, ...]:
    """The names of the profiles that frogfeed carries, sorted."""
    return tuple(sorted(p.stem for p in shipped.boards_dir().glob("*.toml")))


@functools.cache
def profile(name: str) -> BoardProfile:
    """The profile of this name. Raises ProfileError where there is none or it does not hold together."""
    path = shipped.boards_dir() / f"{name}.toml"
    if name not in names():
        raise ProfileError(f"no board profile {name!r}; there are: {', '.join(names())}")
    return read_profile(path)


def read_profile(path: Path) -> BoardProfile:
    """A profile from a TOML file; its name is the file's. Raises ProfileError with every mistake at once."""
    try:
        board = BoardProfile(name=path.stem, **tomllib.loads(path.read_text(encoding="utf-8")))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise ProfileError(f"{path}: {error}") from error
    except (ValidationError, TypeError) as error:
        raise ProfileError(f"{path}: {_text(error)}") from error
    if problems := profile_rules.problems(board):
        raise ProfileError(f"{path}: {'; '.join(problems)}")
    return board


def _text(error: ValidationError | TypeError) -> str:
    if isinstance(error, TypeError):
        return str(error)
    return "; ".join(f"{'.'.join(str(k) for k in e['loc']) or 'profile'}: {e['msg']}" for e in error.errors())
