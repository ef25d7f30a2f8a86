"""Six hundred damages by chance: a command does its work, or says one line a problem and changes nothing."""

from collections import Counter

from store_fuzz import fuzz, sound


def test_no_damage_brings_a_traceback_or_a_changed_file(tmp_path):
    files = sound(tmp_path)
    ended = Counter(fuzz(tmp_path, files, seed) for seed in range(600))
    assert ended["done"] > 100
    assert ended["said"] > 100
