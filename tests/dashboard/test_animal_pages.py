"""The animals' pages on the real service: the list, one animal, entering, describing anew, CSV, charts."""

from __future__ import annotations

from pathlib import Path

import httpx
import pytest

from api.app import create_api
from api.domain.animal import Limb, LimbState
from api.domain.husbandry import EventKind
from dashboard.app import join
from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.support.colony import DAY_MS, entries, log, settle
from tests.support.rooms import ROOM, TestRoom, room

K = EventKind


def send(site: Caller, path: str, **fields: str | list[str]) -> httpx.Response:
    """Send a form as the page would."""
    body = {"csrf": csrf_of(site.get("/animals").text), "person": "Aki", **fields}
    return site.post(path, data=body, headers={"origin": "http://localhost"})


def test_an_animal_is_entered_with_what_is_known(site: Caller, lab: TestRoom) -> None:
    """Its page follows, with limbs, size, tank and a word about its species."""
    assert "No animal yet" in site.get("/animals").text
    fields: dict[str, str | list[str]] = {
        "name": "Ada", "species": "Astacopsis gouldi", "sex": "female", "tank": "t1", "carapace_mm": "21,5",
        "hatched": "2026-01-02", "last_molt": "2026-09-01", "lost": ["left_chela", "right_leg_5"],
    }  # fmt: skip
    answer = send(site, "/animals", **fields)
    assert answer.headers["location"] == "/animal/1"
    page = site.get("/animal/1").text
    for words in ("Ada", "21.5 mm", "no figures of its own", "1 Sep 12:00, 20 days ago", "2026-01-02", "/tank/t1/log"):
        assert words in page
    assert page.count('class="lost"') == 2
    life = lab.service.lives.get(1)
    assert (life.tank, life.carapace_mm, dict(life.marks)) == (
        "t1",
        21.5,
        {Limb.LEFT_CHELA: LimbState.LOST, Limb.RIGHT_LEG_5: LimbState.LOST},
    )


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"name": " "}, "needs a name"),
        ({"name": "Old"}, "already"),
        ({"name": "A", "person": ""}, "give a name"),
        ({"name": "A", "hatched": "spring"}, "is not a day"),
        ({"name": "A", "sex": "both"}, "is not female, male or unknown"),
        ({"name": "A", "lost": "tail"}, "is no limb"),
        ({"name": "A", "tank": "t9"}, "no tank"),
        ({"name": "A", "carapace_mm": "x"}, "not a number"),
    ],
)
def test_forms_filled_in_badly(site: Caller, lab: TestRoom, fields: dict[str, str], words: str) -> None:
    """422, what is wrong, the form as it was, and nothing kept."""
    settle(lab, "Old", None)
    answer = send(site, "/animals", **{"origin": "by the pond", **fields})
    assert (answer.status_code, words in answer.text) == (422, True)
    assert 'value="by the pond"' in answer.text
    assert len(lab.service.lives.all()) == 1


def test_the_soft_stand_first_and_the_dead_last(site: Caller, lab: TestRoom) -> None:
    """In the list of animals."""
    for name in ("Ada", "Bo", "Cy"):
        settle(lab, name, days_ago=50)
    log(lab, K.MOLT, 2, days_ago=1)
    log(lab, K.DIED, 1)
    page = site.get("/animals").text
    assert page.index(">Bo</a>") < page.index(">Cy</a>") < page.index("1 that died") < page.index(">Ada</a>")
    assert "soft until 24 Sep 14:13" in page
    assert "died" in site.get("/animal/1").text
    assert "Molt seen" not in site.get("/animal/1").text


def test_described_anew(site: Caller, lab: TestRoom) -> None:
    """The form holds what was said before; a name that is taken comes back filled in."""
    settle(lab, "Ada")
    settle(lab, "Bo")
    assert 'value="Procambarus virginalis"' in site.get("/animal/1").text
    answer = send(site, "/animal/1", name="Ada", sex="male", origin="pond 3")
    assert answer.status_code == 303
    animal = lab.service.lives.get(1).animal
    assert (animal.sex, animal.origin, animal.species) == ("male", "pond 3", "")
    answer = send(site, "/animal/1", name="bo", origin="pond 4")
    assert (answer.status_code, 'value="pond 4"' in answer.text) == (422, True)
    assert send(site, "/animal/9", name="X").status_code == 404
    assert site.get("/animal/9").status_code == 404


def test_animals_from_a_pasted_table(site: Caller, lab: TestRoom) -> None:
    """What was taken and what was not, with lines; the text stays for another try."""
    answer = send(site, "/animals/import", csv="name,tank\nAda,t1\nBo,t9\n")
    assert "1 entered, 0 described anew, 0 as before, 1 not taken" in answer.text
    assert "line 3: there is no tank" in answer.text
    assert "Bo,t9" in answer.text
    assert [life.animal.name for life in lab.service.lives.all().values()] == ["Ada"]
    assert send(site, "/animals/import", csv="tag\nAda\n").status_code == 422


def test_growth_is_charted(site: Caller, lab: TestRoom) -> None:
    """Lengths in time, molts along the foot, and length after against before where both were measured."""
    ada = settle(lab, "Ada", days_ago=60, carapace_mm=20.0)
    log(lab, K.EXUVIA, ada, days_ago=40, since_ms=lab.now_ms - 42 * DAY_MS)
    log(lab, K.MEASURED, ada, days_ago=30, carapace_mm=23.0)
    log(lab, K.MOLT, ada, days_ago=20)
    assert lab.service.lives.get(ada).increments[0].after_mm == 23.0
    growth = site.get("/animal/1/figure?of=growth").json()
    assert growth["data"][0]["y"] == [20.0, 23.0]
    assert growth["data"][1]["x"][:3] == ["2026-08-10 14:13:20.000", "2026-08-12 14:13:20.000", None]
    hiatt = site.get("/animal/1/figure?of=hiatt&look=dark").json()
    assert (hiatt["data"][1]["x"], hiatt["data"][1]["y"]) == ([20.0], [23.0])
    assert site.get("/animal/1/figure?of=luck").status_code == 404
    page = site.get("/animal/1").text
    assert "+15 %" in page
    assert "between 10 Aug" not in page


def test_charts_of_an_animal_without_numbers(site: Caller, lab: TestRoom) -> None:
    """Empty, not broken; the page says it was not measured."""
    settle(lab, "Ada", None)
    for of in ("growth", "hiatt"):
        assert site.get(f"/animal/1/figure?of={of}").status_code == 200
    assert "Not measured yet" in site.get("/animal/1").text
    assert "No tank is noted" in site.get("/animal/1").text


def test_names_are_never_taken_for_a_page_of_ours(site: Caller, lab: TestRoom) -> None:
    """Whatever a tag looks like."""
    settle(lab, "<b onmouseover=x>")
    for path in ("/animals", "/animal/1", "/tank/t1/log", "/tank/t1", "/"):
        assert "<b onmouseover" not in site.get(path).text
    assert len(entries(lab)) == 1


def test_a_tanks_species_is_filled_in(tmp_path: Path) -> None:
    """Whoever enters an animal from its tank's log need not type it; from elsewhere nothing is guessed."""
    species = 'value="Procambarus clarkii"'
    with room(tmp_path, ROOM.replace('id = "t1"\n', 'id = "t1"\nspecies = "Procambarus clarkii"\n', 1)) as lab:
        with Caller(join(create_api(lab.service), lab.service), accept="text/html") as site:
            assert f'list="species" {species}' in site.get("/animals?tank=t1").text
            assert f'list="species" {species}' not in site.get("/animals").text
            assert f'list="species" {species}' not in site.get("/animals?tank=t2").text
            assert site.get("/animals?tank=t99").status_code == 200
