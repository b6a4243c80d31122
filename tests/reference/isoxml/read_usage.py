#!/usr/bin/env python3
"""Plain reference reader: usage by task, day, machine, bin and product from an ISO 11783-10
task data folder. Standard library only; written from the rules in SOURCES.md.
  python3 read_usage.py TASKDATA > usage.csv"""
import csv, datetime as dt, os, struct, sys
import xml.etree.ElementTree as ET

KG, GRAM, AREA, T_EFF, T_INEFF = 0x0051, 0x0160, 0x0074, 0x0077, 0x0078
ACRE, LB = 4046.8564224, 0.45359237

def find(folder, name):                       # file names: ignore letter case
    for f in os.listdir(folder):
        if f.lower() == name.lower(): return os.path.join(folder, f)
    return None

def load(folder):
    root = ET.parse(find(folder, "TASKDATA.XML")).getroot()
    for x in root.findall("XFR"):             # split files: graft their children in
        p = find(folder, x.get("A") + ".XML")
        if p: root.extend(list(ET.parse(p).getroot()))
    return root

def local(s): return dt.datetime.fromisoformat(s.replace("Z", "+00:00")).replace(tzinfo=None)

def run_total(steps):
    """Growth of a running total over its steps; a smaller value means the counter restarted."""
    out, prev = [], 0
    for v in steps:
        out.append(v - prev if v >= prev else v)
        prev = v
    return out

def timelog(folder, name):
    h = ET.parse(find(folder, name + ".xml")).getroot()
    ptn = h.find("PTN")
    fields = [("A", "<i"), ("B", "<i"), ("C", "<i"), ("D", "<B"), ("E", "<H"), ("F", "<H"), ("G", "<B"), ("H", "<I"), ("I", "<H")]
    skip = sum(struct.calcsize(f) for a, f in fields if ptn is not None and ptn.get(a) == "")
    keys = [(int(d.get("A"), 16), d.get("C")) for d in h.findall("DLV")]
    raw, pos, last, rows = open(find(folder, name + ".bin"), "rb").read(), 0, {}, []
    while pos + 7 + skip <= len(raw):
        ms, day = struct.unpack_from("<IH", raw, pos); pos += 6 + skip
        n = raw[pos]; pos += 1
        if pos + 5 * n > len(raw): break      # cut-off last record
        for _ in range(n):
            ix, val = struct.unpack_from("<Bi", raw, pos); pos += 5
            last[keys[ix]] = val              # sparse: unchanged values are not repeated
        rows.append((dt.datetime(1980, 1, 1) + dt.timedelta(days=day, milliseconds=ms), dict(last)))
    return rows

def usage(folder):
    root = load(folder)
    product = {p.get("A"): p.get("B") for p in root.findall("PDT")}
    device, lifetime = {}, set()
    for d in root.findall("DVC"):
        dpd = {p.get("A"): p for p in d.findall("DPD")}
        for e in d.findall("DET"):
            device[e.get("A")] = d.get("E") or d.get("A")
            for r in e.findall("DOR"):
                p = dpd.get(r.get("A"))
                if p is not None and int(p.get("D")) & 16 and not int(p.get("C")) & 2:
                    lifetime.add((int(p.get("B"), 16), e.get("A")))
    for t in root.findall("TSK"):
        tims = sorted((x for x in t.findall("TIM") if x.get("D") == "4"), key=lambda x: local(x.get("A")))
        pans = [p for p in t.findall("PAN") if p.get("E") and p.get("D") in (None, "1")]
        bins = list(dict.fromkeys(p.get("E") for p in pans))
        if not tims or not bins: continue     # planned only, or nothing allocated
        series = {}
        for i, x in enumerate(tims):
            for v in x.findall("DLV"):
                k = (int(v.get("A"), 16), v.get("C"))
                if k not in lifetime: series.setdefault(k, {})[i] = int(v.get("B"))
        def daily(pred):
            """growth per calendar day, summed over the keys that pred accepts"""
            acc = {}
            for k, s in series.items():
                if not pred(k): continue
                ix = sorted(s)
                for i, g in zip(ix, run_total([s[i] for i in ix])):
                    d = local(tims[i].get("A")).date()
                    acc[d] = acc.get(d, 0) + g
            return acc
        def one_level(ddi, dev):
            """machine-wide quantity reported at several elements: take the largest, never the sum"""
            best = {}
            for k in series:
                if k[0] == ddi and device.get(k[1]) == dev:
                    c = daily(lambda q, k=k: q == k)
                    if sum(c.values()) > sum(best.values()): best = c
            return best
        for b in bins:
            dev, mine = device.get(b), [p for p in pans if p.get("E") == b]
            kg = daily(lambda k: k == (KG, b)) or {d: g / 1000 for d, g in daily(lambda k: k == (GRAM, b)).items()}
            m2, sec = one_level(AREA, dev), one_level(T_EFF, dev)
            if len({p.get("A") for p in mine}) > 1:             # product changed in this bin: only the time log can split it
                rows = [r for g in t.findall("TLG") for r in timelog(folder, g.get("A"))]
                prev = {}
                for p in sorted(mine, key=lambda p: local(p.find("ASP").get("A"))):
                    end = local(p.find("ASP").get("B"))
                    at = [r for r in rows if r[0] <= end]
                    if not at: continue
                    now = at[-1][1]; area = {k: v for k, v in now.items() if k[0] == AREA}
                    a = max(area.values(), default=None)
                    yield (t.get("A"), at[-1][0].date(), dev, b, product[p.get("A")], now.get((KG, b), 0) - prev.get("kg", 0),
                           None if a is None else a - prev.get("m2", 0), None)
                    prev = {"kg": now.get((KG, b), 0), "m2": a or 0}
                continue
            hours = {}
            for x in tims:                                       # fall-back clock when no time total was logged
                d = local(x.get("A")).date()
                s = int(x.get("C")) if x.get("C") else (local(x.get("B")) - local(x.get("A"))).total_seconds() if x.get("B") else 0
                hours[d] = hours.get(d, 0) + s
            for d in sorted(hours):
                yield (t.get("A"), d, dev, b, product[mine[0].get("A")], kg.get(d), m2.get(d), (sec.get(d, 0) or hours[d]) / 3600)

if __name__ == "__main__":
    w = csv.writer(sys.stdout, lineterminator="\r\n")
    w.writerow("task date machine bin product applied_kg area_m2 effective_h applied_short_tons area_acres".split())
    for task, day, dev, b, prod, kg, m2, h in usage(sys.argv[1]):
        w.writerow([task, day, dev, b, prod, "" if kg is None else f"{kg:g}", "" if m2 is None else m2, "" if h is None else f"{h:.4f}",
                    "" if kg is None else f"{kg/LB/2000:.4f}", "" if m2 is None else f"{m2/ACRE:.3f}"])
