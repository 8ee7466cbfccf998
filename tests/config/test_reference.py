"""The reference names every key there is, none that is not, and the defaults that hold."""

import re
import tomllib
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from monitor.config import keys, models
from monitor.config.folder import FILES, SECRETS
from monitor.config.limits_sheet import BUILT_IN
from monitor.config.rig_sheet import EVERY, STALE
from monitor.config.rules import Rules
from monitor.rig import LINE_KINDS, VESSEL_KINDS, Tag
from monitor.setup import GRADES, Delays
from monitor.units import UNITS

TEXT = (Path(__file__).parents[2] / "docs/reference/configuration.md").read_text(encoding="utf-8")
ROW = re.compile(r"^\| `([a-z_0-9]+)` \|(.*)\|$", re.MULTILINE)

TABLES: list[tuple[str, type[BaseModel], Rules]] = [
    ("### [site]", models.SiteRow, keys.SITE),
    ("### [[vessel]]", models.VesselRow, keys.VESSEL),
    ("### [[line]]", models.LineRow, keys.LINE),
    ("### [[source]]", models.ServiceRow, keys.SOURCE),
    ("### [[tag]]", models.TagRow, keys.TAG),
    ("### Top of the file", models.LimitsHead, keys.LIMITS_HEAD),
    ("### [[flow]]", models.FlowRow, keys.FLOW),
    ("### [[limit]]", models.LimitRow, keys.LIMIT),
    ("### At the top", models.DutyHead, keys.DUTY_HEAD),
    ("### Above all channels", models.ChannelsHead, keys.CHANNELS_HEAD),
    ("### [[person]]", models.PersonRow, keys.PERSON),
    ("### [[turn]]", models.TurnRow, keys.TURN),
    ("### [[week]]", models.WeekRow, keys.WEEK),
    ("### [[channel]]", models.ServiceRow, keys.CHANNEL),
    ("## run.toml", models.RunRow, keys.RUN),
    ("### [[batch]]", models.BatchRow, keys.BATCH),
]


def section(heading: str) -> str:
    """The text under a heading, up to the next one."""
    _, found, rest = TEXT.partition(f"\n{heading}\n")
    assert found, f"no section {heading}"
    return re.split(r"^#+ ", rest, maxsplit=1, flags=re.MULTILINE)[0]


def rows(heading: str) -> dict[str, list[str]]:
    """The cells of each key of a section; the list of quantities has words that are no keys."""
    text = section(heading).partition("| measures |")[0]
    return {
        found[1]: [cell.strip() for cell in found[2].split("|")] for found in ROW.finditer(text)
    }


@pytest.mark.parametrize(("heading", "model", "rules"), TABLES)
def test_every_key_is_named(heading: str, model: type[BaseModel], rules: Rules) -> None:
    """Model, rules and reference have the same keys."""
    assert set(model.model_fields) == set(rows(heading))
    assert set(model.model_fields) == set(rules)


def test_every_model_is_compared() -> None:
    """No table of the files is left out above."""
    known = {model for _, model, _ in TABLES}
    rest = {
        item
        for item in vars(models).values()
        if isinstance(item, type) and issubclass(item, BaseModel)
    }
    assert {BaseModel, models.Strict} == rest - known


@pytest.mark.parametrize(("heading", "model", "_rules"), TABLES)
def test_defaults(heading: str, model: type[BaseModel], _rules: Rules) -> None:
    """A default in the model is the one in the reference, and what is required says so."""
    for key, cells in rows(heading).items():
        field, told = model.model_fields[key], cells[1].strip("`")
        if field.is_required():
            assert told.startswith("required"), key
        elif field.default not in (None, "", []):
            default = field.default
            shown = str(default).lower() if isinstance(default, bool) else f"{default}"
            assert shown.removesuffix(".0") == told.strip('"'), key
        else:
            assert "required" != told or key == "unit", key


def test_defaults_of_a_tag() -> None:
    """What a tag has where nothing is said is what the rig's own description has."""
    told = rows("### [[tag]]")
    defaults: dict[str, Any] = {item.name: item.default for item in fields(Tag)}
    for key in ("gain", "zero", "calibration", "median"):
        assert float(defaults[key]) == float(told[key][1])
    assert (EVERY, STALE) == (defaults["every"], defaults["stale"])
    assert (f"{EVERY:g}", f"{STALE:g}") == (told["every_s"][1], told["stale_s"][1].split(";")[0])


def test_delays() -> None:
    """Each delay stands in the reference with its default in seconds."""
    told = {key: cells[0] for key, cells in rows("### [delays]").items()}
    wanted = {}
    for item in fields(Delays):
        value = getattr(Delays(), item.name)
        numbers = value if isinstance(value, tuple) else (value,)
        wanted[item.name] = ", ".join(f"{number:g}" for number in numbers)
    assert wanted == told


def test_words_of_the_rig() -> None:
    """Kinds, grades, quantities and units stand in the reference."""
    words = [*VESSEL_KINDS, *LINE_KINDS, *GRADES, *keys.SOURCE_KINDS, *keys.CHANNEL_KINDS]
    words += [*UNITS, *BUILT_IN, *FILES, SECRETS]
    words += [unit.name for units in UNITS.values() for unit in units if unit.name]
    assert [] == [word for word in words if f"`{word}`" not in TEXT]


def test_examples_are_valid() -> None:
    """Every example of a file can be read."""
    examples = re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL)
    assert examples
    for example in examples:
        assert tomllib.loads(example)


def test_built_in_conditions_are_those_of_the_logic() -> None:
    """The names a limit may not have are those the watch gives to conditions of its own."""
    from config.small import SAMPLES
    from monitor.config import load
    from monitor.logic.plan import plan_of, watch_spec

    setup = load(SAMPLES / "ostrel-hill")
    own = {item.condition for item in setup.limits}
    of_the_watch = {watch_spec(part, 0.0).name for part in ("record", "mail")}
    watched = plan_of(load(SAMPLES / "loop-watched")).specs.values()
    tags = tuple(tag for tag in setup.rig.tags if tag.id != "LT")
    without_level = replace(setup, rig=replace(setup.rig, tags=tags), worked_out={})
    specs = [*plan_of(setup).specs.values(), *plan_of(without_level).specs.values(), *watched]
    assert set(BUILT_IN) == ({spec.name for spec in specs} | of_the_watch) - own
