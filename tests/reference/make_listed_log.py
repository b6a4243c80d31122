"""Writes listed_log_1.parquet, listed_log_2.parquet and listed_numbers.parquet, of invented rows, with pyarrow.

Every column is a list of values and places in it, with gaps in some, in pages of a few rows, the first file
in data pages of the first version and the second in those of the second. Names are numbers in the third.

  pip install pyarrow==26.0.1 && python make_listed_log.py
"""
import datetime
import os

import pyarrow as pa
import pyarrow.parquet as pq

ROWS = 3000
HERE = os.path.dirname(os.path.abspath(__file__))


def rows(of):
    return [of(i * 2_654_435_761 % 2**32 >> 8, i) for i in range(ROWS)]


table = pa.table({
    "date": pa.array(rows(lambda r, i: datetime.date(2024, 1, 1) + datetime.timedelta(days=i // 40)), pa.date32()),
    "machine": rows(lambda r, i: f"M{r % 30}"),
    "product": rows(lambda r, i: None if r % 11 == 0 else ["lime", "urea", "a blend with a long name"][r % 3]),
    "bin": rows(lambda r, i: "rear" if i < 1000 else None if i < 2000 else [None, "front"][r % 2]),
    "acres": rows(lambda r, i: None if i % 700 < 300 else r % 97 / 10),
    "tons": rows(lambda r, i: r % 1000 / 100),
    "loads": pa.array(rows(lambda r, i: r % 9 - 4), pa.int32()),
    "ticket": pa.array(rows(lambda r, i: (r % 50) * 2**40), pa.int64()),
    "same": rows(lambda r, i: "one"),
    "empty": pa.array([None] * ROWS, pa.string()),
})
for version, compression in [("1.0", "zstd"), ("2.0", "snappy")]:
    pq.write_table(table, os.path.join(HERE, f"listed_log_{version[0]}.parquet"), compression=compression,
                   data_page_version=version, data_page_size=300, write_batch_size=50, use_dictionary=True)

names = pa.table({
    "date": pa.array([datetime.date(2024, 5, 1)] * 60, pa.date32()),
    "machine": pa.array([101 + i % 3 for i in range(60)], pa.int64()),
    "product": pa.array([None if i % 7 == 0 else 20.0 + i % 2 for i in range(60)], pa.float64()),
    "tons": pa.array([float(i) for i in range(60)]),
})
pq.write_table(names, os.path.join(HERE, "listed_numbers.parquet"))
