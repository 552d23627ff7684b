"""The starter model's card as a text to read."""

from __future__ import annotations

from typing import Any

_TEXT = """# The starter model

`starter.onnx` hears where animals call, and which kinds of noise sound: machine, wind, water,
voice, handling. Where it is in doubt, `starter_closer.onnx` is asked as well. They are
convolutional networks of some sixty thousand numbers each over {mels} mel bands, and come with
calltag. They know no species and no call types; those are learnt from your labels. A find is not
an identification record.

**Made** {made} by calltag {calltag}, {steps} training steps, seed {seed}, torch {torch}.

**Learnt from** {phrases} invented phrases of calls and synthetic noise
(`calltag/learn/starter`), and {recordings} recordings listed with their licence in
`sources.csv`: ESC-10 (K. J. Piczak, 2015, doi:10.7910/DVN/YDEPUT; CC0 and CC BY, each clip
attributed in the data set's own LICENSES.txt), example recordings of librosa (CC BY, public
domain, attributed in the text beside each), and sounds from packages of Debian 12 (CC BY, CC0,
attributed in each package's copyright file). Recordings under other licences were left out. The
model file is under calltag's own licence.

**Judged** on recordings that it had not heard: networks, {networks} pairs, were trained without
each of {left_out} in turn, and listened to scenes made of that group and of calls invented anew, to
short takes cut out of them, and to the recordings themselves. {n_finds} finds there taught the
second look (`starter.npz`, see `calltag/learn/finding/second_look.py`), which says how sure a find
is. What tells people who talk from calls (`starter_talk.json`, see `calltag/learn/finding/talk.py`)
and handling (`starter_hands.json`, see `calltag/learn/finding/hands.py`) came later. For these
figures, of the scenes, each group was judged by what the other groups had taught. A call counts as
found when a quarter of it is covered, a find as right when half of it lies in calls. The networks
that ship learnt from everything, for a third more steps, so that their finds count as somewhat
likelier.{note}

| | calls | finds | recall | precision | F1 |
|---|---|---|---|---|---|
{finding}

False finds a minute in scenes without calls: {false_finds}.

Calibration error of a find's probability: {calibration_error}.

| noise kind | heard in scenes of its own | heard in scenes of others |
|---|---|---|
{kinds}

**Limits.** Handling and wind were synthetic; recorded voices were babies, sneezes and three people
reading. No insects or frogs were among the recordings, and of mammals only dogs and a whale.
Animal sounds in the recordings of water may have been taken for water.

**Rebuild** with the recordings in one folder, as `sources.csv` names them:

```sh
pip install '.[train]'
python -m calltag.learn.starter RECORDINGS --steps {steps} --phrases {phrases} --seed {seed}
```
"""


def _order(row: tuple[str, Any]) -> tuple[int, float, str]:
    """All first, then levels from high to low, then backgrounds."""
    key = row[0]
    level = float(key.split()[0]) if key.endswith("dB") else 0.0
    return (0 if key == "all" else 1 if key.endswith("dB") else 2, -level, key)


def card_text(card: dict[str, Any]) -> str:
    """Write the card as Markdown."""
    figures = card["figures"]
    return _TEXT.format(
        mels=card["input"]["mels"][0],
        made=card["made"],
        calltag=card["calltag"],
        left_out=", ".join(card["left_out"]),
        n_finds=card["second_look"]["finds"],
        networks=card["second_look"]["networks"],
        note="\n\n" + card["note"] if "note" in card else "",
        **card["training"],
        finding="\n".join(
            f"| {key} | {row['calls']} | {row['finds']} | {row['recall']:.3f} |"
            f" {row['precision']:.3f} | {row['f1']:.3f} |"
            for key, row in sorted(figures["finding"].items(), key=_order)
        ),
        false_finds=", ".join(f"{k} {v:g}" for k, v in figures["false_finds_per_minute"].items()),
        calibration_error=f"{figures['calibration_error']:.3f}",
        kinds="\n".join(
            f"| {kind} | {row['heard_in_its_own']:.0%} | {row['heard_in_others']:.0%} |"
            for kind, row in figures["noise_kinds"].items()
        ),
    )
