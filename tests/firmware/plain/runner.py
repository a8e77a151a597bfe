"""Runs every test_* function of the case_* modules in this folder: for a plain interpreter without a test library.

Arguments: this folder, the firmware's folder, and names of modules (all where none is given). Prints a line a
failure and a last line with the count; ends with 1 where one failed.
"""

import os
import sys


def main(here, firmware, names):
    sys.path.insert(0, firmware)
    sys.path.insert(0, here)
    if not names:
        names = sorted(n[:-3] for n in os.listdir(here) if n.startswith("case_") and n.endswith(".py"))
    passed = failed = 0
    for name in names:
        module = __import__(name)
        for test in sorted(dir(module)):
            if not test.startswith("test_"):
                continue
            try:
                getattr(module, test)()
                passed += 1
            except Exception as error:
                failed += 1
                print("FAILED", name, test)
                if hasattr(sys, "print_exception"):
                    sys.print_exception(error)
                else:
                    import traceback

                    traceback.print_exc()
    print("passed", passed, "failed", failed)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2], sys.argv[3:]))
