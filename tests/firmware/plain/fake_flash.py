"""A folder for tests under either interpreter."""

import os


def fresh(name):
    """An empty folder below the current one."""
    path = "tmp-" + name
    clear(path)
    os.mkdir(path)
    return path


def clear(path):
    try:
        names = os.listdir(path)
    except OSError:
        return
    for name in names:
        os.remove(path + "/" + name)
    os.rmdir(path)
