"""What the writer holds while it cannot write."""

from archive.keeping import row
from monitor.archive.work import Work, drop_superseded


def test_only_the_newest_state_takes_memory() -> None:
    """Of the durable states that wait only the newest stays; journal rows all do."""
    works = [Work(durable={"number": i}, journal=[row(float(i))]) for i in range(3)]
    works.append(Work(journal=[row(3.0)]))
    drop_superseded(works)
    assert [None, None, {"number": 2}, None] == [work.durable for work in works]
    assert [[row(float(i))] for i in range(4)] == [work.journal for work in works]
