"""What the documentation promises: the functions open no file, use no network, start no program."""

import subprocess
import sys

CALL_ALL = """
import sys
from tests.functions.catalogue_cases import FUNCTIONS, good_call
from xlfuncs import udfs

def call_all():
    for function in FUNCTIONS:
        getattr(udfs, function.name)(*good_call(function, size=8))

call_all()  # what is imported on the way is imported
done = []
sys.addaudithook(lambda event, arguments: done.append((event, arguments)))
{besides}
call_all()
wanted = ("open", "socket.", "subprocess.", "os.", "shutil.", "urllib.", "winreg.", "import")
print([event for event, _ in done if event.startswith(wanted)])
"""


def events(besides=""):
    code = CALL_ALL.format(besides=besides)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_no_file_no_network_no_program():
    assert events() == "[]"


def test_the_watcher_watches():
    assert events("open(sys.executable).close()") == "['open']"
