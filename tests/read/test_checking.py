"""Kinds of TOML files told apart: one given for another is told what it is, in one sentence."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from pipelines.networks.plan import PlanFile
from profiler import InputError, Territory, load_toml, toml_kind
from profiler.cli.main import main
from profiler.read.checking import OWN_TABLES
from profiler.read.train_tables import TrainFile

TEXTS = {
    "territory": '[route]\nname = "Marram"\n[centreline]\npath = "line.geojson"\n[settings]\nstep_m = 5\n',
    "train": '[train]\nname = "Empties"\n[[block]]\nlike = "ore car, empty"\ncount = 10\n[limits]\n',
    "plan": '[network]\nname = "Southern"\nterritories = ["*.toml"]\n[settings]\nstep_m = 5\n',
}
CALLED = {"territory": "a territory file", "train": "a train file", "plan": "a plan of a network"}


@pytest.fixture
def files(tmp_path: Path) -> dict[str, Path]:
    """One file of each kind."""
    for kind, text in TEXTS.items():
        (tmp_path / f"{kind}.toml").write_text(text)
    return {kind: tmp_path / f"{kind}.toml" for kind in TEXTS}


def test_own_tables_are_of_one_model():
    """Law: each table that tells a kind is one of that kind's model, and of no other's."""
    models = {"territory": Territory, "train": TrainFile, "plan": PlanFile}
    assert OWN_TABLES.keys() == models.keys()
    for kind, own in OWN_TABLES.items():
        for name in own:
            assert [other for other, model in models.items() if name in model.model_fields] == [kind]


@pytest.mark.parametrize("found", TEXTS)
@pytest.mark.parametrize("wanted", TEXTS)
def test_one_kind_for_another(files: dict[str, Path], wanted: str, found: str):
    """Law: a file is read as its own kind alone; as another it is refused by what it is and what is wanted."""
    assert toml_kind(files[found]) == found
    if found == wanted:
        assert load_toml(files[found], wanted)
        return
    with pytest.raises(InputError) as caught:
        load_toml(files[found], wanted)
    assert caught.value.problem == f"is {CALLED[found]}, not {CALLED[wanted]}"
    assert caught.value.remedy


def test_what_is_mixed_or_tells_nothing(tmp_path: Path):
    """Law: a stray table of another kind is left to the check of keys, as is a file with tables of no kind."""
    path = tmp_path / "a.toml"
    path.write_text(TEXTS["train"] + "[route]\n")
    assert toml_kind(path) == "train"
    assert "route" in load_toml(path, "train")
    assert "train" in load_toml(path, "territory")
    path.write_text("[settings]\n")
    assert toml_kind(path) is None
    assert load_toml(path, "train") == {"settings": {}}
    path.write_text("[")
    assert toml_kind(path) is None
    assert toml_kind(tmp_path / "gone.toml") is None


def test_what_is_no_toml(tmp_path: Path):
    """Law: a TOML file that is broken is to be corrected, another kind of file to be replaced."""
    for name, content, told in (
        ("a.toml", b"[train\n", "correct that place"),
        ("a.geojson", b"{}", "give a train file in TOML"),
        ("a.tif", b"II*\0\xff", "give a train file in TOML"),
    ):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(InputError) as caught:
            load_toml(tmp_path / name, "train")
        assert caught.value.remedy == told


@pytest.mark.parametrize(
    ("command", "told"),
    [
        (
            ("network", "territory"),
            "{territory}: is a territory file, not a plan of a network; "
            "give it to gradewright profile, or name it in a plan, or give its folder",
        ),
        (("network", "train"), "{train}: is a train file, not a plan of a network; name it under trains in a plan"),
        *(
            ((name, "plan"), "{plan}: is a plan of a network, not a territory file; give it to gradewright network")
            for name in ("profile", "check")
        ),
        (
            ("profile", "train"),
            "{train}: is a train file, not a territory file; "
            "give it to gradewright brief with --train, or name it under trains in a plan",
        ),
        (
            ("brief", "territory", "--train", "plan"),
            "{plan}: is a plan of a network, not a train file; name a file with [train] and [[block]]",
        ),
        (
            ("brief", "territory", "--train", "territory"),
            "{territory}: is a territory file, not a train file; name a file with [train] and [[block]]",
        ),
    ],
)
def test_commands_say_it(
    files: dict[str, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: tuple[str, ...], told: str
):
    """Law: one sentence, exit code 1, nothing made."""
    monkeypatch.chdir(tmp_path)
    words = [str(files.get(word, word)) if i else word for i, word in enumerate(command)]
    result = CliRunner().invoke(main, words)
    assert result.exit_code == 1
    assert result.stderr == f"gradewright: {told.format(**files)}\n"
    assert {p.name for p in tmp_path.iterdir()} == {path.name for path in files.values()}
