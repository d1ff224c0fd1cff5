import json

import pytest

from academy.models import LedgerEntry
from rigs import catalogue
from rigs.models import Condition, Fault, Measurand, RigDesign, TestPoint
from tests.factories import rigs as make
from tests.factories.academy import AT, ManagerFactory

pytestmark = pytest.mark.django_db

DESIGNS = [file.data for file in catalogue.read_designs(make.DESIGNS)]
SLUGS = [each["slug"] for each in DESIGNS]


@pytest.mark.parametrize("data", DESIGNS, ids=SLUGS)
def test_a_design_of_the_catalogue_is_loaded_whole_and_in_its_order(manager, data):
    design = catalogue.load_design(centre=manager.centre, data=data, by=manager, at=AT)
    for rows, key in (
        (design.test_points, "test_points"),
        (design.conditions, "conditions"),
        (design.faults, "faults"),
    ):
        assert [row.slug for row in rows.all()] == [each["slug"] for each in data[key]]
    keys = [f"{each['test_point']}:{each['condition']}" for each in data["measurands"]]
    measurands = design.measurands.select_related("test_point", "condition")
    assert [make.key_of(each) for each in measurands] == keys


def test_a_design_is_loaded_once_and_then_left_as_it_is(manager):
    for _ in range(2):
        designs = make.load_designs(by=manager, slugs=SLUGS)
    RigDesign.objects.filter(pk=designs[make.TWO_TERMINAL].pk).update(name="Our own name")
    again = make.load_designs(by=manager, slugs=SLUGS)
    assert again[make.TWO_TERMINAL].name == "Our own name"
    assert RigDesign.objects.count() == len(DESIGNS)
    assert LedgerEntry.objects.filter(verb="design.load").count() == len(DESIGNS)


def test_each_centre_has_its_own(manager):
    for each in (manager, ManagerFactory()):
        make.load_designs(by=each, slugs=SLUGS)
    assert RigDesign.objects.count() == 2 * len(DESIGNS)


def test_a_tolerance_in_mbar_is_kept_in_pascals(manager):
    design = make.load_designs(by=manager)[make.TWO_TERMINAL]
    fan_off = design.measurands.get(test_point__slug="ports", condition__slug="fan-off")
    assert fan_off.tolerance_floor == pytest.approx(8.0)


def test_a_design_that_names_what_it_does_not_have_leaves_nothing_behind(manager):
    broken = json.loads(json.dumps(next(each for each in DESIGNS if each["slug"] == make.TWO_TERMINAL)))
    broken["measurands"][-1]["condition"] = "underwater"
    with pytest.raises(catalogue.DesignError, match="underwater"):
        catalogue.load_design(centre=manager.centre, data=broken, by=manager, at=AT)
    for rows in (RigDesign, TestPoint, Condition, Measurand, Fault):
        assert not rows.objects.exists()


def test_the_folder_is_read_in_a_steady_order(tmp_path):
    for name in ("b", "a"):
        (tmp_path / f"{name}.json").write_text(json.dumps({"slug": name}), encoding="utf-8")
    (tmp_path / "notes.txt").write_text("not a design", encoding="utf-8")
    assert [each.data["slug"] for each in catalogue.read_designs(tmp_path)] == ["a", "b"]
