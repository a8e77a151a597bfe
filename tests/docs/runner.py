"""Does what a page tells its reader to do, in a folder of its own: writes its files, runs its commands in order."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import threading
import time
from pathlib import Path

import click
import tomlkit
from click.testing import CliRunner
from tomlkit.items import AbstractTable

from frogfeed.cli import main
from tests.docs.pages import Block, Command, blocks, commands

WAIT_S = 60.0
"""How long a command left running may take to print what the page shows; it is far quicker."""

_PORT = re.compile(r"/dev/pts/\d+")


class Reader:
    """A reader of one page. `close` ends what was left running."""

    def __init__(self, page: Path, folder: Path) -> None:
        self.page = page
        self.folder = folder
        self._ports: dict[str, str] = {}
        self._running: list[_Running] = []

    def read(self) -> int:
        """Follow the whole page; returns how many commands were run."""
        done = 0
        for block in blocks(self.page):
            if block.words[:1] == ("toml",):
                self._toml(block)
            elif block.words[:1] == ("console",):
                done += self._console(block)
        return done

    def close(self) -> None:
        """End what was left running."""
        for running in self._running:
            running.end()

    def _toml(self, block: Block) -> None:
        if name := block.value("file"):
            (self.folder / name).write_text(block.text, encoding="utf-8")
        elif name := block.value("into"):
            path = self.folder / name
            whole = tomlkit.parse(path.read_text(encoding="utf-8"))
            _merge(whole, tomlkit.parse(block.text))
            path.write_text(tomlkit.dumps(whole), encoding="utf-8")

    def _console(self, block: Block) -> int:
        found = commands(block)
        for i, command in enumerate(found):
            where = f"{self.page.name}:{command.line}: {command.text}"
            if "board" in block.words:
                parse_only(command.text, where)
            elif "background" in block.words:
                self._start(command, where)
            else:
                code = int(block.value("exit") or 0) if i == len(found) - 1 else 0
                self._run(command, code, where)
        return len(found)

    def _run(self, command: Command, code: int, where: str) -> None:
        words = self._words(command.text, where)
        before = Path.cwd()
        os.chdir(self.folder)
        try:
            result = CliRunner().invoke(main, words, prog_name="frogfeed")
        finally:
            os.chdir(before)
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise AssertionError(where) from result.exception
        assert result.exit_code == code, f"{where}\nended with {result.exit_code}, not {code}:\n{result.output}"
        missing = first_missing(command.shown, result.output)
        assert missing is None, (
            f"{where}\nthe page shows what the program does not print:\n{missing}\n\n{result.output}"
        )

    def _start(self, command: Command, where: str) -> None:
        running = _Running(self._words(command.text, where), self.folder)
        self._running.append(running)
        printed = running.wait_for(command.shown, where)
        for shown, real in zip(_unique(command.shown), _unique(printed), strict=False):
            self._ports[shown] = real

    def _words(self, text: str, where: str) -> list[str]:
        words = shlex.split(_PORT.sub(lambda m: self._ports.get(m[0], m[0]), text))
        assert words[0] == "frogfeed", f"{where}: only frogfeed is run"
        return words[1:]


class _Running:
    """A command left running, with what it has printed so far."""

    def __init__(self, words: list[str], folder: Path) -> None:
        program = "from frogfeed.cli import main; main(prog_name='frogfeed')"
        self._child = subprocess.Popen(
            [sys.executable, "-u", "-c", program, *words],
            cwd=folder,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self._printed: list[str] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self._child.stdout is not None
        self._printed.extend(iter(self._child.stdout.readline, ""))

    def wait_for(self, shown: str, where: str) -> str:
        """What it printed, once that holds all that the page shows."""
        ends = time.monotonic() + WAIT_S
        while first_missing(shown, "".join(self._printed)) is not None:
            text = "".join(self._printed)
            assert self._child.poll() is None, f"{where}\nended with {self._child.returncode}:\n{text}"
            assert time.monotonic() < ends, f"{where}\nhas not printed {first_missing(shown, text)!r}:\n{text}"
            time.sleep(0.05)
        return "".join(self._printed)

    def end(self) -> None:
        """End it as Ctrl-C would, or harder."""
        self._child.send_signal(2)
        try:
            self._child.wait(10)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.wait()
        self._reader.join(5)


def parse_only(text: str, where: str) -> None:
    """Hold a command's name and options against the program without running it."""
    words = shlex.split(text)
    assert words[0] == "frogfeed", f"{where}: only frogfeed is run"
    command: click.Command = main
    context = click.Context(main, info_name="frogfeed")
    words = words[1:]
    while isinstance(command, click.Group) and words and not words[0].startswith("-"):
        found = command.get_command(context, words[0])
        assert found is not None, f"{where}: there is no command {words[0]!r}"
        command, words = found, words[1:]
        context = click.Context(command, parent=context, info_name=command.name)
    options = {o for p in command.params for o in (*p.opts, *p.secondary_opts)}
    for word in words:
        if word.startswith("-"):
            assert word.partition("=")[0] in options, f"{where}: there is no option {word}"


def first_missing(shown: str, printed: str) -> str | None:
    """The first part of what a page shows that was not printed, in order; numbers and white space may differ."""
    rest = _plain(printed)
    for part in re.split(r"\.\.\.", shown):
        wanted = _plain(part)
        at = rest.find(wanted)
        if at < 0:
            return part.strip()
        rest = rest[at + len(wanted) :]
    return None


def _plain(text: str) -> str:
    return " ".join(re.sub(r"\d+(\.\d+)?", "#", text).split())


def _unique(text: str) -> list[str]:
    return list(dict.fromkeys(_PORT.findall(text)))


def _merge(into: AbstractTable | tomlkit.TOMLDocument, part: AbstractTable | tomlkit.TOMLDocument) -> None:
    for key, value in part.items():
        old = into.get(key)
        if isinstance(old, AbstractTable) and isinstance(value, AbstractTable):
            _merge(old, value)
        else:
            into[key] = value
