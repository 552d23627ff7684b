"""A story in open vocabularies: RDF/XML with Dublin Core, Darwin Core and Audiovisual Core.

The file is one resource, the call a region of interest in it; the take is another resource, and the
call in the take a region of that. What is measured is a Darwin Core measurement with its unit. What
no vocabulary has a term for stands in ``dwc:dynamicProperties``, which is made for that, as JSON.

References
----------
.. [1] W3C, "RDF 1.1 XML Syntax", 2014.
.. [2] DCMI, "DCMI Metadata Terms", 2020.
.. [3] TDWG, "Darwin Core List of Terms"; "Audiovisual Core Term List" (``RegionOfInterest``,
   ``isROIOf``, ``startTime``, ``endTime``, ``freqLow``, ``freqHigh``, ``hashValue``).
"""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

from calltag.library.kept_file.story import Story, checksum, from_plain, to_plain
from calltag.media.timing.when import iso_text
from calltag.records.label import CALL
from calltag.records.take import states_time
from calltag.words import sure

NAMESPACES = {
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dcterms": "http://purl.org/dc/terms/",
    "dwc": "http://rs.tdwg.org/dwc/terms/",
    "ac": "http://rs.tdwg.org/ac/terms/",
}

SOUND_HASH = "SHA-256 of the samples as stored, interleaved, little-endian"
TAKE_HASH = "BLAKE2b, 128 bits, of the size and ten pieces of the file"

_TEXTS = (
    ("dcterms:title", "label"),
    ("dcterms:creator", "recordist"),
    ("dcterms:rights", "rights"),
    ("dwc:vernacularName", "species"),
    ("dwc:behavior", "behaviour"),
    ("dwc:sex", "sex"),
    ("dwc:lifeStage", "life_stage"),
    ("dwc:locality", "place"),
    ("ac:captureDevice", "equipment"),
    ("ac:hashValue", "sound_hash"),
)
_MEASURED = {
    "peak_hz": ("strongest frequency", "Hz"),
    "snr_db": ("level over the background, in the band of the call", "dB"),
    "level_dbfs": ("level in the band of the call", "dBFS"),
    "loudness_lufs": ("integrated loudness of the file, EBU R 128", "LUFS"),
    "true_peak_dbtp": ("true peak of the file, ITU-R BS.1770", "dBTP"),
}
_TERMLESS = (
    "rate_hz",
    "channels",
    "n_samples",
    "first_sample",
    "start_tc",
    "frame_rate",
    "noise",
    "labelled_by",
    "confidence",
    "also_heard",
    "feature_version",
    "features",
)

for _prefix, _uri in NAMESPACES.items():
    ET.register_namespace(_prefix, _uri)


def to_rdf(story: Story) -> str:
    """Write a story as RDF/XML.

    Parameters
    ----------
    story : Story
        A story in the form that `calltag.library.kept_file.story.tidy` gives it.

    Returns
    -------
    str
        An XML document.
    """
    root = ET.Element(_name("rdf:RDF"))
    about = f"urn:uuid:{story.id}"
    own = _resource(root, about)
    _put(own, "dcterms:type", "Sound")
    _put(own, "dcterms:identifier", story.id)
    for term, attribute in _TEXTS:
        _put(own, term, getattr(story, attribute))
    _put(own, "ac:hashFunction", SOUND_HASH)
    _put(own, "ac:mediaDuration", f"{story.duration_s:.6f}")
    _put(own, "dcterms:created", story.recorded)
    _put(own, "dcterms:source", resource=f"{about}#take")
    _put(own, "dwc:eventDate", _event(story))
    _put(own, "dwc:recordedBy", story.recordist)
    _put(own, "dwc:decimalLatitude", story.latitude)
    _put(own, "dwc:decimalLongitude", story.longitude)
    if story.latitude is not None or story.longitude is not None:
        _put(own, "dwc:geodeticDatum", "EPSG:4326")
    _put(own, "dwc:identifiedBy", _identified_by(story))
    _put(own, "dwc:identificationRemarks", remarks(story))
    plain = to_plain(story)
    extra = {name: plain[name] for name in _TERMLESS if name in plain}
    extra["checksum"] = checksum(story)
    _put(own, "dwc:dynamicProperties", json.dumps(extra, ensure_ascii=True, sort_keys=True))

    call = _region(root, f"{about}#call", about, *story.call)
    _put(call, "ac:freqLow", story.low_hz)
    _put(call, "ac:freqHigh", story.high_hz)
    for term, at in zip(("ac:startTimestamp", "ac:endTimestamp"), _utc(story), strict=False):
        _put(call, term, at)

    take = _resource(root, f"{about}#take")
    _put(take, "dcterms:title", story.take)
    _put(take, "ac:hashFunction", TAKE_HASH)
    _put(take, "ac:hashValue", story.take_digest)
    _region(root, f"{about}#call-in-take", f"{about}#take", *story.source)

    for attribute, (what, unit) in _MEASURED.items():
        value = getattr(story, attribute)
        if value is not None:
            fact = ET.SubElement(root, _name("dwc:MeasurementOrFact"))
            _put(fact, "dwc:measurementType", what)
            _put(fact, "dwc:measurementValue", value)
            _put(fact, "dwc:measurementUnit", unit)
    ET.indent(root)
    body = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'


def from_rdf(text: str) -> tuple[Story, bool]:
    """Read a story.

    Parameters
    ----------
    text : str
        What `to_rdf` wrote.

    Returns
    -------
    story : Story
        The story.
    whole : bool
        Whether it is as it was written: False where it was damaged, or changed by hand.

    Raises
    ------
    ValueError
        If this is no story.
    """
    if "<!DOCTYPE" in text:  # nothing that we write; entities could be made to grow without end
        raise ValueError("this XML is not ours")
    try:
        root = ET.fromstring(text.encode("utf-8"))
        return _read(root)
    except (
        ET.ParseError,
        LookupError,
        TypeError,
        AttributeError,
        UnicodeError,
        RecursionError,
    ) as error:
        raise ValueError(f"this is no story ({error})") from error


def _read(root: ET.Element) -> tuple[Story, bool]:
    resources = {one.get(_name("rdf:about"), ""): one for one in root}
    about = next((one for one in resources if one.startswith("urn:uuid:") and "#" not in one), "-")
    own, call = resources[about], resources[f"{about}#call"]
    take, in_take = resources[f"{about}#take"], resources[f"{about}#call-in-take"]
    extra = json.loads(_text(own, "dwc:dynamicProperties"))
    plain: dict[str, Any] = {name: extra[name] for name in _TERMLESS if name in extra}
    plain["id"] = _text(own, "dcterms:identifier")
    plain["recorded"] = _text(own, "dcterms:created") or None
    plain |= {attribute: _text(own, term) for term, attribute in _TEXTS}
    plain["latitude"] = _number(own, "dwc:decimalLatitude")
    plain["longitude"] = _number(own, "dwc:decimalLongitude")
    plain["call_start_s"], plain["call_end_s"] = _span(call)
    plain["low_hz"], plain["high_hz"] = _number(call, "ac:freqLow"), _number(call, "ac:freqHigh")
    plain["take"], plain["take_digest"] = _text(take, "dcterms:title"), _text(take, "ac:hashValue")
    plain["source_start_s"], plain["source_end_s"] = _span(in_take)
    measured = {what: attribute for attribute, (what, _) in _MEASURED.items()}
    for fact in root.iterfind(_name("dwc:MeasurementOrFact")):
        if (attribute := measured.get(_text(fact, "dwc:measurementType"))) is not None:
            plain[attribute] = _number(fact, "dwc:measurementValue")
    story = from_plain(plain)
    return story, extra.get("checksum") == checksum(story)


def remarks(story: Story) -> str:
    """Say how a label came to be.

    Parameters
    ----------
    story : Story
        A story.

    Returns
    -------
    str
        A sentence.
    """
    if story.by_hand:
        how = "labelled by hand"
    elif story.label == CALL or not story.labelled_by:
        how = "type not known"
    else:
        how = f"named by {story.labelled_by}, {sure(story.confidence)} sure"
    return f"{how}; a tag for the edit, not an identification record"


def _identified_by(story: Story) -> str:
    return story.recordist if story.by_hand else story.labelled_by


def _ends(story: Story) -> tuple[datetime, datetime] | None:
    """When the call began and ended, where the time of day is known and can be read."""
    if not states_time(story.recorded):
        return None
    try:
        begin = datetime.fromisoformat(story.recorded)
        return begin, begin + timedelta(seconds=story.call.length_s)
    except (ValueError, OverflowError):
        return None


def _event(story: Story) -> str | None:
    ends = _ends(story)
    if ends is None:
        return story.recorded
    return f"{story.recorded}/{iso_text(ends[1])}"


def _utc(story: Story) -> Iterator[str]:
    """The call's ends in UTC, where the time zone is known."""
    for at in _ends(story) or ():
        if at.tzinfo is not None:
            yield iso_text(at.astimezone(UTC))


def _name(term: str) -> str:
    prefix, _, local = term.partition(":")
    return f"{{{NAMESPACES[prefix]}}}{local}"


def _resource(root: ET.Element, about: str) -> ET.Element:
    return ET.SubElement(root, _name("rdf:Description"), {_name("rdf:about"): about})


def _region(root: ET.Element, about: str, of: str, start_s: float, end_s: float) -> ET.Element:
    region = ET.SubElement(root, _name("ac:RegionOfInterest"), {_name("rdf:about"): about})
    _put(region, "ac:isROIOf", resource=of)
    _put(region, "ac:startTime", start_s)
    _put(region, "ac:endTime", end_s)
    return region


def _put(
    parent: ET.Element, term: str, value: float | str | None = None, *, resource: str = ""
) -> None:
    if resource:
        ET.SubElement(parent, _name(term), {_name("rdf:resource"): resource})
    elif value is not None and value != "":
        ET.SubElement(parent, _name(term)).text = str(value)


def _text(parent: ET.Element, term: str) -> str:
    return parent.findtext(_name(term)) or ""


def _number(parent: ET.Element, term: str) -> float | None:
    text = _text(parent, term)
    return float(text) if text else None


def _span(region: ET.Element) -> tuple[float, float]:
    return float(_text(region, "ac:startTime")), float(_text(region, "ac:endTime"))
