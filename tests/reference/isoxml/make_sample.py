#!/usr/bin/env python3
"""Writes the sample ISO 11783-10 task data set (original, invented numbers) and the
answer that a correct reader must give (expected_usage.csv). Standard library only."""
import csv, datetime as dt, os, struct
from xml.sax.saxutils import quoteattr as q

HERE = os.path.dirname(os.path.abspath(__file__))
OUT = os.path.join(HERE, "TASKDATA")
os.makedirs(OUT, exist_ok=True)

def el(tag, attrs, kids=()):
    a = "".join(f" {k}={q(str(v))}" for k, v in attrs.items())
    return f"<{tag}{a}/>" if not kids else f"<{tag}{a}>" + "".join(kids) + f"</{tag}>"

def dlv(ddi, value, det): return el("DLV", {"A": ddi, "B": value, "C": det})
def tim(a, b, typ, dlvs=(), secs=None):
    at = {"A": a, "B": b}
    if secs is not None: at["C"] = secs
    at["D"] = typ
    return el("TIM", at, dlvs)

# totals-capable process data: trigger bit 16 = total; property bit 2 = setable (task total);
# a total that is NOT setable is a lifetime counter.
def dpd(obj, ddi, prop, trig, name): return el("DPD", {"A": obj, "B": ddi, "C": prop, "D": trig, "E": name})
def dor(obj): return el("DOR", {"A": obj})
def det(i, obj, typ, name, num, parent, refs=()): return el("DET", {"A": i, "B": obj, "C": typ, "D": name, "E": num, "F": parent}, [dor(r) for r in refs])

devA = el("DVC", {"A": "DVC-1", "B": "Spreader A, two bins", "C": "1.0", "D": "A00A8000000003E9", "E": "SN-A-1001",
                  "F": "53505241303131", "G": "FF000000006E65"}, [
    det("DET-1", 1, 1, "Machine", 0, 0, [101, 102, 103, 104, 105, 106]),
    det("DET-2", 2, 2, "Spinner function", 1, 1, [107]),
    det("DET-3", 3, 3, "Bin 1", 2, 2, [108, 109]),
    det("DET-4", 4, 3, "Bin 2", 3, 2, [108, 109]),
    dpd(101, "0077", 3, 16, "Effective time"), dpd(102, "0078", 3, 16, "Ineffective time"),
    dpd(103, "0075", 3, 16, "Effective distance"),
    dpd(104, "010A", 1, 16, "Lifetime mass"), dpd(105, "010F", 1, 16, "Lifetime area"), dpd(106, "0112", 1, 16, "Lifetime eff. time"),
    dpd(107, "0074", 3, 16, "Area"),
    dpd(108, "0051", 3, 17, "Applied mass kg"), dpd(109, "0160", 3, 16, "Applied mass g"),
])
devB = el("DVC", {"A": "DVC-2", "B": "Spreader B, lime box", "C": "1.0", "D": "A00A8000000003EA", "E": "SN-B-1002",
                  "F": "53505242303131", "G": "FF000000006E65"}, [
    det("DET-11", 1, 1, "Machine", 0, 0, [101, 102, 103]),
    det("DET-12", 2, 2, "Spinner function", 1, 1, [104]),
    det("DET-13", 3, 3, "Box", 2, 2, [105]),
    dpd(101, "0077", 3, 16, "Effective time"), dpd(102, "0078", 3, 16, "Ineffective time"), dpd(103, "0112", 1, 16, "Lifetime eff. time"),
    dpd(104, "0074", 3, 16, "Area"), dpd(105, "0051", 3, 16, "Applied mass kg"),
])

products = [("PDT-1", "Urea 46-0-0", 770000), ("PDT-2", "Potash 0-0-60", 1000000), ("PDT-3", "Ag lime", 1400000), ("PDT-4", "Ammonium sulfate 21-0-0-24S", 1000000)]
pdts = [el("PDT", {"A": i, "B": n, "C": "PGP-1", "E": "0051", "F": 1, "H": d}) for i, n, d in products]

def task(i, name, field, status, kids): return el("TSK", {"A": i, "B": name, "C": "CTR-1", "D": "FRM-1", "E": field, "F": "WKR-1", "G": status}, kids)
def pan(p, d, stamp=None, **kw):
    at = {"A": p}; at.update(kw); at["E"] = d
    return el("PAN", at, [stamp] if stamp else [])
def dan(name, dvc): return el("DAN", {"A": name, "C": dvc})

tasks = []
# 1. Two bins, two products, one day, paused once: totals are running totals, only the last effective TIM counts.
#    Area sits on the spinner function. Applied mass is reported twice per bin, in kg (0051) and in g (0160).
tasks.append(task("TSK-1", "North 80 urea+potash", "PFD-1", 4, [
    tim("2026-04-14T08:05:00-05:00", "2026-04-14T10:00:00-05:00", 4, [
        dlv("0077", 5100, "DET-1"), dlv("0078", 1800, "DET-1"), dlv("0075", 9800000, "DET-1"), dlv("0074", 189000, "DET-2"),
        dlv("0051", 1890, "DET-3"), dlv("0160", 1890400, "DET-3"), dlv("0051", 3175, "DET-4"), dlv("0160", 3175100, "DET-4"),
        dlv("010A", 1405065, "DET-1"), dlv("010F", 62189000, "DET-1"), dlv("0112", 1205100, "DET-1")], 6900),
    tim("2026-04-14T10:00:00-05:00", "2026-04-14T10:40:00-05:00", 5, (), 2400),
    tim("2026-04-14T10:40:00-05:00", "2026-04-14T12:10:00-05:00", 4, [
        dlv("0077", 9000, "DET-1"), dlv("0078", 3300, "DET-1"), dlv("0075", 16700000, "DET-1"), dlv("0074", 322000, "DET-2"),
        dlv("0051", 3220, "DET-3"), dlv("0160", 3220300, "DET-3"), dlv("0051", 5410, "DET-4"), dlv("0160", 5409600, "DET-4"),
        dlv("010A", 1408630, "DET-1"), dlv("010F", 62322000, "DET-1"), dlv("0112", 1209000, "DET-1")], 5400),
    pan("PDT-1", "DET-3"), pan("PDT-2", "DET-4"), dan("A00A8000000003E9", "DVC-1")]))
# 2. Lime over two days: the day split is the difference of the running totals.
tasks.append(task("TSK-2", "Creek field lime", "PFD-2", 4, [
    tim("2026-04-20T13:00:00-05:00", "2026-04-20T17:30:00-05:00", 4, [
        dlv("0077", 11800, "DET-11"), dlv("0078", 4400, "DET-11"), dlv("0074", 108000, "DET-12"), dlv("0051", 60500, "DET-13"), dlv("0112", 3411800, "DET-11")], 16200),
    tim("2026-04-21T07:30:00-05:00", "2026-04-21T10:45:00-05:00", 4, [
        dlv("0077", 20300, "DET-11"), dlv("0078", 7600, "DET-11"), dlv("0074", 181500, "DET-12"), dlv("0051", 101650, "DET-13"), dlv("0112", 3420300, "DET-11")], 11700),
    pan("PDT-3", "DET-13"), dan("A00A8000000003EA", "DVC-2")]))
# 3. Product changed in the same bin half-way: the TIM total cannot be split, the time log can.
tasks.append(task("TSK-3", "West quarter AMS then urea", "PFD-1", 4, [
    tim("2026-05-05T09:00:00-05:00", "2026-05-05T11:00:00-05:00", 4, [
        dlv("0077", 6200, "DET-1"), dlv("0078", 1000, "DET-1"), dlv("0075", 11400000, "DET-1"), dlv("0074", 215000, "DET-2"), dlv("0051", 3100, "DET-3")], 7200),
    pan("PDT-4", "DET-3", el("ASP", {"A": "2026-05-05T09:00:00-05:00", "B": "2026-05-05T10:00:00-05:00", "D": 4})),
    pan("PDT-1", "DET-3", el("ASP", {"A": "2026-05-05T10:00:00-05:00", "B": "2026-05-05T11:00:00-05:00", "D": 4})),
    dan("A00A8000000003E9", "DVC-1"),
    el("TLG", {"A": "TLG00001", "C": 1})]))
# 4. Planned, never run: type 1 (planned) values are not usage.
tasks.append(task("TSK-4", "East forty, planned", "PFD-2", 1, [
    tim("2026-05-06T08:00:00-05:00", "2026-05-06T11:00:00-05:00", 1, [dlv("0074", 160000, "DET-2"), dlv("0051", 2400, "DET-3")], 10800), pan("PDT-1", "DET-3")]))
# 5. Run, but the controller wrote no totals: the hours are known, tons and acres are not.
tasks.append(task("TSK-5", "Home place, no totals", "PFD-2", 4, [
    tim("2026-05-07T14:00:00-05:00", "2026-05-07T15:30:00-05:00", 4, (), 5400), pan("PDT-2", "DET-4"), dan("A00A8000000003E9", "DVC-1")]))

root = el("ISO11783_TaskData", {"VersionMajor": 4, "VersionMinor": 3, "ManagementSoftwareManufacturer": "sample", "ManagementSoftwareVersion": "1",
          "TaskControllerManufacturer": "sample", "TaskControllerVersion": "1", "DataTransferOrigin": 2}, [
    el("CTR", {"A": "CTR-1", "B": "Sample customer"}), devA, devB,
    el("FRM", {"A": "FRM-1", "B": "Sample farm", "I": "CTR-1"}),
    el("PFD", {"A": "PFD-1", "C": "North 80", "D": 322500, "E": "CTR-1", "F": "FRM-1"}),
    el("PFD", {"A": "PFD-2", "C": "Creek field", "D": 182000, "E": "CTR-1", "F": "FRM-1"}),
    *pdts, el("PGP", {"A": "PGP-1", "B": "Dry products", "C": 1}), *tasks,
    el("WKR", {"A": "WKR-1", "B": "Operator"})])
open(os.path.join(OUT, "TASKDATA.XML"), "w", encoding="utf-8", newline="\n").write('<?xml version="1.0" encoding="UTF-8"?>\n' + root.replace("><", ">\n<") + "\n")

# time log: header names what varies (empty attribute) and the order of the values
hdr = el("TIM", {"A": "", "D": 4}, [el("PTN", {"A": "", "B": "", "D": ""}), dlv("0051", "", "DET-3"), dlv("0074", "", "DET-2")])
open(os.path.join(OUT, "TLG00001.xml"), "w", encoding="utf-8", newline="\n").write('<?xml version="1.0" encoding="UTF-8"?>\n' + hdr + "\n")
day = (dt.date(2026, 5, 5) - dt.date(1980, 1, 1)).days
buf = b""
# local wall-clock times; running totals kg and m2; value 0x0051 omitted where it did not change
rows = [("09:00:00", 0, 0), ("09:30:00", 900, 60000), ("09:59:00", 1720, 118000), ("10:01:00", None, 118400),
        ("10:30:00", 2400, 166000), ("11:00:00", 3100, 215000)]
for i, (hms, kg, m2) in enumerate(rows):
    h, m, s = map(int, hms.split(":"))
    vals = [(0, kg), (1, m2)]
    vals = [(ix, v) for ix, v in vals if v is not None]
    buf += struct.pack("<IHiiBB", ((h * 60 + m) * 60 + s) * 1000, day, int((41.9 + i * 1e-3) * 1e7), int((-93.6 - i * 1e-3) * 1e7), 1, len(vals))
    for ix, v in vals: buf += struct.pack("<Bi", ix, v)
open(os.path.join(OUT, "TLG00001.bin"), "wb").write(buf)

ACRE, LB = 4046.8564224, 0.45359237
exp = [  # task, date, machine serial, det, product, kg, m2 (None = unknown), effective h
    ("TSK-1", "2026-04-14", "SN-A-1001", "DET-3", "Urea 46-0-0", 3220, 322000, 2.5),
    ("TSK-1", "2026-04-14", "SN-A-1001", "DET-4", "Potash 0-0-60", 5410, 322000, 2.5),
    ("TSK-2", "2026-04-20", "SN-B-1002", "DET-13", "Ag lime", 60500, 108000, 11800/3600),
    ("TSK-2", "2026-04-21", "SN-B-1002", "DET-13", "Ag lime", 41150, 73500, 8500/3600),
    ("TSK-3", "2026-05-05", "SN-A-1001", "DET-3", "Ammonium sulfate 21-0-0-24S", 1720, 118000, None),
    ("TSK-3", "2026-05-05", "SN-A-1001", "DET-3", "Urea 46-0-0", 1380, 97000, None),
    ("TSK-5", "2026-05-07", "SN-A-1001", "DET-4", "Potash 0-0-60", None, None, 1.5)]
with open(os.path.join(HERE, "expected_usage.csv"), "w", newline="") as f:
    w = csv.writer(f); w.writerow("task date machine bin product applied_kg area_m2 effective_h applied_short_tons area_acres".split())
    for t in exp:
        kg, m2, h = t[5:]
        w.writerow([*t[:5], kg if kg is not None else "", m2 if m2 is not None else "", f"{h:.4f}" if h is not None else "",
                    f"{kg/LB/2000:.4f}" if kg is not None else "", f"{m2/ACRE:.3f}" if m2 is not None else ""])
print("written", len(buf), "bytes of time log,", len(rows), "records")
