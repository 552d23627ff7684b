"""The story in the file, read by others: wavinfo, soundfile, PyAV, lxml; and read back whole."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile
import wavinfo
from lxml import etree

from calltag.errors import MediaError
from calltag.library.kept_file.rdf import NAMESPACES
from calltag.library.kept_file.sound_file import (
    file_hash,
    read_cut_bext,
    read_samples,
    read_story,
    sound_hash,
    write_cut,
)
from calltag.library.kept_file.story import Heard, tidy
from calltag.media.wave_files.bext import Bext
from calltag.media.wave_files.wav_file import iter_chunks, read_chunk

from ..conftest import RATE_HZ, call, features, plain_story, shoot, sound, wanted


@pytest.fixture
def kept(keep, shot):
    return keep(wanted(shot, call(3.0, by_hand=True)))[0]


def test_wavinfo_reads_start_words_and_cue(kept):
    read = wavinfo.WavInfoReader(str(kept.file))
    assert read.fmt.bits_per_sample == 24
    assert read.bext.time_reference == 10 * 3600 * RATE_HZ + 2 * RATE_HZ
    words = "marsh hooter: boom, from card1/A001.wav at 10:00:03:00"
    assert read.bext.description.startswith(words)
    assert "not an identification record" in read.bext.description
    assert read.bext.originator_ref == kept.story.id.replace("-", "")
    assert (read.bext.originator_date, read.bext.originator_time) == ("2026-04-18", "05:12:02")
    assert read.bext.coding_history.startswith("A=PCM,F=48000,W=24,M=stereo,T=calltag")
    assert read.bext.loudness_value == pytest.approx(kept.story.loudness_lufs, abs=0.006)
    (cue,) = read.cues.to_dict().values()
    assert cue == {"frame": RATE_HZ, "label": "marsh hooter: boom", "length": RATE_HZ // 2}


def test_pyav_reads_the_cue_of_both_formats(keep, shot):
    for as_flac in (False, True):
        (kept,) = keep(wanted(shot, call(3.0)), as_flac=as_flac, replace=True)
        with av.open(str(kept.file)) as container:
            chapter = container.chapters()[0]
            assert chapter["start"] * chapter["time_base"] == 1
            if as_flac:
                assert container.metadata["TITLE"] == "marsh hooter: boom"
                assert container.metadata["ARTIST"] == "A. Keeper"
                assert container.metadata["LOCATION"] == "Ashmere, north hide"
                assert container.chapters()[1]["start"] == 1.5 * RATE_HZ
            else:
                assert chapter["metadata"]["title"] == "marsh hooter: boom"


def test_lxml_reads_open_vocabularies(kept):
    root = etree.fromstring(read_chunk(kept.file, "axml"))

    def texts(path: str) -> list[str]:
        return [one.text for one in root.iterfind(path, NAMESPACES)]

    own = "rdf:Description"
    # Terms: TDWG's Darwin Core and Audiovisual Core term lists, DCMI Metadata Terms.
    assert texts(f"{own}/dwc:vernacularName") == ["marsh hooter"]
    assert texts(f"{own}/dwc:locality") == ["Ashmere, north hide"]
    assert texts(f"{own}/dwc:recordedBy") == ["A. Keeper"]
    assert texts(f"{own}/dwc:eventDate") == [
        "2026-04-18T05:12:03.000+01:00/2026-04-18T05:12:03.500+01:00"
    ]
    assert texts(f"{own}/dcterms:rights") == ["free for this film"]
    assert texts(f"{own}/ac:captureDevice") == ["camera A, short shotgun microphone"]
    assert texts(f"{own}/dwc:decimalLatitude") == ["51.5"]
    regions = root.findall("ac:RegionOfInterest", NAMESPACES)
    about = f"{{{NAMESPACES['rdf']}}}about"
    resource = f"{{{NAMESPACES['rdf']}}}resource"
    in_file, in_take = regions
    assert in_file.find("ac:isROIOf", NAMESPACES).get(resource) == f"urn:uuid:{kept.story.id}"
    assert in_file.findtext("ac:startTime", namespaces=NAMESPACES) == "1.0"
    assert in_file.findtext("ac:freqHigh", namespaces=NAMESPACES) == "500.0"
    in_utc = in_file.findtext("ac:startTimestamp", namespaces=NAMESPACES)
    assert in_utc == "2026-04-18T04:12:03.000Z"
    end_utc = in_file.findtext("ac:endTimestamp", namespaces=NAMESPACES)
    assert end_utc == "2026-04-18T04:12:03.500Z"
    assert in_take.findtext("ac:endTime", namespaces=NAMESPACES) == "3.5"
    known = {one.get(about) for one in root}
    assert all(one.find("ac:isROIOf", NAMESPACES).get(resource) in known for one in regions)


def test_the_hash_in_the_file_is_that_of_its_samples(keep, shot):
    hashes = []
    for as_flac in (False, True):
        (kept,) = keep(wanted(shot, call(3.0)), as_flac=as_flac, replace=True)
        samples, _ = soundfile.read(kept.file, dtype="int32", always_2d=True)
        stored = (samples >> 8).astype("<i4").view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
        assert hashlib.sha256(stored).hexdigest() == kept.story.sound_hash == sound_hash(kept.file)
        assert hashlib.sha256(kept.file.read_bytes()).hexdigest() == file_hash(kept.file)
        hashes.append(kept.story.sound_hash)
    assert hashes[0] == hashes[1]


def test_a_kept_file_that_states_no_length_has_another_hash(kept):
    (data,) = (chunk for chunk in iter_chunks(kept.file) if chunk.name == "data")
    with kept.file.open("r+b") as file:
        file.seek(data.offset - 4)
        file.write(bytes(4))
    assert sound_hash(kept.file) != kept.story.sound_hash


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_a_story_comes_back_from_its_file(tmp_path, suffix):
    heard = (Heard("x", "B001.mov", 1.0, 1.5),)
    story = plain_story(n_samples=RATE_HZ, call_start_s=0.2, call_end_s=0.7, place="Röhricht, 湿地")
    story = tidy(replace(story, also_heard=heard, features=features(2), feature_version=1))
    bext = Bext(description="boom", time_reference=123_456, date="2026-04-18", history="A=PCM")
    path = tmp_path / f"a{suffix}"
    written = write_cut(path, sound(1.0), story, bext)
    read, whole = read_story(path)
    assert whole
    assert read == written
    assert read_cut_bext(path) == bext


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_files_of_others_are_told(tmp_path, suffix):
    path = tmp_path / f"a{suffix}"
    soundfile.write(path, np.zeros(480), RATE_HZ)
    with pytest.raises(MediaError, match="no story of a kept call"):
        read_story(path)
    path.write_bytes(b"nothing of the kind")
    with pytest.raises(MediaError, match="this is no"):
        read_story(path)


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_a_kept_file_that_is_gone_is_not_called_damaged(tmp_path, suffix):
    for read in (read_story, read_samples, sound_hash, read_cut_bext, file_hash):
        with pytest.raises(
            MediaError, match=r"could not be read \(no such file .*; check the drive"
        ):
            read(tmp_path / f"a{suffix}")


@pytest.mark.parametrize(
    ("suffix", "read", "reason"),
    [
        (".wav", sound_hash, "its sound is cut off"),
        (".flac", sound_hash, "its sound is damaged"),
        (".flac", read_samples, "its sound is damaged"),
        (".flac", read_story, "this FLAC file is cut off"),
    ],
)
def test_a_kept_file_that_is_cut_off_says_what_to_do(keep, shot, suffix, read, reason):
    (kept,) = keep(wanted(shot, call(3.0)), as_flac=suffix == ".flac")
    whole = kept.file.read_bytes()
    sound_at = (
        next(one.offset for one in iter_chunks(kept.file) if one.name == "data")
        if suffix == ".wav"
        else 0
    )
    left = {sound_hash: sound_at + (len(whole) - sound_at) // 2, read_samples: 3, read_story: 200}
    kept.file.write_bytes(whole[: left[read]])
    with pytest.raises(MediaError, match=f"{reason}; take it from a copy of the library$"):
        read(kept.file)


def test_a_flac_file_has_eight_channels_at_most(keep, tmp_path):
    shot = shoot(tmp_path / "r", channels=10, seconds=3.0, time_reference=None)
    (kept,) = keep(wanted(shot, call(1.0)), as_flac=True)
    assert kept.file.suffix == ".wav"
    assert kept.story.channels == 10
    assert Path(kept.path).parent.name == "marsh-hooter"
