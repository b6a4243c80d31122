"""Runs a query over the usage log and the products, and saves its result.

  python run_sql.py datafusion|duckdb QUERY.sql USAGE.csv PRODUCTS.csv OUT.parquet

Needs the package of the engine named; `tests/suite/usage_sums.rs` says when it is run.
"""
import sys

engine, query, usage, products, out = sys.argv[1:]
sql = open(query).read().rstrip().rstrip(";")

if engine == "datafusion":
    import datafusion

    context = datafusion.SessionContext()
    for name, path in [("usage", usage), ("products", products)]:
        context.register_csv(name, path)
    context.sql(sql).write_parquet(out)
else:
    import duckdb

    context = duckdb.connect()
    for name, path in [("usage", usage), ("products", products)]:
        context.execute(f"CREATE VIEW \"{name}\" AS SELECT * FROM read_csv('{path}')")
    context.execute(f"COPY ({sql}) TO '{out}' (FORMAT parquet)")
