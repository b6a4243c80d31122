"""Writes small_types.parquet: a parts list as databases and data frames write it, with small whole numbers,
exact decimals, and columns of types that no records ask for.

Needs pyarrow 26.0.1 (or near) from the Python index; no part of the tests.
"""

from datetime import time, timedelta
from decimal import Decimal
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

table = pa.table(
    {
        "part": ["F-1", "C-1"],
        "family": ["spinner-fin", "conveyor-chain"],
        "price": pa.array([Decimal("19.95"), Decimal("640.00")], pa.decimal128(10, 2)),
        "pack": pa.array([4, 1], pa.int8()),
        "lead_days": pa.array([21, 300], pa.uint16()),
        "labor_hours": pa.array([0.5, 3.0], pa.float32()),
        "opened": pa.array([time(7, 30), time(8, 0)], pa.time64("us")),
        "shelf_life": pa.array([timedelta(days=3), None], pa.duration("us")),
        "bin": pa.array([{"row": 1, "side": "left"}, None], pa.struct([("row", pa.int8()), ("side", pa.string())])),
        "weight": pa.array([Decimal("1.125"), None], pa.decimal128(38, 3)),
    }
)
pq.write_table(table, Path(__file__).parent / "small_types.parquet")
