"""For whom the report is written: which sections it has, in which order, under which titles.

The numbers are one set, that of `meltdoe.report.sections.Report`; only what is shown and the words around it differ.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

__all__ = ["AUDIENCES", "Audience", "Reader", "Section"]

Reader: TypeAlias = Literal["maker", "gallery", "journal", "course"]


@dataclass(frozen=True, slots=True)
class Section:
    """A section of the page: anchor, title, and template in ``wording/`` (that of the anchor where none is named)."""

    id: str
    title: str
    template: str = ""

    @property
    def file(self) -> str:
        return f"{self.template or self.id}.j2"


@dataclass(frozen=True, slots=True)
class Audience:
    """One kind of reader.

    Attributes
    ----------
    file : the page's name without its ending.
    says : what the page calls itself, before the count of melts.
    """

    file: str
    says: str
    sections: tuple[Section, ...]


_ANSWER = Section("answer", "The answer")
_TRY = Section("try", "Try other settings")
_CAUTIONS = Section("cautions", "Cautions")
_DATA = Section("data", "The data, and how to get these pages again")

AUDIENCES: dict[Reader | None, Audience] = {
    None: Audience(
        "report",
        "Report on a series of test melts",
        (
            Section("wanted", "What was wanted"),
            _ANSWER,
            Section("planned", "How the series was planned, and why"),
            Section("happened", "What happened, melt by melt"),
            Section("learnt", "What was learnt, outcome by outcome"),
            Section("works", "Where it works and where it fails"),
            Section("checks", "How far this can be trusted"),
            Section("recommended", "The recommendation"),
            _TRY,
            Section("unknown", "What is not known"),
            Section("doubts", "Questions of a sceptical reader"),
            Section("next", "The next melt"),
            _CAUTIONS,
            Section("methods", "Methods"),
            _DATA,
        ),
    ),
    "maker": Audience(
        "report-for-maker",
        "For other makers: what worked, what did not, and what to copy",
        (
            Section("recipe", "What to copy", "maker_recipe"),
            Section("answer", "How sure this is"),
            _CAUTIONS,
            Section("failures", "What failed, and how", "maker_failures"),
            Section("happened", "Every melt"),
            Section("works", "Where it works and where it fails"),
            _TRY,
            Section("next", "What I would do next"),
            Section("unknown", "What I do not know"),
            Section("data", "The log, to check or to go on from"),
        ),
    ),
    "gallery": Audience(
        "report-for-gallery",
        "For a gallery, a buyer or a collection: what the pieces are and how they were arrived at",
        (
            Section("piece", "What it is made of, and how", "gallery_piece"),
            Section("lasting", "Will it last?", "gallery_lasting"),
            Section("series", "How it was arrived at", "gallery_series"),
            Section("cautions", "Cautions for those who work on it", "gallery_cautions"),
            Section("record", "The record behind this page", "gallery_record"),
        ),
    ),
    "journal": Audience(
        "report-for-journal",
        "A designed series of test melts: aims, materials and methods, results, discussion",
        (
            Section("answer", "Summary"),
            Section("aims", "Introduction and aims", "journal_aims"),
            Section("planned", "Materials and methods: the design"),
            Section("methods", "Materials and methods: the analysis"),
            Section("happened", "Results: every melt"),
            Section("learnt", "Results: outcome by outcome"),
            Section("works", "Results: the whole chain"),
            Section("recommended", "Results: the recommended setting"),
            _TRY,
            Section("checks", "Discussion: checks of the model"),
            Section("doubts", "Discussion: threats to the conclusion"),
            Section("unknown", "Discussion: limits of the claim"),
            Section("next", "Discussion: the next melt"),
            Section("cautions", "Safety"),
            Section("data", "Data and reproduction"),
        ),
    ),
    "course": Audience(
        "report-for-course",
        "For an assessor: testing, decisions and judgement against the specification",
        (
            Section("specification", "The specification, and whether it is met", "course_specification"),
            Section("planned", "The testing that was planned, and why"),
            Section("diary", "Diary of the testing, with what went wrong", "course_diary"),
            Section("learnt", "What each test taught"),
            Section("works", "Results"),
            Section("recommended", "The choice made, and its justification"),
            _TRY,
            Section("doubts", "Evaluation: how good is the evidence?"),
            Section("unknown", "Evaluation: what is not known"),
            Section("next", "What to change next, and why"),
            _CAUTIONS,
            Section("methods", "Methods and sources"),
            Section("data", "Appendix: the data"),
        ),
    ),
}
