"""How fast it is on this machine: stages of one case, studies, and the ordinary way beside it."""

from contactfe.bench.full import FullState, FullSystem
from contactfe.bench.questions import QuestionTimes, question_times
from contactfe.bench.stages import Comparison, StageTimes, compare_with_full, stage_times
from contactfe.bench.studies import StudyTimes, bench_study, study_times

__all__ = [
    "Comparison",
    "FullState",
    "FullSystem",
    "QuestionTimes",
    "StageTimes",
    "StudyTimes",
    "bench_study",
    "compare_with_full",
    "question_times",
    "stage_times",
    "study_times",
]
