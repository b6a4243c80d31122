#!/usr/bin/env python3
"""Writes library_v3.zip with the general-purpose package `isoxml` (pip install isoxml==0.0.4), and
library_v3_expected.csv from the plan below by arithmetic alone: no reader of task data is used.

Version 3, the tasks in an external file (XFR), a machine without a serial number, three stretches
over two days whose counter restarts once, grams only, area at the sections too, and a task of a
second machine that never ran."""
import csv
import os
import zipfile

import isoxml.models.base.v3 as iso
from isoxml.util.isoxml_io import isoxml_to_zip
from xsdata.models.datatype import XmlDateTime

HERE = os.path.dirname(os.path.abspath(__file__))
ACRE, TON = 4046.8564224, 907.18474

# The plan: (start, stop, grams of bin A and of bin B, square metres, seconds) added in each stretch.
STRETCHES = [
    ("2025-10-06T07:15:00", "2025-10-06T11:45:00", 4_250_500, 1_900_250, 410_000, 12_600),
    ("2025-10-06T12:30:00", "2025-10-06T16:00:00", 3_100_000, 1_500_000, 305_500, 9_900),
    ("2025-10-07T08:00:00", "2025-10-07T09:30:00", 1_000_250, 600_125, 99_000, 4_050),
]
# After the second stretch the controller lost its power: its counters start again at 0.
RESTART_BEFORE = 2


def ddi(number):
    return bytes.fromhex(f"{number:04X}")


def value(number, amount, element):
    return iso.DataLogValue(process_data_ddi=ddi(number), process_data_value=amount, device_element_id_ref=element)


def time(start, stop, kind, values=()):
    moment = XmlDateTime.from_string
    return iso.Time(start=moment(start), stop=moment(stop), type=kind, data_log_values=list(values))


def element(number, kind, parent, name=None):
    return iso.DeviceElement(id=f"DET-{number}", object_id=number, type=kind, designator=name, number=number - 1, parent_object_id=parent)


kinds = iso.DeviceElementType
rig = iso.Device(
    id="DVC-1", designator="autumn rig", working_set_master_name=bytes.fromhex("A00A800000000777"),
    structure_label=bytes.fromhex("01020304050607"), localization_label=bytes.fromhex("FF000000006E65"),
    elements=[element(1, kinds.Device, 0), element(2, kinds.Function, 1), element(3, kinds.Bin, 2, "A"), element(4, kinds.Bin, 2, "B"),
              element(5, kinds.Section, 2), element(6, kinds.Section, 2)])

running, times = [0, 0, 0, 0], []
for number, (start, stop, *added) in enumerate(STRETCHES):
    if number == RESTART_BEFORE:
        running = [0, 0, 0, 0]
    running = [a + b for a, b in zip(running, added)]
    a, b, area, seconds = running
    times.append(time(start, stop, iso.TimeType.Effective, [
        value(0x0160, a, "DET-3"), value(0x0160, b, "DET-4"), value(0x0074, area, "DET-2"),
        value(0x0074, area // 2, "DET-5"), value(0x0074, area - area // 2, "DET-6"), value(0x0077, seconds, "DET-1")]))
    times.append(time(stop, stop, iso.TimeType.Ineffective))


def product(task_product, bin_id):
    return iso.ProductAllocation(product_id_ref=task_product, device_element_id_ref=bin_id)


tasks = [
    iso.Task(id="TSK1", designator="back forty", status=iso.TaskStatus("4"), times=times,
             product_allocations=[product("PDT1", "DET-3"), product("PDT2", "DET-4")],
             device_allocations=[iso.DeviceAllocation(working_set_master_name_value=bytes.fromhex("A00A800000000777"), device_id_ref="DVC-1")]),
    iso.Task(id="TSK2", designator="next week", status=iso.TaskStatus("1"),
             times=[time("2025-10-13T08:00:00", "2025-10-13T09:00:00", iso.TimeType.Planned)], product_allocations=[product("PDT1", "DET-3")]),
]
data = iso.Iso11783TaskData(
    version_minor=iso.Iso11783TaskDataVersionMinor("3"),
    management_software_manufacturer="sample", management_software_version="1", task_controller_manufacturer="sample",
    task_controller_version="1", data_transfer_origin=iso.Iso11783TaskDataDataTransferOrigin.MICS, devices=[rig],
    products=[iso.Product(id="PDT1", designator="DAP 18-46-0"), iso.Product(id="PDT2", designator="Potash, coarse")],
    external_file_references=[iso.ExternalFileReference(filename="TSK00001", filetype=iso.ExternalFileReferenceType.XML)])
target = os.path.join(HERE, "library_v3.zip")
isoxml_to_zip(target, data, {"TSK00001": iso.ExternalFileContents(tasks=tasks)})
with zipfile.ZipFile(target) as archive:  # the same bytes every time, and compressed
    files = {name: archive.read(name) for name in archive.namelist()}
with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
    for name, content in files.items():
        archive.writestr(zipfile.ZipInfo(name, (2025, 10, 8, 0, 0, 0)), content, zipfile.ZIP_DEFLATED)

with open(os.path.join(HERE, "library_v3_expected.csv"), "w", newline="") as out:
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow("date bin product kilograms tons acres hours".split())
    for index, (name, bin_id) in enumerate([("DAP 18-46-0", "DET-3"), ("Potash, coarse", "DET-4")]):
        for day in ("2025-10-06", "2025-10-07"):
            of_day = [s for s in STRETCHES if s[0].startswith(day)]
            kg = sum(s[2 + index] for s in of_day) / 1000
            rows.writerow([day, bin_id, name, f"{kg:.3f}", f"{kg / TON:.6f}",
                           f"{sum(s[4] for s in of_day) / ACRE:.6f}", f"{sum(s[5] for s in of_day) / 3600:.6f}"])
