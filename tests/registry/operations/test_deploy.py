"""The files of `deploy/` name what is there."""

from __future__ import annotations

import re
import subprocess
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.test import Client

from registry.commands.main import COMMANDS

ROOT = Path(__file__).parents[3]
DEPLOY = ROOT / "deploy"
FILES = sorted(path for path in DEPLOY.rglob("*") if path.is_file() and path.suffix != ".pyc")
UNITS = sorted((DEPLOY / "systemd").iterdir())
RUNBOOK = (DEPLOY / "RUNBOOK.md").read_text()
SETTINGS = (ROOT / "registry" / "settings.py").read_text() + (ROOT / "registry/commands/serve.py").read_text()
SETTINGS += (ROOT / "registry" / "secret_key.py").read_text()


@cache
def compose() -> dict[str, Any]:
    return yaml.safe_load((DEPLOY / "compose.yaml").read_text())


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_command_and_setting_is_real(path: Path) -> None:
    text = path.read_text()
    called = re.findall(r"(?:bin/|`|^ *|\"|&& )benchquorum ([a-z]+)\b", text, re.MULTILINE)
    assert set(called) <= set(COMMANDS), set(called) - set(COMMANDS)
    assert {
        name for name in re.findall(r"BENCHQUORUM_[A-Z]+(?:_[A-Z]+)*", text) if name not in SETTINGS
    } == set()


def variables_read() -> set[str]:
    """Names of the environment that the server, its commands and the API read."""
    sources = [*(ROOT / "registry").rglob("*.py"), *(ROOT / "api").rglob("*.py")]
    found = {
        name
        for path in sources
        if "client" not in path.parts
        for name in re.findall(
            r"""(?:env\.\w+|environ(?:\.get)?|getenv)[\[(]\s*["']([A-Z][A-Z_]+)["']""", path.read_text()
        )
    }
    return found - {"DJANGO_SETTINGS_MODULE"}


def test_every_variable_that_is_read_is_explained_and_the_other_way_round() -> None:
    section = (ROOT / "README.md").read_text().split("## Settings")[1].split("\n## ")[0]
    explained = set(re.findall(r"^\| `([A-Z_]+)` \|", section, re.MULTILINE))
    read = variables_read()
    assert len(read) > 25
    assert read - explained == set(), "read, and not in README.md, § Settings"
    assert explained - read == set(), "in README.md, § Settings, and never read"


def test_the_runbook_knows_what_production_runs() -> None:
    for word in ("BENCHQUORUM_CACHE", "BENCHQUORUM_QUEUE", "benchquorum due", "benchquorum pull",
                 "Webhooks", "/health/live", "/health/ready", "/metrics", "registry/apart.py"):  # fmt: skip
        assert word in RUNBOOK, word


def test_the_evidence_of_the_checklist_is_there() -> None:
    named = set(re.findall(r"`([\w/.]+)`", (DEPLOY / "ASVS.md").read_text()))
    paths = [str(path.relative_to(ROOT)) for top in ("registry", "api", "tests", "deploy")
             for path in (ROOT / top).rglob("*") if "__pycache__" not in path.parts]  # fmt: skip
    files = {name for name in named if "/" in name or name.endswith((".py", ".yaml", ".sql"))}
    assert len(files) > 20
    gone = [name for name in files if not (ROOT / name).exists()]
    assert [
        name for name in gone if not any(f"/{path}".endswith(f"/{name.strip('/')}") for path in paths)
    ] == []
    tests = " ".join(path.read_text() for path in (ROOT / "tests").rglob("test_*.py"))
    assert [name for name in named if re.fullmatch(r"test_\w+", name) and f"def {name}(" not in tests] == []


def section(title: str) -> str:
    return RUNBOOK.split(f"\n## {title}\n")[1].split("\n## ")[0]


def test_what_a_restore_needs_is_kept_and_what_tells_of_failures_is_watched() -> None:
    backup, restore = section("Back up"), section("Restore")
    for word in ("BENCHQUORUM_SECRET_KEY", "audit.jsonl", 'benchquorum_ended_well_seconds{command="'):
        assert word in backup, word
    assert "BENCHQUORUM_SECRET_KEY" in restore and "webhooks" in restore and "--erased" in restore
    assert re.search(r"^\| .*write-ahead log.* \| .*30 days", section("Retention and erasure"), re.MULTILINE)
    assert re.search(r"`BENCHQUORUM_DATA` must be one shared folder", section("Open data and mirrors"))


def test_workers_are_upgraded_before_the_servers_that_give_them_tasks() -> None:
    by_hand, with_containers = section("Upgrade without downtime").split("\nBack: ")
    assert 0 < by_hand.index("restart benchquorum-worker@1") < by_hand.index("restart benchquorum-web@")
    recipe = with_containers.split("```")[1]
    assert 0 < recipe.index("up -d --no-deps worker") < recipe.index("up -d --no-deps ${one")
    assert "mail must be drained first" in with_containers.splitlines()[0]


def test_mail_that_waits_is_watched_and_its_end_is_told() -> None:
    watched = section("Watch")
    assert "benchquorum_mail_waiting" in watched and "benchquorum_queue_failed" in watched
    assert re.search(r"^\| mail that waits.* \| .*21 hours", section("Retention and erasure"), re.MULTILINE)
    assert "Mail that waited" in section("Restore")


def test_every_figure_that_the_runbook_watches_is_told(client: Client, db: None) -> None:
    client.get("/health/live")
    told = client.get("/metrics").content.decode()
    watched = re.findall(r"\b(benchquorum_[a-z_]+)", RUNBOOK)
    assert len(set(watched)) >= 5
    assert [name for name in watched if f"\n{name}{{" not in told and f"\n{name} " not in told] == []


def test_units_are_there_for_server_worker_and_every_job() -> None:
    names = {path.name for path in UNITS}
    jobs = {
        f"benchquorum-{job}.{kind}" for job in ("due", "snapshot", "backup") for kind in ("service", "timer")
    }
    assert names == jobs | {"benchquorum-web@.service", "benchquorum-worker@.service"}


def test_commands_by_hand_get_the_settings_of_the_units_and_the_owners_where_they_make_tables(
    tmp_path: Path,
) -> None:
    """As the runbook has them, word for word; what systemd would do is written down instead."""
    functions = re.findall(r"^ +(as_(?:server|owner)\(\) \{.*\})$", RUNBOOK, re.MULTILINE)
    assert len(functions) == 2
    (tmp_path / "systemd-run").write_text('#!/bin/sh\nprintf "%s\\n" "$@"\n')
    (tmp_path / "systemd-run").chmod(0o755)
    script = "\n".join([*functions, "as_server bin audit", "echo", "as_owner bin restore 'a file'"])
    done = subprocess.run(
        ["sh", "-c", script], env={"PATH": f"{tmp_path}:/usr/bin:/bin"},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    server, owner = (called.strip().splitlines() for called in done.stdout.split("\n\n"))
    unit = (DEPLOY / "systemd" / "benchquorum-due.service").read_text()
    settings = next(line for line in unit.splitlines() if line.startswith("EnvironmentFile="))
    assert "--uid=benchquorum" in server and settings in server and server[-2:] == ["bin", "audit"]
    assert owner[-3:] == ["bin", "restore", "a file"]
    the_owners = "EnvironmentFile=/etc/benchquorum-owner.env"
    assert owner.index(settings) < owner.index(the_owners)  # the later one holds


@pytest.mark.parametrize("path", [one for one in UNITS if one.suffix == ".service"], ids=lambda one: one.name)
def test_units_are_closed_use_one_thread_a_process_and_give_way(path: Path) -> None:
    lines = path.read_text().splitlines()
    assert {"StateDirectoryMode=0700", "NoNewPrivileges=true", "ProtectSystem=strict"} <= set(lines)
    assert {"CapabilityBoundingSet=", "ProtectKernelTunables=true", "RestrictNamespaces=true"} <= set(lines)
    assert "Environment=OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1" in lines
    weights = [int(line.removeprefix("CPUWeight=")) for line in lines if line.startswith("CPUWeight=")]
    if "web" in path.name:
        assert weights == []  # 100, as the database
        assert not any(line.startswith("ExecReload") for line in lines)  # would serve the old code
    else:
        assert weights and weights[0] < 100
    if "Type=oneshot" in lines:
        assert "Nice=10" in lines


def test_who_is_stopped_says_first_that_it_leaves() -> None:
    unit = (DEPLOY / "systemd" / "benchquorum-web@.service").read_text()
    assert "RuntimeDirectory=benchquorum-%i\n" in unit
    assert "Environment=BENCHQUORUM_LEAVING=/run/benchquorum-%i/leaving\n" in unit
    assert "touch $BENCHQUORUM_LEAVING && sleep 10" in unit
    web = compose()["services"]["web-a"]
    assert f"touch {web['environment']['BENCHQUORUM_LEAVING']} &&" in RUNBOOK


def test_the_runbook_starts_what_there_is() -> None:
    named = set(re.findall(r"benchquorum-(?:web|worker)@", RUNBOOK))
    assert named == {"benchquorum-web@", "benchquorum-worker@"}
    assert "benchquorum-web " not in RUNBOOK and "reload benchquorum-web" not in RUNBOOK


def test_both_samples_set_what_a_public_registry_needs() -> None:
    needed = {
        "DATABASE_URL", "BENCHQUORUM_QUEUE", "BENCHQUORUM_SECRET_KEY", "BENCHQUORUM_HOSTS",
        "BENCHQUORUM_ORIGINS", "BENCHQUORUM_ORIGIN", "BENCHQUORUM_TLS", "BENCHQUORUM_PROXIES",
        "BENCHQUORUM_METRICS_TOKEN", "BENCHQUORUM_EMAIL_URL", "BENCHQUORUM_FROM",
        "BENCHQUORUM_REMOVAL_ADDRESS",
    }  # fmt: skip
    sample = dict(re.findall(r"^   ([A-Z_]+)=(\S+)", RUNBOOK, re.MULTILINE))
    containers = compose()["services"]["web-a"]["environment"]
    assert needed - sample.keys() == set()
    assert needed - containers.keys() == set()
    for hosts in (sample["BENCHQUORUM_HOSTS"], containers["BENCHQUORUM_HOSTS"]):
        assert hosts.endswith(",127.0.0.1"), "health is asked under this name"


def test_containers_may_do_no_more_than_they_need() -> None:
    services = compose()["services"]
    for name, service in services.items():
        if name != "database":  # it becomes its own user by itself
            assert service["cap_drop"] == ["ALL"] and service["read_only"], name
    assert services["cache"]["user"] == "redis"
    assert "--requirepass" in services["cache"]["command"]
    for name in ("database", "cache", "migrate"):
        assert services[name]["networks"] == ["inside"], name
    assert compose()["networks"]["inside"] == {"internal": True}
    assert "owner_of_benchquorum:" in services["migrate"]["environment"]["DATABASE_URL"]
    for name in ("web-a", "web-b", "worker", "clock"):
        assert services[name]["environment"]["DATABASE_URL"].startswith("postgres://benchquorum:"), name
    for name in ("worker", "clock"):
        assert services[name]["cpu_shares"] < 1024, name


def test_a_volume_belongs_to_who_writes_it() -> None:
    made = (DEPLOY / "Containerfile").read_text()
    for service in compose()["services"].values():
        if str(service["image"]).startswith("benchquorum"):
            for volume in service["volumes"]:
                assert re.search(rf"chown benchquorum:benchquorum .*{volume.split(':')[1]}\b", made), volume


def test_nothing_goes_to_the_engine_but_what_is_copied() -> None:
    ignored = (ROOT / ".dockerignore").read_text().splitlines()
    assert ignored[1] == "*"
    sent = {line[1:] for line in ignored if line.startswith("!")}
    stage = (DEPLOY / "Containerfile").read_text().split("\nFROM ")[1]
    copied = {name for line in re.findall(r"^COPY (.+) \S+$", stage, re.MULTILINE) for name in line.split()}
    assert sent == copied
    assert all((ROOT / name).exists() for name in sent)


def clock_round(folder: Path, *, day: str, hour: str, fails: str = "none") -> list[str]:
    """One round of the clock's loop; the commands that it called."""
    script = compose()["services"]["clock"]["command"][2].replace("$$", "$")
    tools = folder / "tools"
    tools.mkdir(exist_ok=True)
    said = folder / "said"
    said.write_text("")
    for name, body in {
        "benchquorum": f'echo "$1" >> {said}; [ "$1" != {fails} ]',
        "date": f"case $2 in +%F) echo {day};; +%H) echo {hour};; +%u) echo 1;; esac",
        "nice": 'exec "$@"',
        "sleep": "kill $PPID",  # as a restart would
    }.items():
        (tools / name).write_text(f"#!/bin/sh\n{body}\n")
        (tools / name).chmod(0o755)
    (folder / "backups").mkdir(exist_ok=True)
    subprocess.run(
        ["sh", "-c", script.replace("/backups", str(folder / "backups"))],
        env={"PATH": f"{tools}:/usr/bin:/bin"}, capture_output=True, check=False, timeout=20,
    )  # fmt: skip
    return said.read_text().split()


def test_a_clock_that_is_restarted_forgets_no_night_and_repeats_none(tmp_path: Path) -> None:
    night = ["due", "recompute", "audit", "backup"]
    assert clock_round(tmp_path, day="2026-11-01", hour="02") == ["due"]
    assert clock_round(tmp_path, day="2026-11-01", hour="09") == night  # it was away at three
    assert clock_round(tmp_path, day="2026-11-01", hour="11") == ["due"]
    assert clock_round(tmp_path, day="2026-11-02", hour="03", fails="backup") == night
    assert clock_round(tmp_path, day="2026-11-02", hour="04") == night  # until there is a backup
    assert clock_round(tmp_path, day="2026-11-02", hour="05") == ["due"]


def test_no_secret_stands_in_a_file() -> None:
    text = (DEPLOY / "compose.yaml").read_text()
    secrets = set(re.findall(r"\b\w*(?:PASSWORD|KEY|TOKEN|EMAIL_URL)\b", text))
    assert {"OWNER_PASSWORD", "REDIS_PASSWORD", "BENCHQUORUM_SECRET_KEY"} <= secrets
    for name in secrets:
        assert re.search(rf"\$\{{{name}:\?set {name}\}}", text), name  # from outside, or nothing starts
    for value in re.findall(r"^ +\w*(?:PASSWORD|KEY|TOKEN|EMAIL_URL): (\S+)", text, re.MULTILINE):
        assert value.startswith("${"), value
    for url in re.findall(r"\w+://\w*:([^@\s]+)", text):
        assert url.startswith("${"), url
