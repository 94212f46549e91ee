"""Reads what was taken out with libraries that know nothing of Guyline, and prints what they found.

A folder is given: readings.csv, readings.json, readings.parquet, schema.json, due.ics, sites.geojson
and placed.geojson. Anything a standard forbids ends the script with its reason.
"""

import csv
import json
import sys
from pathlib import Path

import icalendar
import jsonschema
import pyarrow.parquet

folder = Path(sys.argv[1])


def the_json():
    """The rows, which the published schema allows and which a slip would not pass."""
    schema = json.loads((folder / "schema.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    whole = json.loads((folder / "readings.json").read_text())
    validator.validate(whole)
    spoilt = json.loads((folder / "readings.json").read_text())
    spoilt["readings"][0]["verdict"] = "fine"
    assert not validator.is_valid(spoilt), "a verdict that is none passes the schema"
    return whole["readings"]


def the_csv():
    """The rows as texts; RFC 4180 wants CRLF and has no byte-order mark."""
    raw = (folder / "readings.csv").read_bytes()
    assert not raw.startswith(b"\xef\xbb\xbf"), "a byte-order mark"
    assert raw.endswith(b"\r\n") and raw.count(b"\n") == raw.count(b"\r\n"), "a bare line end"
    with open(folder / "readings.csv", encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def as_text(value):
    """A value as its cell should hold it, before anything is made harmless."""
    if value is None:
        return ""
    return str(value).lower() if isinstance(value, bool) else str(value)


def same(text, value):
    """Whether a cell holds a value."""
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return text in (as_text(value), "'" + as_text(value))
    return float(text) == value


def the_calendar():
    """Uids and days of the events, from lines that are folded as RFC 5545 wants them."""
    raw = (folder / "due.ics").read_bytes()
    assert all(len(line) <= 75 for line in raw.split(b"\r\n")), "a line of more than 75 octets"
    assert raw.count(b"\n") == raw.count(b"\r\n"), "a bare line end"
    calendar = icalendar.Calendar.from_ical(raw)
    events = calendar.walk("VEVENT")
    assert not calendar.errors and not any(event.errors for event in events), "not iCalendar"
    uids = [str(event["UID"]) for event in events]
    assert len(set(uids)) == len(uids), "two events of one uid"
    return [
        {
            "uid": str(event["UID"]),
            "day": event["DTSTART"].dt.isoformat(),
            "summary": str(event["SUMMARY"]),
        }
        for event in events
    ]


def the_map(name):
    """Geometry and name of each feature."""
    whole = json.loads((folder / name).read_text())
    assert whole["type"] == "FeatureCollection"
    for feature in whole["features"]:
        assert feature["type"] == "Feature" and "geometry" in feature and "properties" in feature
    return [
        {"geometry": feature["geometry"], "name": feature["properties"]["name"]}
        for feature in whole["features"]
    ]


rows, cells = the_json(), the_csv()
table = pyarrow.parquet.read_table(folder / "readings.parquet")
assert table.to_pylist() == rows, "the columns hold something else than the JSON"
assert len(cells) == len(rows) and list(cells[0]) == table.column_names
for row, line in zip(rows, cells):
    for name, value in row.items():
        assert same(line[name], value), (name, line[name], value)
print(
    json.dumps(
        {
            "rows": rows,
            "site_names": sorted({line["site_name"] for line in cells}),
            "types": {field.name: str(field.type) for field in table.schema},
            "events": the_calendar(),
            "sites": the_map("sites.geojson"),
            "placed": the_map("placed.geojson"),
        }
    )
)
