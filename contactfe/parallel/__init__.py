"""Work in other processes: one thread each, one engine for this machine, a cluster behind the same interface."""

from contactfe.parallel.cluster import DaskCluster, worker_folder
from contactfe.parallel.executors import Call, Ended, Executor, run_all
from contactfe.parallel.processes import MOST_WORKERS, LocalProcesses
from contactfe.parallel.scratch import scratch_folder
from contactfe.parallel.threads import hold_one_thread

__all__ = [
    "MOST_WORKERS",
    "Call",
    "DaskCluster",
    "Ended",
    "Executor",
    "LocalProcesses",
    "hold_one_thread",
    "run_all",
    "scratch_folder",
    "worker_folder",
]
