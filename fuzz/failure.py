"""A case that failed, and how it becomes a test."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path


@dataclass(frozen=True)
class Failure:
    """What happened, the body of a test that shows it, and the files that the test reads.

    The body finds the files in `FOLDER`.
    """

    what: str
    test: str
    files: Mapping[str, bytes] = field(default_factory=dict)

    @property
    def kind(self) -> str:
        """What happened, without the numbers in it: the same fault over and over is one."""
        return re.sub(r"\d+|\b[A-Z_]{4,}\b", "", self.what)

    def written(self, folder: Path, name: str) -> Path:
        """Write test and files into a folder."""
        folder.mkdir(parents=True, exist_ok=True)
        for file, content in self.files.items():
            (folder / f"{name}_{file}").write_bytes(content)
        body = "".join(f"    {line}\n" for line in self.test.splitlines())
        path = folder / f"test_{name}.py"
        path.write_text(
            f"# Found by `make fuzz`: {self.what!a}\nimport datetime\n"
            "from decimal import Decimal\nfrom pathlib import Path\n\nimport numpy as np\n"
            "from numpy import array\n\nfrom fuzz import cells, files, functions\n\n"
            f'FOLDER = Path(__file__).parent\nNAME = "{name}"\n'
            'nan, inf = float("nan"), float("inf")\n'
            f"\n\ndef test_{name}():\n{body}",
            encoding="utf-8",
        )
        return path


#: Tries cases for ever; of each it gives the failure, or None.
Attack = Callable[[random.Random], Iterator[Failure | None]]
