from frogboard import files
from frogboard.store import Store, crc_text, remembered
from frogboard.table import UNKNOWN

from documents import sealed, simple
from fake_flash import fresh


def write(path, data):
    with open(path, "wb") as file:
        file.write(data)


def test_an_empty_board_has_no_settings_and_says_so():
    store = Store(fresh("store"))
    assert store.load_settings() is None and store.reason == "none stored"
    assert store.load_positions() == {} and store.held("layout") is None


def test_settings_go_to_the_slot_that_is_not_in_force():
    root = fresh("store")
    store = Store(root)
    one, two = sealed(simple(1)), sealed(simple(2))
    assert store.commit_settings(one) == one[10:18].decode()
    assert store.slot() == 1
    store.commit_settings(two)
    assert store.slot() == 0
    doc, crc = Store(root).load_settings()
    assert len(doc["drives"]) == 2 and crc == two[10:18].decode()
    path, size, crc = store.held("settings")
    assert files.read(path) == two and size == len(two) and crc == crc_text(two)
    assert files.part(path, 20, 5) == two[20:25] and files.part(path + "x", 0, 1) is None


def test_a_damaged_slot_gives_the_other_one():
    root = fresh("store")
    store = Store(root)
    one, two = sealed(simple(1)), sealed(simple(2))
    store.commit_settings(one)
    store.commit_settings(two)
    write(root + "/settings.0", two[:-5])
    doc, _ = Store(root).load_settings()
    assert len(doc["drives"]) == 1
    write(root + "/settings.1", b"")
    assert Store(root).load_settings() is None


def test_positions_are_whole_or_nothing():
    root = fresh("store")
    store = Store(root)
    store.save_positions(["aaaaaaaa", "bbbbbbbb"], [(0, 1000), (UNKNOWN, 1700)])
    assert store.load_positions() == {"aaaaaaaa": (0, 1000), "bbbbbbbb": (2, 1700)}
    with open(root + "/positions", "rb") as file:
        data = file.read()
    for n in range(len(data)):
        write(root + "/positions", data[:n])
        assert store.load_positions() == {}
    for at in range(len(data)):
        write(root + "/positions", data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :])
        assert store.load_positions() == {}


def test_positions_of_32_drives_stay_below_512_bytes():
    """Littlefs keeps a file of at most an eighth of a block inside its folder's metadata."""
    root = fresh("store")
    Store(root).save_positions(["%08x" % i for i in range(32)], [(1, 2000)] * 32)
    with open(root + "/positions", "rb") as file:
        assert len(file.read()) <= 512


def test_trims_belong_to_one_settings_document():
    store = Store(fresh("store"))
    store.save_trims("12345678", [(0, 1, 1900)])
    assert store.load_trims("12345678") == [(0, 1, 1900)]
    assert store.load_trims("12345679") == []
    store.commit_settings(sealed(simple()))
    assert store.load_trims("12345678") == []


def test_a_torn_new_file_is_never_looked_at():
    root = fresh("store")
    store = Store(root)
    store.commit_settings(sealed(simple(1)))
    write(root + "/settings.at.new", b"")
    write(root + "/settings.0.new", b"half")
    assert len(Store(root).load_settings()[0]["drives"]) == 1


def test_what_is_remembered():
    ends = [1000, 2000]
    assert remembered(ends, None) == (UNKNOWN, 0)
    assert remembered(ends, (UNKNOWN, 1500)) == (UNKNOWN, 0)
    assert remembered(ends, (1, 1950)) == (1, 1950)
    assert remembered(ends, (1, 1000)) == (UNKNOWN, 0)


def test_crc():
    assert crc_text(b"123456789") == "cbf43926"
