"""Every mistake is told with file, line, key, and what to do; never a traceback."""

import pytest

from config.small import SMALL, line_of, spoilt
from monitor.config import load_texts
from monitor.errors import Problem, SetupError


def problems(texts: dict[str, str]) -> list[Problem]:
    """What is wrong with a set of files."""
    with pytest.raises(SetupError) as caught:
        load_texts(texts, 1)
    return caught.value.problems


def only(texts: dict[str, str]) -> Problem:
    """The one thing that is wrong."""
    found = problems(texts)
    assert [str(item) for item in found[:1]] == [str(item) for item in found]
    return found[0]


def test_small_rig_has_no_problem() -> None:
    """The rig that the other tests spoil loads as it stands."""
    assert ["QL", "LHf"] == [tag.id for tag in load_texts(SMALL, 3).rig.tags]


CASES = [
    # file, what stands there, what is put there, end of the key, part of what is wrong or of the
    # remedy
    ("rig.toml", 'zone = "America/Chicago"', 'zone = "America/Chicagoo"', "zone", "Chicago"),
    ("rig.toml", 'zone = "America/Chicago"', 'zone = "America"', "zone", "not a time zone"),
    ("rig.toml", 'zone = "America/Chicago"', 'zone = "../etc/passwd"', "zone", "not a time zone"),
    ("rig.toml", 'zone = "America/Chicago"', 'zone = ""', "zone", "not a time zone"),
    ("rig.toml", 'label = "Tavrin"', 'label = "Tavrinville"', "label", "at most 8"),
    ("rig.toml", 'label = "Tavrin"', 'label = "Tavrïn"', "label", "text messages short"),
    ("rig.toml", 'label = "Tavrin"', 'label = "Tav[in"', "label", "text messages short"),
    ("rig.toml", 'label = "Tavrin"', 'label = " "', "label", "empty"),
    ("rig.toml", 'label = "Tavrin"', 'label = "Tav\\u0007in"', "label", "U+0007"),
    ("rig.toml", 'label = "Tavrin"', 'label = "Tav\\u202ein"', "label", "U+202E"),
    ("rig.toml", 'label = "Tavrin"', 'label = "Tav\\nin"', "label", "U+000A"),
    ("rig.toml", 'label = "Tavrin"', "label = 7", "label", "text in"),
    ("rig.toml", 'board = "b-1"', 'baord = "b-1"', "board", "is missing"),
    ("rig.toml", 'board = "b-1"', 'board = "b 1"', "board", "letters, digits"),
    ("rig.toml", 'circuits = ["B1"]', 'circuits = ["B1", "B1"]', "circuits", "twice"),
    ("rig.toml", 'circuits = ["B1"]', 'circuits = "B1"', "circuits", "a list"),
    ("rig.toml", "lip_cm = 38", "lip_cm = true", "lip_cm", "true, not a number"),
    ("rig.toml", "lip_cm = 38", 'lip_cm = "38"', "lip_cm", '"38", not a number'),
    ("rig.toml", "lip_cm = 38", "lip_cm = nan", "lip_cm", "finite"),
    ("rig.toml", "lip_cm = 38", "lip_cm = -inf", "lip_cm", "finite"),
    ("rig.toml", "lip_cm = 38", "lip_cm = -38", "lip_cm", "not between"),
    ("rig.toml", "lip_cm = 38", "lip_cm = 1e300", "lip_cm", "not between"),
    ("rig.toml", "lip_cm = 38", "lip_cm = 1" + "0" * 400, "lip_cm", "a huge number"),
    ("rig.toml", "lip_cm = 38", "lip_cm = [38]", "lip_cm", "a list, not a number"),
    ("rig.toml", "lip_cm = 38", "lip_cm = { value = 38 }", "lip_cm", "a table, not a number"),
    ("rig.toml", "lip_cm = 38", "lip_cm = 47", "lip_cm", "above the rim"),
    ("rig.toml", "lip_cm = 38", "lip = 38", "lip", 'Did you mean "lip_cm"'),
    ("rig.toml", "lip_cm = 38", "area_m2 = -0.5", "area_m2", "not between"),
    ("rig.toml", 'kind = "header"', 'kind = "heder"', "kind", '"header"'),
    ("rig.toml", 'kind = "header"', 'kind = ["header"]', "kind", "a list, not text"),
    ("rig.toml", "break_cm = 12", "break_cm = 38", "break_cm", "below the lip of HD1"),
    ("rig.toml", "break_cm = 12", "endurance_min = 22.7", "drain_flow_l_min", "has a flow"),
    ("rig.toml", "break_cm = 12", "float_to_break_min = 9", "float_to_break_min", "drain test"),
    ("rig.toml", 'from_vessel = "HD1"', 'from_vessel = "HD2"', "from_vessel", '"HD1"'),
    ("rig.toml", 'from_vessel = "HD1"', "", "from_vessel", "a siphon needs it"),
    ("rig.toml", 'to_vessel = "LT1"', 'to_vessel = "HD1"', "to_vessel", "the siphon leaves"),
    ("rig.toml", "break_cm = 12", 'circuit = "B9"', "circuit", "Known: B1"),
    ("rig.toml", "[[line]]", "[line]", "line", "[[line]]"),
    ("rig.toml", "[site]", "[sight]", "sight", 'Did you mean "site"'),
    ("rig.toml", 'id = "QL"', 'id = "LHf"', "id", "is there already, in line 24"),
    ("rig.toml", 'id = "QL"', 'id = "Q L"', "id", "letters, digits"),
    ("rig.toml", 'id = "QL"', 'id = ""', "id", "letters, digits"),
    ("rig.toml", 'id = "S1"', 'id = "HD1"', "id", "a vessel too"),
    ("rig.toml", 'unit = "L/min"', 'unit = "cm"', "unit", "not a unit of flow"),
    ("rig.toml", 'unit = "L/min"', "", "unit", 'unit = "L/min"'),
    ("rig.toml", 'unit = "L/min"', 'unit = "L/min"\ngain = 0', "gain", "is 0"),
    ("rig.toml", 'unit = "L/min"', 'unit = "L/min"\nmedian = 4', "median", "odd"),
    ("rig.toml", 'unit = "L/min"', 'unit = "L/min"\nmedian = 5.0', "median", "whole number"),
    ("rig.toml", 'unit = "L/min"', 'unit = "L/min"\nmax_step = -1', "max_step", "not between"),
    ("rig.toml", 'unit = "L/min"', 'unit = "L/min"\nstale_s = 10', "stale_s", "not longer"),
    ("rig.toml", 'unit = "L/min"', 'unit = "L/min"\nspike = [-1, 2]', "spike", "below 0"),
    ("rig.toml", "sensor_range = [0, 30]", "sensor_range = [0, 30]\nusual_range = [1, 31]",
     "usual_range", "beyond"),
    ("rig.toml", 'unit = "L/min"', 'unit = "L/min"\nopens_at_cm = 3', "opens_at_cm", "a float"),
    ("rig.toml", 'unit = "L/min"', 'unit = "L/min"\nstart_up_values = [85, "x"]',
     "start_up_values", '"x", not a number'),
    ("rig.toml", "sensor_range = [0, 30]", "sensor_range = [0]", "sensor_range", "2 are wanted"),
    ("rig.toml", "sensor_range = [0, 30]", "sensor_range = [30, 0]", "sensor_range", "higher"),
    ("rig.toml", "sensor_range = [0, 30]", "sensor_range = [0, nan]", "sensor_range", "finite"),
    ("rig.toml", "opens_at_cm = 28", "opens_at_cm = 38", "opens_at_cm", "below the lip"),
    ("rig.toml", "opens_at_cm = 28", 'unit = "cm"', "unit", "Leave unit out"),
    ("rig.toml", "opens_at_cm = 28", 'circuits = ["B2"]', "circuits", "Move it to [site]"),
    ("rig.toml", 'measures = "float"', 'measures = "flaot"', "measures", '"float"'),
    ("rig.toml", 'kind = "simulated"', 'kind = "simulate"', "kind", '"simulated"'),
    ("rig.toml", 'kind = "simulated"', 'kind = "mqtt"\npassword = "hunter2"', "password",
     "secrets.toml"),
    ("rig.toml", 'kind = "simulated"', 'kind = "mqtt"\nhost = { a = 1 }', "host", "a table"),
    ("rig.toml", 'kind = "simulated"', 'kind = "mqtt"\nport = nan', "port", "nan"),
    ("limits.toml", '["21:00", "07:00"]', '["21:00"]', "quiet_hours", "2 are wanted"),
    ("limits.toml", '["21:00", "07:00"]', '["21:00", "7"]', "quiet_hours", "such as 07:00"),
    ("limits.toml", '["21:00", "07:00"]', '["24:00", "07:00"]', "quiet_hours", "such as 07:00"),
    ("limits.toml", '["21:00", "07:00"]', '["07:00", "07:00"]', "quiet_hours", "when they end"),
    ("limits.toml", '["21:00", "07:00"]', "[21, 7]", "quiet_hours", "not text"),
    ("limits.toml", "mains_off_s = 10", "mains_of_s = 10", "mains_of_s", "mains_off_s"),
    ("limits.toml", "mains_off_s = 10", "mains_off = 10", "mains_off", "mains_off_s"),
    ("limits.toml", "mains_off_s = 10", "mains_off_s = 0", "mains_off_s", "not between"),
    ("limits.toml", "mains_off_s = 10", "mains_off_s = false", "mains_off_s", "a number"),
    ("limits.toml", "mains_off_s = 10", "mains_off_s = [10]", "mains_off_s", "a number"),
    ("limits.toml", "mains_off_s = 10", "mains_off_s = 10\nmains_off_min = 1", "mains_off_min",
     "seconds and in minutes"),
    ("limits.toml", "mains_off_s = 10", "repeat_call_s = 5", "repeat_call_s", "not between 60"),
    ("limits.toml", "mains_off_s = 10", "call_after_min = 5", "call_after_min", "rising list"),
    ("limits.toml", "mains_off_s = 10", "call_after_min = []", "call_after_min", "rising list"),
    ("limits.toml", "mains_off_s = 10", "call_after_min = [5, 5]", "call_after_min", "not rise"),
    ("limits.toml", 'line = "S1"', 'line = "S2"', "line", "Known: S1"),
    ("limits.toml", "[5, 4.5]]", "[-9, 4.5]]", "set_l_min", "does not come after"),
    ("limits.toml", "[5, 4.5]]", "[5.5, 4.5]]", "set_l_min", "not a pair"),
    ("limits.toml", "[5, 4.5]]", "[true, 4.5]]", "set_l_min", "not a pair"),
    ("limits.toml", "[5, 4.5]]", "[5, nan]]", "set_l_min", "not a pair"),
    ("limits.toml", "[5, 4.5]]", '[5, "off"]]', "set_l_min", "not a pair"),
    ("limits.toml", "[5, 4.5]]", "[5, -4.5]]", "set_l_min", "not between"),
    ("limits.toml", "[5, 4.5]]", "[5000, 4.5]]", "set_l_min", "dph 5000"),
    ("limits.toml", "[[-9, 3.0], [5, 4.5]]", "[]", "set_l_min", "neither a number"),
    ("limits.toml", "[[-9, 3.0], [5, 4.5]]", '"6"', "set_l_min", "neither a number"),
    ("limits.toml", 'line = "S1"', 'line = "S1"\nband_percent = 60', "far_too_low_percent",
     "not below the band"),
    ("limits.toml", 'line = "S1"', 'line = "S1"\nno_flow_below_l_min = 4', "no_flow_below_l_min",
     "smallest set flow"),
    ("limits.toml", 'line = "S1"', 'line = "S1"\nfar_too_low = 0', "far_too_low", "true or false"),
    ("limits.toml", 'tag = "LHf"', 'tag = "LHF"', "tag", '"LHf"'),
    ("limits.toml", "value = 0.5", "value = 1.5", "value", "never passed"),
    ("limits.toml", "value = 0.5", "", "value", "either value or by_dph"),
    ("limits.toml", "value = 0.5", "value = 0.5\nby_dph = [[0, 0.5]]", "value", "beside by_dph"),
    ("limits.toml", "value = 0.5", "by_dph = [[3, 0.5], [2, 0.4]]", "by_dph", "come after"),
    ("limits.toml", 'grade = "urgent"', 'grade = "Urgent"', "grade", '"urgent"'),
    ("limits.toml", 'side = "low"', 'side = "below"', "side", '"high" or "low"'),
    ("limits.toml", "on_delay_s = 15", "on_delay_s = -1", "on_delay_s", "not between 0"),
    ("limits.toml", "on_delay_s = 15", "", "on_delay_s", "is missing"),
    ("limits.toml", 'first_action = "Check air."', "", "first_action", "what to do first"),
    ("limits.toml", '"Check air."', '"' + "Check air. " * 6 + '."', "first_action", "at most 60"),
    ("limits.toml", '"header low"', '"siphon broken"', "condition", "of itself"),
    ("duty.toml", 'standing = ["tavrin"]', "standing = []", "standing", "nobody would be called"),
    ("duty.toml", 'standing = ["tavrin"]', "", "standing", "is missing"),
    ("duty.toml", 'standing = ["tavrin"]', 'standing = "tavrin"', "standing", "not a list"),
    ("duty.toml", 'standing = ["tavrin"]', 'standing = ["tavrn"]', "standing", '"tavrin"'),
    ("duty.toml", 'standing = ["tavrin"]', 'standing = ["tavrin", "tavrin"]', "standing", "twice"),
    ("duty.toml", 'name = "Tavrin"', 'name = "Tävrîn"', "name", "text messages short"),
    ("duty.toml", 'standing = ["tavrin"]', 'standing = ["tavrin"]\nmanager = "lendow"', "manager",
     "Known: tavrin"),
    ("duty.toml", 'mail = "tavrin@example.org"', "", "mail", "channel mail needs it"),
    ("duty.toml", '"tavrin@example.org"', '"tavrin@example"', "mail", "not a mail address"),
    ("duty.toml", '"tavrin@example.org"', '"a@b.c\\r\\nBcc: x@y.z"', "mail", "U+000D"),
    ("duty.toml", "bed_to_door_min = 30", "bed_to_door_min = 0", "bed_to_door_min", "not between"),
    ("duty.toml", "bed_to_door_min = 30", "", "bed_to_door_min", "on the duty list"),
    ("duty.toml", "bed_to_door_min = 30", 'bed_to_door_min = 30\nphone = "0151"', "phone",
     "country code"),
    ("duty.toml", 'channels = ["mail"]', 'channels = ["mial"]', "channels", '"mail"'),
    ("duty.toml", 'channels = ["mail"]', "channels = []", "channels", "on the duty list"),
    ("duty.toml", '"2026-10-04 18:00"', '"2026-10-03 17:00"', "end", "does not come after"),
    ("duty.toml", '"2026-10-04 18:00"', '"4.10.2026 18:00"', "end", "such as 2026-10-03 18:00"),
    ("duty.toml", '"2026-10-04 18:00"', '"2026-02-30 18:00"', "end", "such as 2026-10-03 18:00"),
    ("duty.toml", '"2026-10-04 18:00"', "2026-10-04T18:00:00Z", "end", "such as 2026-10-03 18:00"),
    ("duty.toml", '"2026-10-04 18:00"', "2026-10-04", "end", "such as 2026-10-03 18:00"),
    ("duty.toml", 'order = ["tavrin"]', 'order = ["tavrin"]\nstanding = ["tavrin"]', "standing",
     "top of the file"),
    ("duty.toml", 'order = ["tavrin"]', "order = []", "order", "nobody would be called"),
    ("duty.toml", 'order = ["tavrin"]', 'order = ["oskel"]', "order", "tavrin"),
    ("channels.toml", 'kind = "mail"', 'kind = "pigeon"', "kind", '"mail"'),
    ("channels.toml", 'host = "mail.example.org"', 'api_key = "hunter2"', "api_key",
     "secrets.toml"),
    ("channels.toml", 'host = "mail.example.org"', "host = [[1]]", "host", "a list"),
    ("run.toml", "hatch = 2026-10-06", 'hatch = "6 Oct"', "hatch", "such as 2026-10-06"),
    ("run.toml", "hatch = 2026-10-06", "hatch = 2026-10-06T07:00:00", "hatch", "2026-10-06"),
    ("run.toml", "hatch = 2026-10-06", "hatch = 20261006", "hatch", "not text"),
    ("run.toml", 'tank = "LT1"', 'tank = "LT2"', "tank", '"LT1"'),
    ("run.toml", 'id = "T-01"', 'id = "../T"', "id", "letters, digits"),
    ("run.toml", "hatch = 2026-10-06", "hatch = 2026-10-06\nhatch_day = 2", "hatch_day", "0 and 1"),
]  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "key", "said"), CASES)
def test_mistake(file: str, old: str, new: str, key: str, said: str) -> None:
    """A mistake is told at its file, line and key, with words that help."""
    texts = spoilt(file, old, new)
    found = problems(texts)
    told = [item for item in found if item.key.split()[-1] == key]
    assert told
    assert len(told) == len({item.wrong for item in told})
    assert file == told[0].file
    assert said in f"{told[0].wrong}. {told[0].remedy}"
    assert told[0].wrong and told[0].remedy
    text = texts[file]
    wanted = text.split("\n")[(told[0].line or 0) - 1]
    if key in text and "missing" not in told[0].wrong and "has a flow" not in told[0].wrong:
        assert key in wanted
    else:
        assert wanted.startswith("[") or told[0].line is None


@pytest.mark.parametrize("new", ['password = "hunter2"', 'broker_token = "hunter2"'])
def test_secret_in_the_open_is_not_repeated(new: str) -> None:
    """A password in the wrong file is refused, and stands in no message."""
    texts = spoilt("channels.toml", 'host = "mail.example.org"', new)
    told = "\n".join(map(str, problems(texts)))
    assert "a secret must not stand here" in told
    assert "hunter2" not in told


@pytest.mark.parametrize("kind", ["mailbox", "sign_mqtt", "sign_http"])
def test_channel_that_carries_no_text_reaches_nobody(kind: str) -> None:
    """A person whose channel only hears, or only carries signs of life, would never be told."""
    found = problems(spoilt("channels.toml", 'kind = "mail"', f'kind = "{kind}"'))
    assert ["duty.toml"] == [item.file for item in found if "carries no texts" in item.wrong]


@pytest.mark.parametrize("when", ["Friday 09:00", "Fri", "Fri 9:00", "fri 09:00", "Fri  09:00", ""])
def test_time_of_the_path_test(when: str) -> None:
    """A weekday in three letters and a time of day, or nothing is tested."""
    texts = spoilt("channels.toml", "[[channel]]\n", f'path_test = "{when}"\n[[channel]]\n')
    assert ["path_test"] == [item.key for item in problems(texts)]


def test_all_mistakes_at_once() -> None:
    """Mistakes in all files are told together, by file and line."""
    texts = dict(SMALL)
    texts["rig.toml"] = texts["rig.toml"].replace("lip_cm = 38", "lip_cm = true")
    texts["rig.toml"] = texts["rig.toml"].replace('of = "S1"', 'of = "S9"').replace("28", "-1")
    texts["limits.toml"] = texts["limits.toml"].replace("= 15", "= -15")
    texts["duty.toml"] = texts["duty.toml"].replace('order = ["tavrin"]', "order = []")
    texts["channels.toml"] = "[[channel]"
    del texts["run.toml"], texts["limits.toml"]
    found = problems(texts)
    told = [(item.file, item.line, item.key) for item in found]
    assert told == sorted(told, key=lambda item: ["rig.toml", "limits.toml", "duty.toml",
                                                  "channels.toml"].index(item[0]))  # fmt: skip
    rig = texts["rig.toml"]
    assert [
        ("rig.toml", line_of(rig, "lip_cm"), "vessel HD1 lip_cm"),
        ("rig.toml", line_of(rig, "S9"), "tag QL of"),
        ("rig.toml", line_of(rig, "opens_at_cm"), "tag LHf opens_at_cm"),
        ("limits.toml", None, "file"),
        ("duty.toml", 11, "turn 2026-10-03 18:00 order"),
        ("channels.toml", 1, "file"),
    ] == told


def test_two_mistakes_in_one_row() -> None:
    """A wrong name does not hide a wrong number of the same sensor."""
    texts = spoilt("rig.toml", 'unit = "L/min"', "unti = 3\nmax_step = -1\nevery_s = true")
    assert ["unit", "unti", "max_step", "every_s"] == [
        item.key.split()[-1] for item in problems(texts)
    ]


def test_row_without_id_has_a_number() -> None:
    """A sensor without a name is told by its place in the file."""
    texts = spoilt("rig.toml", 'id = "QL"\n', "")
    assert "tag 1 id" == only(texts).key


def test_overlapping_turns() -> None:
    """Two turns at one time are told, whatever their order in the file."""
    early = '[[turn]]\nstart = "2026-10-03 10:00"\nend = "2026-10-03 18:01"\norder = ["tavrin"]\n'
    texts = {**SMALL, "duty.toml": SMALL["duty.toml"] + early}
    problem = only(texts)
    assert ("turn 2026-10-03 18:00 start", 9) == (problem.key, problem.line)
    assert "line 12" in problem.wrong


def test_turn_inside_a_long_one() -> None:
    """A turn that lies within an earlier long one is told, even behind a short one."""
    turns = "".join(
        f'[[turn]]\nstart = "{start}"\nend = "{end}"\norder = ["tavrin"]\n'
        for start, end in [
            ("2026-11-01 18:00", "2026-11-20 18:00"),
            ("2026-11-20 18:00", "2026-11-21 18:00"),
            ("2026-11-19 18:00", "2026-11-20 18:00"),
        ]
    )
    texts = {**SMALL, "duty.toml": SMALL["duty.toml"] + turns}
    assert ["turn 2026-11-19 18:00 start"] == [item.key for item in problems(texts)]


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        ('step = "b"\nside = "low"\nvalue = 4.5\ngrade = "notice"', "wrong order"),
        (
            'step = "b"\nside = "low"\nby_dph = [[-9, 4.5], [5, 5.5]]\ngrade = "record"',
            "wrong order",
        ),
        ('step = "b"\nside = "high"\nvalue = 5\ngrade = "record"', "no room"),
        ('step = "a"\nside = "low"\nvalue = 5\ngrade = "high"', "with the same step"),
    ],
)
def test_limits_that_contradict(extra: str, said: str) -> None:
    """Limits of one tag must leave room, and the worse one must come later."""
    first = 'condition = "q"\ntag = "QL"\non_delay_s = 1\nfirst_action = "Look."\n'
    limits = (
        f'[[limit]]\n{first}step = "a"\nside = "low"\nvalue = 5\ngrade = "high"\n'
        f"[[limit]]\n{first}{extra}\n"
    )
    texts = {**SMALL, "limits.toml": SMALL["limits.toml"] + limits}
    assert said in only(texts).wrong


def test_limit_that_the_flow_block_makes() -> None:
    """A limit of the flow block cannot be given a second time by hand."""
    limit = (
        '[[limit]]\ncondition = "no flow"\ntag = "QL"\nside = "low"\nvalue = 0.4\n'
        'grade = "urgent"\non_delay_s = 60\nfirst_action = "Prime."\n'
    )
    texts = {**SMALL, "limits.toml": SMALL["limits.toml"] + limit}
    assert "is made by [[flow]]" in only(texts).wrong


def test_meter_that_is_not_there() -> None:
    """A flow known by a meter needs one."""
    texts = spoilt("rig.toml", 'measures = "flow"\nof = "S1"', 'measures = "flow"\nof = "HD1"')
    problem = only(texts)
    assert ("flow S1 known_by", "limits.toml") == (problem.key, problem.file)


def test_no_tags() -> None:
    """A rig without a sensor watches nothing."""
    text = SMALL["rig.toml"]
    texts = {**SMALL, "rig.toml": text[: text.index("[[tag]]")], "limits.toml": ""}
    assert "tag" == only(texts).key


def test_nobody_reached_when_urgent() -> None:
    """Urgent limits need every order of the list to reach somebody."""
    texts = spoilt("duty.toml", 'channels = ["mail"]\n', "")
    assert ["standing", "person tavrin channels", "turn 2026-10-03 18:00 order"] == [
        item.key for item in problems(texts)
    ]


def test_secret_of_a_snapshot_is_not_asked_for() -> None:
    """A snapshot loads without the secrets it names."""
    texts = spoilt(
        "channels.toml", 'kind = "mail"', 'kind = "mail"\nuser = "w"\npassword_secret = "smtp"'
    )
    options = dict(load_texts(texts, 1).channels[0].options)
    assert "smtp" == options["password_secret"]
