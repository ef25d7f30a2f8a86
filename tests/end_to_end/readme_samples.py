"""What README.md shows of the commands' output: which parts, run afresh, and compared with what the page says.

`python tests/end_to_end/readme_samples.py` writes the samples of the page anew. Figures may differ a little from one
machine to the next, words may not.
"""

import os
import re
import shlex
import shutil
import sys
import tempfile
import textwrap
from pathlib import Path

from running import called

from meltdoe.shipped import shipped_folder

README = Path(__file__).parents[2] / "README.md"
TOURED = "meltdoe-tour"  # the folder that `meltdoe tour` makes
_WIDE = 118

# Of the output of each command: where a part begins, and what comes behind it.
PARTS = {
    "plan": ((r"^melt  firing", r"^st\. error:"),),
    "analyse": ((r"^Poured: ", r"^Fill at least"), (r"^Best setting so far", r"^What these words mean")),
    "next": ((r"\A", r"\Z"),),
}
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def blocks(text):
    """Kind and content of every fenced block of the page."""
    return re.findall(r"^```(\w+)\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)


def commands(text):
    """The words of every `meltdoe` line, in the order of the page."""
    lines = [line for kind, block in blocks(text) if kind == "sh" for line in block.splitlines()]
    return [shlex.split(line)[1:] for line in lines if line.startswith("meltdoe ")]


def shown(text, command):
    """The block that shows the output of a command: the first of text behind the block with its line."""
    behind = text[text.index(f"\nmeltdoe {command} ") :]
    return re.search(r"^```text\n(.*?)^```$", behind, flags=re.MULTILINE | re.DOTALL)[1]


def sample(command, output):
    """The parts of an output that the page shows, wrapped."""
    parts = []
    for begins, ends in PARTS[command]:
        start = re.search(begins, output, flags=re.MULTILINE).start()
        end = re.compile(ends, flags=re.MULTILINE).search(output, start + 1).start()
        parts.append(("...\n" if output[:start].strip() and not parts else "") + output[start:end].strip("\n"))
    text = "\n...\n".join(parts) + ("\n..." if output[end:].strip() else "")
    return "\n".join(part for line in text.splitlines() for part in _wrapped(line)) + "\n"


def _wrapped(line):
    indent = " " * (len(line) - len(line.lstrip()) + 2)
    whole = line.replace(" %", "\u00a0%")  # a figure stays with its sign
    found = (
        textwrap.wrap(whole, _WIDE, subsequent_indent=indent, break_on_hyphens=False) if len(line) > _WIDE else [whole]
    )
    return [part.replace("\u00a0", " ") for part in found] or [""]


def differences(page, fresh):
    """How the words of two samples differ; figures may be out by 3 or by a tenth. Empty where they agree."""
    old, new = page.split(), fresh.split()
    masked = [[_NUMBER.sub("#", word) for word in words] for words in (old, new)]
    if masked[0] != masked[1]:
        at = next((i for i, pair in enumerate(zip(*masked, strict=False)) if pair[0] != pair[1]), min(map(len, masked)))
        return f'the page says "{" ".join(old[at : at + 8])}", the program "{" ".join(new[at : at + 8])}"'
    for word, other in zip(old, new, strict=True):
        for one, two in zip(map(float, _NUMBER.findall(word)), map(float, _NUMBER.findall(other)), strict=True):
            if abs(one - two) > max(3.0, 0.1 * abs(one)):
                return f'the page says "{word}" where the program says "{other}"'
    return ""


def place_for_the_page(folder):
    """What a reader has when the page begins: the folder of the tour."""
    shutil.copytree(shipped_folder("examples") / "obsidian-block", folder / TOURED)


def _write():
    text = README.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as place:
        place_for_the_page(Path(place))
        os.chdir(place)
        left = {"begin", *PARTS}
        for words in commands(text):
            if words[0] in left:
                left.remove(words[0])
                ran = called(*words)
                assert ran.code == 0, ran.err
                if words[0] in PARTS:
                    text = text.replace(shown(text, words[0]), sample(words[0], ran.out))
        os.chdir(README.parent)
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    sys.exit(_write())
