import cProfile, pstats, time, os
from collections import Counter, defaultdict
from datetime import datetime, UTC
import pytest
from django.conf import settings
from assessments.demo import loading, scenario
FIX = settings.ROOT / "fixtures"
NOWS = {"sun": datetime(2026,3,29,12,0,10,tzinfo=UTC), "wed": datetime(2026,11,25,14,30,tzinfo=UTC), "mon": datetime(2026,6,1,8,30,tzinfo=UTC)}

@pytest.mark.django_db
@pytest.mark.parametrize("when", os.environ.get("WHEN", "sun").split(","))
def test_load(when, capsys):
    plan = scenario.read(FIX / "demo.json")
    prof = cProfile.Profile() if os.environ.get("PROF") else None
    t = time.time()
    if prof: prof.enable()
    loading.load(scenario=plan, fixtures=FIX, at=NOWS[when], tell=str)
    if prof: prof.disable()
    from rigs.models import Check, Rig, CheckReading, Hold
    from assessments.models import Attempt, SignOff, Outcome
    with capsys.disabled():
        print("\nLOADED", when, round(time.time()-t,1), "s", "checks", Check.objects.count(), "attempts", Attempt.objects.count())
        if prof:
            pstats.Stats(prof).sort_stats("cumulative").print_stats(60)
        for rig in Rig.objects.all():
            row=[]
            for c in Check.objects.filter(rig=rig).order_by("made_at"):
                row.append({"steady":".","watch":"w","hold":"H"}[c.verdict])
            print(rig.tag, "".join(row))
            vals=[]
            for c in Check.objects.filter(rig=rig).order_by("made_at"):
                rs=[r.si_value for r in c.readings.all() if r.measurand.test_point.slug=="ports" and r.measurand.condition.slug=="fan-running"]
                if rs: vals.append(sum(rs)/len(rs)/100)
            if vals: print("   ", " ".join(f"{v:.2f}" for v in vals))
        for h in Hold.objects.all(): print("HOLD", h.rig or h.instrument, h.placed_at, h.reason)
        print(Counter(SignOff.objects.values_list("decision", flat=True)))
        for s in Attempt.objects.order_by("started_at").select_related("version__task","rig","candidate"):
            o=s.outcomes.order_by("-number").first()
            so=s.sign_offs.first()
            print(f"{s.started_at:%a %d %b %H:%M}", s.candidate.name, s.version.task.slug, s.rig.tag, s.status, o and (o.procedure,o.readings,o.conclusion,o.proposal), so and so.decision)
