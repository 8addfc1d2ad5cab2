"""Whoever does the work: in order, and only a few chunks at once."""

from collections.abc import Iterator
from concurrent.futures import Future

import pytest

from gradekit.crews import in_order


@pytest.mark.parametrize("ahead", [1, 3, 10])
def test_results_come_in_order_and_little_is_begun_ahead(ahead: int) -> None:
    """However many jobs there are, no more are under way than were asked for, and one."""
    begun: list[int] = []

    def jobs() -> Iterator["Future[int]"]:
        for number in range(20):
            begun.append(number)
            future: Future[int] = Future()
            future.set_result(number)
            yield future

    for done, result in enumerate(in_order(jobs(), ahead)):
        assert result == done
        assert len(begun) <= done + ahead + 1
    assert begun == list(range(20))


def test_a_failed_job_fails_where_it_stands() -> None:
    """Results before a failure are given; the failure comes in its place."""
    good: Future[int] = Future()
    good.set_result(1)
    bad: Future[int] = Future()
    bad.set_exception(ValueError("no"))
    results = in_order(iter([good, bad, good]), 2)
    assert next(results) == 1
    with pytest.raises(ValueError, match="no"):
        next(results)
