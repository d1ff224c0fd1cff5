import pytest, time
from pathlib import Path
from tests.factories import assessments as f
from assessments import portfolio
from datetime import timedelta
pytestmark = pytest.mark.django_db
def test_all():
    bench = f.ready_bench()
    s = f.signed_off(bench, f.Work(struck={"taps-running":"15.8"}, readings={"ports-running":"164 Pa", "taps-freed": "1.68"}, late=frozenset({"prove-after"}), skipped=frozenset({"photo-after"})), decision="not-yet-competent")
    s = f.signed_off(bench, at=s.at+timedelta(minutes=5))
    t=time.time()
    d = portfolio.issue(candidate=bench.candidate, by=bench.assessor, at=s.at)
    print(time.time()-t)
    Path("/tmp/staff.pdf").write_bytes(d.file.open("rb").read())
    t=time.time()
    d = portfolio.issue(candidate=bench.candidate, by=bench.candidate, at=s.at)
    print(time.time()-t)
    Path("/tmp/own.pdf").write_bytes(d.file.open("rb").read())
    assert 0
