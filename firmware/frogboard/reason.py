"""The one exception by which a document or a request is refused with a reason, and how a strange key is shown in it."""


class Refused(Exception):
    """`path` is the key that is wrong, `reason` what is wrong with it."""

    def __init__(self, path: str, reason: str) -> None:
        super().__init__(path, reason)
        self.path = path
        self.reason = reason


def shown(key: object) -> str:
    """An unknown key as it may stand in a reason: at most 40 characters, what is not printable ASCII as "?"."""
    return "".join([c if " " <= c <= "~" else "?" for c in str(key)[:40]])
