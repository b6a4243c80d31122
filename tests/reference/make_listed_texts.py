"""Writes listed_texts.parquet: texts kept as numbers into a list, by another library than the reader's.

Needs pyarrow 26.0.1 (or near) from the Python index; no part of the tests.
"""

from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq


def listed(values):
    return pa.array(values).dictionary_encode()


table = pa.table(
    {
        "part": listed(["F-1", "C-1", "C-2", "O-1"]),
        "on_hand": listed([8, 3, 1, 2.5]),
        "due": listed(["2025-02-01", None, "2025-03-01", None]),
        "shelf": listed(["left", "left", None, "right"]),
    }
)
pq.write_table(table, Path(__file__).parent / "listed_texts.parquet")
