"""Power cut at every erase and program of the flash, torn ones included, under the file system of the board.

A block device of 4096-byte blocks and 256-byte pages stands below VfsLfs2, with the port's parameters. At operation
number k the power goes: nothing of it was done, half of it, or all of it. Then the file system is mounted afresh,
and what is found must be the old contents or the new ones, whole. Under a plain CPython there is no VfsLfs2.
"""

import os

from frogboard import files
from frogboard.store import Store
from frogboard.table import UNKNOWN

from documents import sealed, simple

try:
    import vfs
except ImportError:
    vfs = None

BLOCK = 4096
BLOCKS = 40
PAGE = 256
HERE = "/flash"


class PowerCut(Exception):
    pass


class Flash:
    """NOR flash: programming turns bits off, erasing turns a block on."""

    def __init__(self, image=None):
        self.image = bytearray(b"\xff" * (BLOCK * BLOCKS)) if image is None else bytearray(image)
        self.operations = 0
        self.cut_at = -1
        self.tear = 0
        self.dead = False

    def _cut(self):
        """Whether the power goes now; afterwards nothing works any more."""
        self.operations += 1
        self.dead = self.operations - 1 == self.cut_at
        return self.dead

    def readblocks(self, block, buf, offset=0):
        if self.dead:
            return -5
        at = block * BLOCK + offset
        buf[:] = self.image[at : at + len(buf)]
        return 0

    def writeblocks(self, block, buf, offset=0):
        if self.dead:
            return -5
        assert len(buf) % PAGE == 0, "not whole pages"
        for page in range(0, len(buf), PAGE):
            at = block * BLOCK + offset + page
            cut = self._cut()
            count = (0, PAGE // 2, PAGE)[self.tear] if cut else PAGE
            for i in range(count):
                assert self.image[at + i] == 0xFF or cut, "programmed without an erase"
                self.image[at + i] &= buf[page + i]
            if cut:
                raise PowerCut()
        return 0

    def ioctl(self, op, arg):
        if op == 4:
            return BLOCKS
        if op == 5:
            return BLOCK
        if op == 6:
            if self.dead:
                return -5
            at = arg * BLOCK
            cut = self._cut()
            count = (0, BLOCK // 2, BLOCK)[self.tear] if cut else BLOCK
            self.image[at : at + count] = b"\xff" * count
            if cut:
                raise PowerCut()
            return 0
        return 0


def mount(flash):
    vfs.mount(vfs.VfsLfs2(flash, progsize=PAGE, readsize=32, lookahead=32), HERE)


def unmount():
    vfs.umount(HERE)


def prepared(work):
    """The image of a board on which `work(store)` was done."""
    flash = Flash()
    vfs.VfsLfs2.mkfs(flash, progsize=PAGE, readsize=32, lookahead=32)
    mount(flash)
    store = Store(HERE + "/data")
    store.prepare()
    work(store)
    unmount()
    return flash.image


def every_cut(name, before, work, judge):
    """`work` on the image `before`, cut at every operation in every way; `judge(store, done)` what is found."""
    flash = Flash(before)
    mount(flash)
    try:
        work(Store(HERE + "/data"))
    finally:
        unmount()
    total = flash.operations
    assert total > 0
    olds = news = 0
    for k in range(total):
        for tear in (0, 1, 2):
            flash = Flash(before)
            mount(flash)
            flash.operations, flash.cut_at, flash.tear = 0, k, tear
            cut = False
            try:
                work(Store(HERE + "/data"))
            except (PowerCut, OSError):
                cut = True
            finally:
                try:
                    unmount()
                except (PowerCut, OSError):
                    cut = True
            assert cut, "was not cut"
            again = Flash(flash.image)
            mount(again)
            try:
                new = judge(Store(HERE + "/data"))
            except Exception as error:
                print("  cut at", k, "tear", tear)
                raise error
            finally:
                unmount()
            news += new
            olds += not new
    print("  %s: %d operations, %d cuts: %d old, %d new" % (name, total, total * 3, olds, news))
    assert olds and news


def test_a_push_of_settings():
    if vfs is None:
        return
    old, new = sealed(simple(2)), sealed(simple(3))

    def first(store):
        store.commit_settings(sealed(simple(1)))
        store.commit_settings(old)
        store.save_positions(["%08x" % i for i in range(2)], [(0, 1000), (1, 2000)])

    def judge(store):
        text = store.settings_text()
        assert text in (old, new), "neither"
        doc, crc = store.load_settings()
        assert len(doc["drives"]) == (3 if text == new else 2)
        assert store.load_positions() == {"00000000": (0, 1000), "00000001": (1, 2000)}
        return text == new

    every_cut("push of settings", prepared(first), lambda store: store.commit_settings(new), judge)


def test_the_very_first_push():
    if vfs is None:
        return
    new = sealed(simple(1))

    def judge(store):
        text = store.settings_text()
        assert text in (None, new)
        return text == new

    every_cut("first push", prepared(lambda store: None), lambda store: store.commit_settings(new), judge)


def test_a_moving_mark_and_a_position():
    if vfs is None:
        return
    keys = ["%08x" % i for i in range(16)]
    rest = [(0, 1000)] * 16
    mark = [(UNKNOWN, 1000)] + rest[1:]
    there = [(1, 2000)] + rest[1:]
    for name, one, two in (("moving mark", rest, mark), ("position at rest", mark, there)):
        positions_cut(name, keys, one, two)


def positions_cut(name, keys, one, two):
    def judge(store):
        found = store.load_positions()
        assert found in (dict(zip(keys, one)), dict(zip(keys, two))), "neither"
        return found == dict(zip(keys, two))

    image = prepared(lambda store: store.save_positions(keys, one))
    every_cut(name, image, lambda store: store.save_positions(keys, two), judge)


def test_a_position_after_many_writes_when_a_block_is_full():
    """Writes fill a block of metadata now and then: the cut may come in its compaction."""
    if vfs is None:
        return
    keys = ["%08x" % i for i in range(16)]

    def many(store):
        for i in range(37):
            store.save_positions(keys, [(i & 1, 1000)] * 16)

    def work(store):
        for i in range(8):
            store.save_positions(keys, [(i & 1, 1500)] * 16)

    def judge(store):
        found = store.load_positions()
        assert len(found) == 16
        values = set(found.values())
        assert len(values) == 1 and values.pop() in ((0, 1000), (0, 1500), (1, 1500))
        return found[keys[0]][1] == 1500

    every_cut("positions over a full block", prepared(many), work, judge)


def test_the_layout_text():
    if vfs is None:
        return
    old, new = b"# old\n" * 200, b"# new\n" * 900

    def judge(store):
        text = files.read(store.held("layout")[0])
        assert text in (old, new)
        return text == new

    every_cut("layout text", prepared(lambda s: s.commit_layout(old)), lambda s: s.commit_layout(new), judge)


def test_firmware_in_a_fresh_folder_and_one_pointer():
    """What an install does: a new folder, file by file, then the pointer renamed; main.py must find a whole one."""
    if vfs is None:
        return
    names = ("a.py", "b.py", "c.py")

    def put(path, data):
        with open(path, "wb") as file:
            file.write(data)

    def install(folder, before, body):
        os.mkdir(HERE + "/" + folder)
        for name in names:
            put(HERE + "/" + folder + "/" + name, body)
        put(HERE + "/firmware.at.new", (folder + "\n" + before + "\nnew\n").encode())
        os.rename(HERE + "/firmware.at.new", HERE + "/firmware.at")

    def judge(store):
        with open(HERE + "/firmware.at") as file:
            folder = file.read().split("\n")[0]
        body = b"new" if folder == "fw2" else b"old"
        for name in names:
            with open(HERE + "/" + folder + "/" + name, "rb") as file:
                assert file.read() == body * 300
        return folder == "fw2"

    image = prepared(lambda store: install("fw1", "", b"old" * 300))
    every_cut("firmware", image, lambda store: install("fw2", "fw1", b"new" * 300), judge)


def test_a_day_of_throws_wears_little():
    """Erases counted over 1,000 throws of two writes each."""
    if vfs is None:
        return
    flash = Flash(prepared(lambda store: None))
    erases = [0]
    sound = flash.ioctl

    def ioctl(op, arg):
        if op == 6:
            erases[0] += 1
        return sound(op, arg)

    flash.ioctl = ioctl
    mount(flash)
    store = Store(HERE + "/data")
    keys = ["%08x" % i for i in range(16)]
    for i in range(1000):
        store.save_positions(keys, [(UNKNOWN, 1000)] * 16)
        store.save_positions(keys, [(i & 1, 1000)] * 16)
    unmount()
    print("  1000 throws: %d erases over %d blocks" % (erases[0], BLOCKS))
    assert erases[0] < 2000
