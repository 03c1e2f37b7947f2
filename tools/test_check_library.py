"""Spoils a copy of the device library in one way at a time: the check must name each mistake.

    python3 -m unittest discover tools
"""

import contextlib
import io
import shutil
import sys
import tempfile
import unittest
from pathlib import Path
from unittest import mock

import check_library

LIBRARY = Path(__file__).parent.parent / "crates/machine/library"

# File, text, what stands in its place (first occurrence), part of the message expected.
SPOILED = [
    ("sensors.toml", 'source = "common practice, no source"', 'source = "a good guess"', "should begin with"),
    ("sensors.toml", 'remedy = "adjust"', 'remedy = "pray"', "remedy `pray` is not there"),
    ("sensors.toml", 'observes = "sensor"', 'observes = "coil"', "`observes` is `coil`"),
    ("sensors.toml", 'inspect = ["out-of-adjustment"', 'inspect = ["bewitched"', "which this type does not have"),
    ("sensors.toml", "Energy off again and put both plugs back before anything is started.", "", "undone before any start"),
    ("shared.toml", 'energy = "live"', 'energy = "normal"', "the parts are live"),
    ("shared.toml", 'role = "look"', 'colour = "red"', "unknown key `colour`"),
    ("supplies.toml", 'who = "electrician"', 'who = "operator"', "an operator"),
    ("mechanisms.toml", "percent = 400", 'of = "any"', "does not go with effect"),
    ("mechanisms.toml", "Look from outside, please don't reach in: {words}.", "Look at {label}.", "placeholder {label}"),
    ("controls.toml", "guarding-input-card", "input-card", "a part of its chain"),
    ("controls.toml", "With the door fully shut, look at {tag}:", "Bridge the contact of {tag}:", "`Bridg` may not be said"),
    ("controls.toml", "With the door fully shut, look at {tag}:", "Hold it down:", "`Hold it down` may not be said"),
    ("words.de.toml", "den Türschalter tauschen", "den Türschalter überbrücken", "`überbrück` may not be said"),
    ("words.es.toml", "sustituir el interruptor de puerta", "puentear el interruptor de puerta", "`puente` may not be said"),
    ("words.de.toml", '"types.reed-switch" =', '"types.reed" =', "`types.reed-switch` is not translated"),
    ("words.de.toml", '"types.reed-switch" =', '"types.reed" =', "`types.reed` translates nothing"),
    ("words.de.toml", '"reed-switch.swap.technician" =', '"reed-switch.swap.tester" =', "`reed-switch.swap.technician` is not translated"),
    ("words.es.toml", "{tag}", "", "other placeholders"),
]


def mistakes(folder):
    """What the check prints, and its exit code."""
    printed = io.StringIO()
    with mock.patch.object(sys, "argv", ["check_library.py", str(folder)]), contextlib.redirect_stdout(printed):
        code = check_library.main()
    return code, printed.getvalue()


class Check(unittest.TestCase):
    def test_the_library_has_no_mistakes(self):
        code, printed = mistakes(LIBRARY)
        self.assertEqual(code, 0, printed)

    def test_every_way_of_spoiling_it_is_named(self):
        for name, old, new, message in SPOILED:
            with self.subTest(file=name, new=new), tempfile.TemporaryDirectory() as folder:
                copy = Path(folder) / "library"
                shutil.copytree(LIBRARY, copy)
                text = (copy / name).read_text(encoding="utf-8")
                self.assertIn(old, text)
                (copy / name).write_text(text.replace(old, new, 1), encoding="utf-8")
                code, printed = mistakes(copy)
                self.assertEqual(code, 1)
                self.assertIn(message, printed)


if __name__ == "__main__":
    unittest.main()
