"""The one exception by which a document or a request is refused with a reason."""


class Refused(Exception):
    """`path` is the key that is wrong, `reason` what is wrong with it."""

    def __init__(self, path: str, reason: str) -> None:
        super().__init__(path, reason)
        self.path = path
        self.reason = reason
