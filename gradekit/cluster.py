"""CLUSTER: the chunks of a lot on other machines, by Dask.

It stands beside the other crews and hands their very function to a cluster's workers. It needs the
extra ``cluster``, and every machine has to see the sheet and the rules under the same paths. It
moves no files.
"""

from collections.abc import Iterable, Iterator
from typing import Any, TypeVar

from gradekit.chunks import Job, Order
from gradekit.crews import AHEAD, Task, in_order
from gradekit.errors import GradekitError, LotError, Problem

T = TypeVar("T")


class Cluster:
    """The workers of a Dask cluster, by the address of its scheduler."""

    def __init__(self, address: str, patience: float = 10.0) -> None:
        self.address = address
        self.patience = patience

    def run(self, task: Task[T], order: Order, jobs: Iterable[Job]) -> Iterator[T]:
        """Do every job; LotError if the cluster cannot be reached or gives out."""
        client = self._client()
        try:
            at_hand = client.scatter(order, broadcast=True)
            ahead = AHEAD * max(1, sum(client.nthreads().values()))
            begun = (client.submit(task, at_hand, job, pure=False) for job in jobs)
            yield from in_order(begun, ahead)
        except GradekitError:
            raise
        except Exception as error:  # whatever a far machine runs into
            problem = f"a worker gave out ({type(error).__name__}: {error})"
            raise _refused("--cluster", problem, _ALIKE) from None
        finally:
            client.close()

    def _client(self) -> Any:
        try:
            from distributed import Client
        except ImportError:
            problem = "needs Dask distributed, which is not installed"
            raise _refused("--cluster", problem, "install gradekit[cluster]") from None
        try:
            return Client(self.address, timeout=self.patience, set_as_default=False)  # type: ignore[no-untyped-call]
        except (OSError, ValueError) as error:
            problem = f"no scheduler answers ({type(error).__name__})"
            raise _refused(self.address, problem, "write it as tcp://host:8786") from None


_ALIKE = "give every worker this gradekit, and the sheet and the rules under the same paths"


def _refused(where: str, problem: str, remedy: str) -> LotError:
    return LotError([Problem(where, problem, remedy)])
