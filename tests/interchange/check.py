"""What readers that this project did not write make of its files, as JSON.

    check.py otio FILE        the reference library of OpenTimelineIO
    check.py edl FILE RATE    its reader of CMX 3600 lists, at RATE frames a second
    check.py csv FILE         Python's own csv module
    check.py xml FILE         Python's own XML parser: the texts of a packet by element
"""

import csv
import json
import sys
import xml.etree.ElementTree as ElementTree


def time(value):
    return [value.value, value.rate]


def span(value):
    return {"start": time(value.start_time), "duration": time(value.duration)}


def item(child):
    import opentimelineio as otio

    fact = {
        "kind": child.schema_name(),
        "name": child.name,
        "source": span(child.source_range),
        "in_parent_s": child.range_in_parent().start_time.to_seconds(),
    }
    if isinstance(child, otio.schema.Clip):
        reference = child.media_reference
        fact["reel"] = child.metadata.get("cmx_3600", {}).get("reel")
        fact["markers"] = [span(marker.marked_range) for marker in child.markers]
        if isinstance(reference, otio.schema.ExternalReference):
            fact["url"] = reference.target_url
        if reference.available_range:
            fact["available"] = span(reference.available_range)
    return fact


def timeline(value):
    import opentimelineio as otio

    text = value.to_json_string()
    again = otio.adapters.read_from_string(text, "otio_json")
    start = value.global_start_time
    return {
        "same_after_round_trip": again.is_equivalent_to(value),
        "global_start": time(start) if start else None,
        "tracks": [
            {"name": track.name, "kind": track.kind, "items": [item(c) for c in track]}
            for track in value.tracks
        ],
    }


def edl(file, rate):
    import opentimelineio as otio

    with open(file, encoding="utf-8", newline="") as lines:
        text = lines.read()
    return timeline(otio.adapters.read_from_string(text, "cmx_3600", rate=float(rate)))


def main(kind, file, *rest):
    if kind == "otio":
        import opentimelineio as otio

        return timeline(otio.adapters.read_from_file(file))
    if kind == "edl":
        return edl(file, *rest)
    if kind == "csv":
        with open(file, encoding="utf-8", newline="") as rows:
            return list(csv.reader(rows, strict=True))
    if kind == "xml":
        root = ElementTree.parse(file).getroot()
        return [[element.tag, element.text] for element in root.iter()]
    raise SystemExit(__doc__)


print(json.dumps(main(*sys.argv[1:])))
